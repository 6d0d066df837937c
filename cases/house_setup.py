"""Setting up a house from its file: adds what is missing, never changes what is there."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from cases import law
from cases.house_file import HouseFileError, HousePlan, PlacesPlan, RetortPlan, StaffPlan
from chain_of_custody import trail
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility, Role, StaffMember
from retort_log.models import PermitToOperate, Retort


@dataclass(frozen=True)
class Credentials:
    """What a member signs in and signs with; `are_given` where somebody else knows them."""

    password: str
    pin: str
    are_given: bool = False


Row = TypeVar("Row", Facility, PermitToOperate, Place, Retort)
AskCredentials = Callable[[StaffPlan], Credentials]


@dataclass
class Added:
    """What was added, by kind and code; empty lists when everything was there."""

    facility: Facility
    codes: dict[str, list[str]] = field(default_factory=dict)

    def note(self, kind: str, code: str) -> None:
        self.codes.setdefault(kind, []).append(code)


def set_up(plan: HousePlan, ask: AskCredentials, *, for_demo: bool = False) -> Added:
    """Add what the plan names and the database lacks, in one transaction with its entry.

    `ask` is called once for each new member. Raises HouseFileError for a value that the
    database would not take, and for a demonstration's file outside the demonstration.
    """
    if plan.is_demo and not for_demo:
        raise HouseFileError(
            "demo = true: this file holds known passwords and serves only `manage.py demo`."
        )
    if plan.facility["jurisdiction"] not in law.codes():
        raise HouseFileError(f"facility.jurisdiction must be one of: {', '.join(law.codes())}.")
    with transaction.atomic():
        facility = Facility.objects.filter(case_prefix=plan.facility["case_prefix"]).first()
        added = Added(facility or _checked("facility", Facility(**plan.facility)))
        if facility is None:
            added.note("facility", added.facility.case_prefix)
        for member in plan.staff:
            _add_member(added, member, ask)
        permit = _permit(added, plan)
        for retort in plan.retorts:
            _add_retort(added, retort, permit)
        for row in plan.places:
            _add_places(added, row)
        if added.codes:
            _append(added)
    return added


def complaint(path: str, error: ValidationError) -> HouseFileError:
    """Return the database's refusal as a complaint about the file's key."""
    texts = "; ".join(
        f"{path}.{name}: {' '.join(messages)}" for name, messages in error.message_dict.items()
    )
    return HouseFileError(texts)


def _checked(path: str, row: Row) -> Row:
    """Save a valid row; a refused value is reported under the file's key."""
    try:
        row.full_clean()
    except ValidationError as error:
        raise complaint(path, error) from error
    row.save()
    return row


def _add_member(added: Added, plan: StaffPlan, ask: AskCredentials) -> None:
    there = StaffMember.objects.filter(staff_code=plan.staff_code).first()
    if there and there.facility_id != added.facility.pk:
        raise HouseFileError(f"staff_code {plan.staff_code} belongs to another facility.")
    if there:
        return
    credentials = ask(plan)
    try:
        StaffMember.objects.create_member(
            facility=added.facility,
            staff_code=plan.staff_code,
            printed_name=plan.printed_name,
            is_front_office=Role.FRONT_OFFICE in plan.roles,
            is_operator=Role.OPERATOR in plan.roles,
            is_manager=Role.MANAGER in plan.roles,
            certificate_number=plan.certificate_number,
            certificate_expires_on=plan.certificate_expires_on,
            password=credentials.password,
            pin=credentials.pin,
            password_is_given=credentials.are_given,
            pin_is_given=credentials.are_given,
        )
    except ValidationError as error:
        raise complaint(f"staff {plan.staff_code}", error) from error
    except ValueError as error:  # the form of the PIN
        raise HouseFileError(f"staff {plan.staff_code}.pin: {error}") from error
    added.note("staff", plan.staff_code)


def _permit(added: Added, plan: HousePlan) -> PermitToOperate:
    number = plan.permit["number"]
    there = PermitToOperate.objects.filter(facility=added.facility, number=number).first()
    if there:
        return there
    added.note("permit", number)
    return _checked("permit", PermitToOperate(facility=added.facility, **plan.permit))


def _add_retort(added: Added, plan: RetortPlan, permit: PermitToOperate) -> None:
    if Retort.objects.filter(facility=added.facility, name=plan.name).exists():
        return
    place = _place(added, Place.Kind.RETORT, plan.area, plan.name, plan.code)
    _checked(
        f"retort {plan.name}",
        Retort(
            facility=added.facility,
            place=place,
            permit=permit,
            name=plan.name,
            mass_limit_kg=plan.mass_limit_kg,
            sweep_limit_c=plan.sweep_limit_c,
            **plan.figures,
        ),
    )


def _add_places(added: Added, plan: PlacesPlan) -> None:
    for number in range(1, plan.count + 1):
        name = f"{plan.name} {number}"
        code = slugify(f"{plan.area} {plan.name} {number:02d}")
        if not Place.objects.filter(facility=added.facility, code=code).exists():
            _place(added, plan.kind, plan.area, name, code)


def _place(added: Added, kind: str, area: str, name: str, code: str) -> Place:
    row = Place(facility=added.facility, kind=kind, area=area, name=name, code=code)
    added.note(kind, code)
    return _checked(f"places {code}", row)


def _append(added: Added) -> None:
    """Record what was set up, by codes: names of staff stay out of the hashed bytes."""
    trail.lock_log(added.facility)
    now = clock.now()  # under the lock: entries follow one another in time
    trail.append(
        trail.Act(
            facility=added.facility,
            name="set_up",
            happened_at=now,
            recorded_at=now,
            facts=dict(added.codes),
        )
    )
