"""The building blocks of the tests: each makes one row as the house would have it.

`tests.cast` puts them together. A case is made through the act that announces it.
"""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from factory import LazyAttribute, SelfAttribute, Sequence, SubFactory, Trait
from factory.django import DjangoModelFactory

from cases import acts
from cases.models import Case
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.models import PermitToOperate, Retort

START = datetime(2024, 3, 4, 16, 0, tzinfo=UTC)  # 9 in the morning in Denver
AREAS = {"bay": "Cooler", "retort": "Retort room", "tray": "Recovery", "shelf": "Store"}


class FacilityFactory(DjangoModelFactory[Facility]):
    """A crematory in Montana, without staff and places."""

    class Meta:
        model = Facility

    name = "Quiet Valley Crematory"
    address = "1 Example Road\nHelena, Montana"
    time_zone = "America/Denver"
    units = "us"
    jurisdiction = "us-mt"
    case_prefix = "QV"
    log_origin = LazyAttribute(lambda made: f"crematory.example/{made.case_prefix.lower()}")


class MemberFactory(DjangoModelFactory[StaffMember]):
    """A member of staff who can sign in and sign; `office=True`, `operator=True` or neither."""

    class Meta:
        model = StaffMember

    class Params:
        key = "X1"
        office = Trait(is_front_office=True)
        operator = Trait(
            is_operator=True,
            certificate_number="CERT-1",
            certificate_expires_on=date(2099, 12, 31),
        )

    facility = SubFactory(FacilityFactory)
    staff_code = LazyAttribute(lambda made: made.facility.case_prefix + made.key)
    printed_name = "Xenia Newcomer"
    password = "a long password of the cast"
    pin = "240619"

    @classmethod
    def _create(cls, model_class: type[StaffMember], *args: Any, **values: Any) -> StaffMember:
        return model_class.objects.create_member(**values)


class PlaceFactory(DjangoModelFactory[Place]):
    """A bay, tray, shelf or retort by its number."""

    class Meta:
        model = Place

    class Params:
        number = 1

    facility = SubFactory(FacilityFactory)
    kind = "bay"
    area = LazyAttribute(lambda made: AREAS[made.kind])
    name = LazyAttribute(lambda made: f"{made.kind.capitalize()} {made.number}")
    code = LazyAttribute(lambda made: f"{made.kind}-{made.number}")


class PermitFactory(DjangoModelFactory[PermitToOperate]):
    """A permit to operate: charging at 1,600 °F, readings every 15 minutes."""

    class Meta:
        model = PermitToOperate

    facility = SubFactory(FacilityFactory)
    number = "PERMIT-1"
    source = "invented for the tests"
    charging_temperature_c = Decimal("871.11")
    recording_interval_min = 15


class RetortFactory(DjangoModelFactory[Retort]):
    """A retort by its number, with its place; with a permit of its own if none is given."""

    class Meta:
        model = Retort

    class Params:
        number = 1

    facility = SubFactory(FacilityFactory)
    place = SubFactory(
        PlaceFactory,
        facility=SelfAttribute("..facility"),
        kind="retort",
        number=SelfAttribute("..number"),
    )
    permit = SubFactory(PermitFactory, facility=SelfAttribute("..facility"))
    name = LazyAttribute(lambda made: f"Retort {made.number}")
    mass_limit_kg = Decimal("340")
    sweep_limit_c = Decimal("90")


def _a_day_after_the_last(made: Any) -> datetime:
    return START + timedelta(days=made.facility.cases.count())


class CaseFactory(DjangoModelFactory[Case]):
    """A person who is expected, announced a day after the facility's last case."""

    class Meta:
        model = Case

    facility = SubFactory(FacilityFactory)
    member = SubFactory(MemberFactory, facility=SelfAttribute("..facility"), office=True)
    token = Sequence(lambda n: f"announced-{n}")
    announced_at = LazyAttribute(_a_day_after_the_last)
    decedent_name = "Ada Example"
    born_on = date(1941, 5, 6)
    died_at = LazyAttribute(lambda made: made.announced_at - timedelta(days=2))
    sender = "Example Funeral Home"

    @classmethod
    def _create(cls, model_class: type[Case], *args: Any, **values: Any) -> Case:
        with clock.pinned(values.pop("announced_at")):
            return acts.announce(**values)
