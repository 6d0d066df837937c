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
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.press import is_by_hand, read_paper
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
    """Prints each paper of the whole way as soon as it can be printed, and keeps all of them."""

    def __init__(self, life: Life, folder: Path) -> None:
        self.life, self.folder = life, folder
        self.kept: set[int] = set()

    def print_what_is_due(self) -> None:
        """Print what has become available, but for the trail; keep what the hands printed."""
        case = Case.objects.get(pk=self.life.case.pk)
        for kind in papers.available(case):
            is_printed = case.papers.filter(kind=kind.name).exists()
            if kind.name != AT_THE_END and not is_printed:
                self.print_kind(kind)
        self._keep()

    def print_kind(self, kind: papers.Kind) -> None:
        """Print one paper into the folder; a label where nothing can be printed is by hand."""
        hands = self.life.hands
        printed_by = hands.member(self.life.front())
        if kind.name == "label":
            papers.make_label(self.life.case, printed_by, hands.token())
        else:
            papers.print_for(self.life.case, kind, printed_by, hands.token())
        self._keep()

    def _keep(self) -> None:
        """Put the papers into the folder that are not in it yet."""
        for paper in Paper.objects.filter(case=self.life.case).exclude(pk__in=self.kept):
            self.kept.add(paper.pk)
            ending = "txt" if is_by_hand(paper) else "pdf"
            name = f"{len(self.kept):02d}-{paper.kind}-{paper.number}.{ending}"
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
