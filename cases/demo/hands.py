"""The hands of the house: who signs, and which place, disc or reading comes next."""

from __future__ import annotations

from decimal import Decimal
from itertools import count

from django.db.models import QuerySet

from cases.house_file import HousePlan
from cases.models import Case, IdDisc
from cases.scans import Label
from chain_of_custody.models import Paper, Place, Placement
from crematory.models import Facility, StaffMember
from crematory.signatures import Signature, sign
from retort_log.models import Retort


class Hands:
    """The staff of the demonstration. Each PIN is verified once and the signature used again."""

    def __init__(self, facility: Facility, plan: HousePlan) -> None:
        self.facility = facility
        self.signatures = {m.staff_code: sign(facility, m.staff_code, m.pin) for m in plan.staff}
        self.retorts: list[Retort] = []
        self.reread()
        self._serial = count(1)
        self._disc = count(2101)

    def reread(self) -> None:
        """Read the retorts, with what their permit says now."""
        rows = Retort.objects.filter(facility=self.facility).select_related("permit", "place")
        self.retorts = list(rows.order_by("name"))

    @property
    def logged(self) -> Retort:
        """The retort whose temperatures a data logger writes; the others are read by hand."""
        return self.retorts[1]

    def __getitem__(self, code: str) -> Signature:
        return self.signatures[code]

    def member(self, code: str) -> StaffMember:
        """Return the member with this code."""
        return self.signatures[code].member

    def token(self) -> str:
        """Return a token that no form of the demonstration has used."""
        return f"demonstration-{next(self._serial)}"

    def next_disc(self) -> str:
        """Return the next unused disc number."""
        return f"Q{next(self._disc)}"

    def free(self, kind: str) -> Place:
        """Return the first free place of this kind. Raises IndexError when none is free."""
        return self._places(kind).exclude(pk__in=self._taken())[0]

    def not_free(self, kind: str) -> Place:
        """Return a place that a step asking for this kind must refuse."""
        taken = self._places(kind).filter(pk__in=self._taken()).first()
        return taken or Place.objects.filter(facility=self.facility).exclude(kind=kind)[0]

    def _places(self, kind: str) -> QuerySet[Place]:
        return Place.objects.filter(facility=self.facility, kind=kind).order_by("pk")

    def _taken(self) -> QuerySet[Placement, int]:
        return Placement.objects.filter(until__isnull=True).values_list("place", flat=True)

    def other_disc(self, case: Case) -> str:
        """Return the disc number of another case."""
        return IdDisc.objects.filter(facility=self.facility).exclude(case=case)[0].number

    def other_label(self, case: Case) -> str:
        """Return what a scanner reads on another person's label."""
        others = Paper.objects.filter(facility=self.facility, kind="label").exclude(case=case)
        return _code(others.select_related("case")[0])

    def label(self, case: Case, back: int = 0) -> str:
        """Return what a scanner reads on the case's newest label, or on one so far back, or ""."""
        newest = case.papers.filter(kind="label").order_by("-copy")[back:].first()
        return _code(newest) if newest else ""


def _code(label: Paper) -> str:
    return Label(label.number, label.case.number).code


def celsius(value: int, index: int, minute: int) -> Decimal:
    """Return a temperature a little different for each case and minute, always the same."""
    return Decimal(value) + Decimal((index * 37 + minute * 13) % 90) / 10
