"""From what was recorded of the right-holders to the answer: may this cremation be authorized?"""

from collections.abc import Iterable
from datetime import date, datetime

from cases.authority import (
    Answer,
    Delegation,
    NoticeEffort,
    Objection,
    Outcome,
    Person,
    Signing,
    decide,
)
from cases.models import AuthorityReview, AuthorizingAgent, Case, HolderFacts, RightHolder

Position = AuthorizingAgent.Position
# What a page or gate needs to answer without asking for each person anew.
FETCHED = (
    "right_holders__facts__delegated_to",
    "right_holders__statements__signed_by_delegate",
    "ranks_named",
    "authority_reviews",
)


def answer_for(case: Case) -> Answer:
    """Decide from the rows as they are now, by the rules under which the case stands."""
    return decide(persons_of(case), case.law.ranks, ranks_named(case))


def persons_of(case: Case) -> list[Person]:
    """Return the right-holders of a case with what is known of each and what each said."""
    return [person_of(holder) for holder in case.right_holders.all()]


def ranks_named(case: Case) -> set[str]:
    """Return the classes of which the newest statement says that everybody is named."""
    newest = {row.rank: row.is_complete for row in case.ranks_named.all()}
    return {rank for rank, is_complete in newest.items() if is_complete}


def person_of(holder: RightHolder) -> Person:
    """Return one right-holder as the pure rules know persons; null stays "not answered"."""
    known = newest_facts(holder)
    said = list(holder.statements.all())
    person = Person(
        key=str(holder.person),
        name=holder.name,
        class_key=holder.rank,
        signed=_signed(said),
        withdrew_at=_last(said, Position.WITHDRAWN),
        objection=_objection(said),
    )
    return person if known is None else _with_facts(person, known)


def newest_facts(holder: RightHolder) -> HolderFacts | None:
    """Return what was stated last about a right-holder, or None."""
    stated = list(holder.facts.all())
    return stated[-1] if stated else None


def _with_facts(person: Person, known: HolderFacts) -> Person:
    delegation = None
    if known.delegated_to is not None and known.delegated_at is not None:
        to = str(known.delegated_to.person)
        delegation = Delegation(to, known.delegated_at, known.delegated_in_writing)
    return Person(
        key=person.key,
        name=person.name,
        class_key=person.class_key,
        signed=person.signed,
        withdrew_at=person.withdrew_at,
        objection=person.objection,
        living=known.is_living,
        reachable=known.is_reachable,
        minor=known.is_minor,
        sound_mind=known.is_of_sound_mind,
        efforts=tuple(NoticeEffort(date.fromisoformat(e["on"]), e["how"]) for e in known.efforts),
        delegation=delegation,
        facts=frozenset(known.excluded),
        instrument_on_file=known.has_instrument,
    )


def _signed(said: Iterable[AuthorizingAgent]) -> Signing | None:
    signed = [row for row in said if row.position == Position.SIGNED]
    if not signed:
        return None
    row = signed[-1]
    by = str(row.signed_by_delegate.person) if row.signed_by_delegate else ""
    return Signing(row.said_at, row.get_form_display(), by)


def _last(said: Iterable[AuthorizingAgent], position: str) -> datetime | None:
    rows = [row.said_at for row in said if row.position == position]
    return rows[-1] if rows else None


def _objection(said: list[AuthorizingAgent]) -> Objection | None:
    """Return the last objection, settled or not; it ends only by what settles it."""
    places = [i for i, row in enumerate(said) if row.position == Position.OBJECTS]
    if not places:
        return None
    row = said[places[-1]]
    settled = next((s for s in said[places[-1] :] if s.position == Position.SETTLED), None)
    if settled is None:
        return Objection(row.said_at, row.how)
    return Objection(row.said_at, row.how, settled.said_at, settled.how)


def standing_review(case: Case, answer: Answer) -> AuthorityReview | None:
    """Return the manager's review of an undecided answer, if nothing was stated since.

    A review settles only what the rules leave open: never a missing signature or an objection.
    """
    if answer.outcome is not Outcome.UNDECIDED:
        return None
    reviews = list(case.authority_reviews.all())
    if not reviews or reviews[-1].reviewed_at < _last_stated(case):
        return None
    return reviews[-1]


def _last_stated(case: Case) -> datetime:
    times = [row.stated_at for row in case.ranks_named.all()]
    for holder in case.right_holders.all():
        times.append(holder.named_at)
        times += [known.stated_at for known in holder.facts.all()]
        times += [said.stated_at for said in holder.statements.all()]
    return max(times, default=case.announced_at)


def is_authorized(case: Case, answer: Answer) -> bool:
    """Whether the right to cremate exists: by the rules, or by a review of what they leave open."""
    return answer.outcome is Outcome.SUFFICIENT or standing_review(case, answer) is not None


def has_standing_objection(case: Case) -> list[RightHolder]:
    """Return the right-holders with an objection that nothing has settled."""
    return [h for h in case.right_holders.all() if person_of(h).opposes]
