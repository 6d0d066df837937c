"""What the page of those who may authorize shows: the answer, and the classes in their order."""

from dataclasses import dataclass
from typing import Any

from django.db.models import prefetch_related_objects
from django.utils import timezone

from cases import right, right_words
from cases.authority import EXCLUSIONS, Answer, Outcome, Rank, explain
from cases.law import CHECK_LOCALLY, not_asking
from cases.models import AuthorizingAgent, Case, HolderFacts, RightHolder
from crematory.templatetags.crematory import when

FETCHED = (
    *right.FETCHED,
    "right_holders__statements__document",
    "right_holders__facts__instrument",
    "right_holders__statements__drawing",
    "documents",
    "holds__holder",
    "authority_reviews__reviewed_by",
)
Position = AuthorizingAgent.Position
MARKS = {
    Outcome.SUFFICIENT: "passed",
    Outcome.INSUFFICIENT: "waiting",
    Outcome.DISPUTED: "hold",
    Outcome.UNDECIDED: "asked",
}


@dataclass(frozen=True)
class Line:
    """One person of a class: what is known, and what they said, oldest first."""

    holder: RightHolder
    known: tuple[str, ...]
    said: tuple[AuthorizingAgent, ...]

    @property
    def state(self) -> str:
        """What stands, in a word or two."""
        person = right.person_of(self.holder)
        if person.objection is not None and person.objection.stands:
            return "objects"
        if person.opposes:
            return "took the signature back"
        return "has signed" if person.has_signed else "has not signed"

    @property
    def mark(self) -> str:
        """The mark that stands beside the word."""
        return {"has signed": "passed", "has not signed": "waiting"}.get(self.state, "hold")


@dataclass(frozen=True)
class Group:
    """One class, with who is named in it; `place` 0 where the order does not name the class."""

    key: str
    title: str
    place: int
    rank: Rank | None
    decides: bool
    is_complete: bool
    lines: tuple[Line, ...]

    @property
    def quorum(self) -> str:
        """How many of the class must sign."""
        return right_words.quorum_words(self.rank) if self.rank else ""

    @property
    def excluded(self) -> str:
        """What takes the right from one of the class."""
        words = right_words.exclusion_words(self.rank) if self.rank else []
        return "; ".join(words)

    @property
    def completeness(self) -> str:
        """Whether somebody may be missing here."""
        if not self.is_complete:
            return "not said whether everybody is named"
        return "everybody is named" if self.lines else "there is nobody"


def fetch(case: Case) -> None:
    """Read once what the page and the gates ask of the case."""
    prefetch_related_objects([case], *FETCHED)


def groups(case: Case, answer: Answer) -> list[Group]:
    """The classes of the order, highest first; then those outside it in which somebody is named."""
    ranks = {rank.key: rank for rank in case.law.ranks}
    complete = right.ranks_named(case)
    holders = list(case.right_holders.all())
    places = {key: place for place, key in enumerate(ranks, start=1)}
    return [
        Group(
            key=key,
            title=right_words.class_title(key),
            place=places.get(key, 0),
            rank=ranks.get(key),
            decides=answer.deciding is not None and answer.deciding.key == key,
            is_complete=key in complete,
            lines=tuple(line(h) for h in holders if h.rank == key),
        )
        for key in right_words.in_order(case.law)
        if key in ranks or any(h.rank == key for h in holders)
    ]


def line(holder: RightHolder) -> Line:
    """One person, as shown in a class and on their own page."""
    return Line(holder, known_words(right.newest_facts(holder)), tuple(holder.statements.all()))


_KNOWN: dict[str, tuple[str, str]] = {
    "is_living": ("is living", "has died"),
    "is_minor": ("is under age", "is of age"),
    "is_of_sound_mind": ("is of sound mind", "is not of sound mind"),
    "is_reachable": ("can be reached", "cannot be reached"),
    "has_instrument": ("paper on file", "there is no paper that gives the right"),
}


REPLACED = (
    "a later version has replaced this paper: read it, and choose it here if it gives the right"
)


def known_words(known: HolderFacts | None) -> tuple[str, ...]:
    """What is known of a person, in words; what nobody answered is left out."""
    if known is None:
        return ()
    answers = [(getattr(known, name), words) for name, words in _KNOWN.items()]
    found = [words[0] if value else words[1] for value, words in answers if value is not None]
    if known.has_instrument and not right.is_proved(known):
        found.append(REPLACED)
    if known.told_of_death_on:
        found.append(f"had notice of the death on {known.told_of_death_on.isoformat()}")
    found += [EXCLUSIONS.get(key, key) for key in known.excluded]
    found += [f"effort of {row['on']}: {row['how']}" for row in known.efforts]
    if known.instrument:
        found.append(str(known.instrument))
    if known.delegated_to:
        way = "in writing" if known.delegated_in_writing else "not in writing: it does not count"
        found.append(f"delegated the right to {known.delegated_to.name}, {way}")
    return tuple(found)


def page(case: Case) -> dict[str, Any]:
    """Return what the page shows beside its form."""
    answer = right.answer_for(case)
    review = right.standing_review(case, answer)
    lines = explain(answer)
    return {
        "answer": answer,
        "headline": "A manager has settled what the rules leave open." if review else lines[0],
        "explained": lines[1:],
        "mark_of_answer": "passed" if review else MARKS[answer.outcome],
        "review": review,
        "needs_review": answer.outcome is Outcome.UNDECIDED and review is None,
        "groups": groups(case, answer),
        "authority": case.law.authority,
        "citation": not_asking(right.citation(case)),
        "order_is_known": bool(case.law.ranks),
        "check_locally": CHECK_LOCALLY,
        "meaning": right_words.meaning(case),
        "before": {key: _before(case, key) for key in right_words.in_order(case.law)},
    }


@dataclass(frozen=True)
class Then:
    """What is asked next of the authorization: the name of its page, and the words of the link."""

    page: str
    words: str


def then(case: Case) -> Then | None:
    """Return what is left for the authorization once the right to it exists; None before that."""
    if case.stage not in ("expected", "in_care"):
        return None
    if not right.is_authorized(case, right.answer_for(case)):
        return None
    if not case.recipients.exists():
        return Then("cases:recipients", "Name who receives the remains")
    is_open = case.is_death_reportable is None and case.law.clearance_rule != "always"
    if is_open or not case.disposition:
        return Then("cases:settle", "Answer the open questions of the authorization")
    return None


def _before(case: Case, key: str) -> str:
    """The classes before this one of which it is not said yet that nobody is missing."""
    named = right.ranks_named(case)
    open_ones = [k for k in right_words.before(case.law, key) if k not in named]
    return "; ".join(right_words.class_title(k) for k in open_ones)


def signature_line(said: AuthorizingAgent) -> str:
    """Name, time and way of a signature as papers and pages print it, beside its meaning."""
    by = said.signed_by_delegate.name if said.signed_by_delegate else said.holder.name
    at = when(timezone.localtime(said.said_at))
    return f"{by}, {at}, {said.get_form_display()}"
