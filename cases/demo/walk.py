"""The walk: one invented person from the door to the family, told step by step, with papers."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from django.utils import timezone

from cases import papers
from cases.demo import diary
from cases.demo.build import BEFORE, house
from cases.demo.life import Life, Moments
from cases.demo.people import course, walker
from cases.demo.play import play
from cases.models import Case
from cases.steps import STAGES, STEPS
from chain_of_custody.models import CustodyEntry
from chain_of_custody.press import read_paper
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import Report, verify
from crematory.models import Facility

Say = Callable[[str], None]
CHARGED_BEFORE = timedelta(days=4)
AT_THE_END = "trail"


def walk(folder: Path, now: datetime, say: Say) -> Report:
    """Take one new case the whole way, put its papers into `folder`, and verify the trail.

    Raises PressUnavailable where no paper can be printed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    hands = house(now - BEFORE, now)
    zone = hands.facility.zone
    charge = diary.office(now - CHARGED_BEFORE, zone)
    arrival = diary.office(charge - timedelta(days=2), zone)
    life = Life(walker(), 0, hands, course(), Moments(now, arrival, charge, hands.retorts[0]))
    teller = Teller(hands.facility, say)
    printer = Printer(life, folder)

    def seen() -> None:
        printer.print_what_is_due()
        teller.tell()

    play([life.run()], now, seen)
    printer.print_kind(papers.KINDS[AT_THE_END])
    teller.tell()
    return verify(hands.facility)


class Printer:
    """Prints each paper of the whole way as soon as it can be printed."""

    def __init__(self, life: Life, folder: Path) -> None:
        self.life, self.folder = life, folder
        self.printed: set[str] = set()

    def print_what_is_due(self) -> None:
        """Print what has become available, but for the return uncremated and the trail."""
        case = Case.objects.get(pk=self.life.case.pk)
        for kind in papers.available(case):
            is_of_this_way = "released" in kind.stages and kind.name != AT_THE_END
            if is_of_this_way and kind.name not in self.printed:
                self.print_kind(kind)

    def print_kind(self, kind: papers.Kind) -> None:
        """Print one paper into the folder."""
        hands = self.life.hands
        printed_by = hands.member(self.life.front())
        paper = papers.print_for(self.life.case, kind, printed_by, hands.token())
        self.printed.add(kind.name)
        name = f"{len(self.printed):02d}-{kind.name}-{paper.number}.pdf"
        (self.folder / name).write_bytes(read_paper(paper))


class Teller:
    """Tells each new entry of the trail in one line."""

    def __init__(self, facility: Facility, say: Say) -> None:
        self.facility, self.say = facility, say
        self.told = 0

    def tell(self) -> None:
        """Say what the trail has gained since the last time."""
        new = CustodyEntry.objects.filter(facility=self.facility, sequence__gte=self.told)
        for entry in new.select_related("signed_by", "witness", "place_to").order_by("sequence"):
            self.say(self._line(entry))
            self.told = entry.sequence + 1

    def _line(self, entry: CustodyEntry) -> str:
        at = timezone.localtime(entry.happened_at, self.facility.zone)
        who = " and ".join(m.staff_code for m in (entry.signed_by, entry.witness) if m)
        return f"{entry.sequence:4d}  {at:%a %d %b %H:%M %Z}  {self._what(entry)}  [{who or '-'}]"

    def _what(self, entry: CustodyEntry) -> str:
        label = STEPS[entry.act].label if entry.act in STEPS else entry.act.replace("_", " ")
        if entry.outcome == CustodyEntry.Outcome.REFUSED:
            return f"{label}: REFUSED by {', '.join(facts_of(entry)['reasons'])}"
        if entry.stage_to:
            place = f", {entry.place_to}" if entry.place_to else ""
            return f"{label}: now {STAGES[entry.stage_to]}{place}"
        return label
