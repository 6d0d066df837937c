"""When a step can have happened: what a typed minute means, and what the step stands on.

Gates judge what is on record now. A step that is stated with an earlier time must therefore not
lie before what its gates rest on: a label that was not yet made, a hold that was not yet lifted.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Max, Q

from cases.facts import ContainFacts, Facts, label_read, plain
from cases.models import Case
from cases.steps import Step
from chain_of_custody.models import CustodyEntry, open_placement
from retort_log.models import Retort
from retort_log.selectors import newest_reading

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Moment:
    """When something was recorded, and its words after "before"."""

    at: datetime
    what: str


def settle_minute(stated: datetime, before: Iterable[datetime]) -> datetime:
    """Return the moment that a stated time stands for.

    A time typed to the minute means that whole minute: what is on record within it came before,
    and the moment is no earlier than the latest of these. Any other time stands as stated.
    """
    if stated.second or stated.microsecond:
        return stated
    return max([stated, *(at for at in before if stated <= at < stated + MINUTE)])


def moments_before(case: Case, facts: Facts, end: datetime) -> list[datetime]:
    """Return what a step follows: death, last step, last move, the place left, the last reading.

    Of the goal's placements and of the retort's readings the last one before `end` is taken.
    """
    stay = open_placement(case)
    retort = _retort(case, facts)
    goal = facts.retort.place if hasattr(facts, "retort") else getattr(facts, "place", None)
    left = goal.placements.filter(until__lt=end).order_by("-until").first() if goal else None
    reading = newest_reading(retort, end - timedelta(microseconds=1)) if retort else None
    known = (
        case.died_at,
        case.stage_entry.happened_at if case.stage_entry else None,
        stay.since if stay else None,
        left.until if left else None,
        reading.at if reading else None,
    )
    return [at for at in known if at is not None]


def _retort(case: Case, facts: Facts) -> Retort | None:
    """The retort that the person goes into or lies in."""
    if hasattr(facts, "retort"):
        retort: Retort = facts.retort
        return retort
    return case.run.retort if case.stage in ("in_retort", "cooling") else None


def _anything(facts: Facts) -> list[str]:
    return [""]


def _labels(facts: Facts) -> list[str]:
    """The labels that were read, as the entries of their printing name them."""
    read = [c.label_scan for c in facts.containers] if isinstance(facts, ContainFacts) else []
    read = read or [getattr(facts, "label_scan", "")]
    return [f'"number":"{number}"' for number in map(label_read, read) if number]


def _retort_code(facts: Facts) -> list[str]:
    return [f'"retort":"{plain(facts.retort)}"'] if hasattr(facts, "retort") else []


@dataclass(frozen=True)
class Source:
    """An act that a gate rests on, and its words after "before".

    `holds` gives the pieces of canonical JSON of which its entry holds one.
    """

    act: str
    what: str
    holds: Callable[[Facts], list[str]] = _anything
    is_of_house: bool = False


def _correction(field: str) -> Source:
    what = "the last correction of what this step rests on"
    return Source("correct", what, lambda facts: [f'"field":"{field}"'])


PAPER = Source("file_document", "the last paper was filed")
RIGHT = tuple(
    Source(act, what)
    for act, what in (
        ("name_holder", "the last person with a say was named"),
        ("state_known", "what is known of a person with a say was last stated"),
        ("state_agent", "the last word of a person with a say was recorded"),
        ("state_ranks", "it was last stated that everybody is named"),
        ("review_authority", "what the rules leave open was reviewed"),
    )
)
THINGS = (
    Source("list_things", "the list of personal things was last changed"),
    Source("give_back", "the last personal thing was given back"),
)
ANSWERED = Source("answer_law", "a question of the law was answered")
GROUND = Source("state_wait_ground", "the ground of a waiver was stated")
HOUSE_WAIT = Source(
    "house_rules",
    "what the house asks of the wait was last changed",
    lambda facts: ['"path":"wait.'],
    True,
)
DEVICE = Source("answer_device", "the last device question was answered")
SETTLED = Source("settle", "the last question of the authorization was settled")
LABEL = Source("print", "the label was made", _labels)

# What opens each gate that the record answers. What is stated with the step itself, or bears its
# own time (readings, places), is not named here.
STANDS_ON: dict[str, tuple[Source, ...]] = {
    "no_hold": (Source("lift_hold", "the last hold was lifted"),),
    "band_compared": (Source("compare_band", "the identity band was compared"),),
    "papers_at_receipt": (PAPER, ANSWERED),
    "documents_on_file": (PAPER, ANSWERED),
    "papers_at_charge": (PAPER, ANSWERED),
    "authorizing_agent": RIGHT,
    "no_dispute": RIGHT,
    "disposition_named": (SETTLED,),
    "recipients_named": (Source("name_recipient", "the last recipient was named"),),
    "labels_stand": (Source("relabel", "new labels were fixed to the containers"),),
    "recipient_named": (Source("name_recipient", "the last recipient was named"),),
    "medical_clearance": (PAPER, SETTLED, _correction("is_death_reportable")),
    "devices_answered": (DEVICE, ANSWERED, PAPER),
    "devices_removed": (DEVICE,),
    "radionuclide_wait": (DEVICE,),
    "jewellery_settled": THINGS,
    "things_given_back": THINGS,
    "waiting_period": (
        _correction("died_at"),
        _correction("discovered_at"),
        PAPER,
        GROUND,
        HOUSE_WAIT,
    ),
    "mass_limit": (_correction("mass_kg"),),
    "retort_fit": (
        Source("state_fitness", "the retort was stated fit for use", _retort_code, True),
    ),
    "label_scanned": (LABEL,),
    "label_disc_scanned": (LABEL,),
}


def stands_on(case: Case, step: Step, facts: Facts) -> list[Moment]:
    """Return when the newest of each kind was recorded that the step rests on. Two queries.

    A step for which no time is stated happens now, after all that is on record.
    """
    found = [Moment(case.stage_entry.happened_at, "the previous step")] if case.stage_entry else []
    if facts.happened_at is None:
        return found
    sources = {source for gate in step.gates for source in STANDS_ON.get(gate, ())}
    of_house = Q(case__isnull=True, facility=case.facility)
    for rows, of_these in (
        (Q(case=case), {source for source in sources if not source.is_of_house}),
        (of_house, {source for source in sources if source.is_of_house}),
    ):
        found += _newest(rows, of_these, facts)
    return found


def _newest(rows: Q, sources: set[Source], facts: Facts) -> list[Moment]:
    pieces = [(source, piece) for source in sources for piece in source.holds(facts)]
    if not pieces:
        return []
    wanted = Q()
    for source, piece in pieces:
        wanted |= Q(act=source.act, payload__contains=piece) if piece else Q(act=source.act)
    entries = CustodyEntry.objects.filter(rows, wanted, outcome=CustodyEntry.Outcome.DONE)
    newest = entries.order_by().values_list("act").annotate(at=Max("happened_at"))
    words = {source.act: source.what for source, _ in pieces}
    return [Moment(at, words[act]) for act, at in newest]
