"""From what was recorded of the right-holders to the answer: may this cremation be authorized?"""

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime

from cases import lapses
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
from cases.models import (
    AuthorityReview,
    AuthorizingAgent,
    Case,
    Document,
    HolderFacts,
    RankNamed,
    RightHolder,
)
from cases.waits import replaced_papers
from crematory import clock

Position = AuthorizingAgent.Position
AGAINST = (Position.OBJECTS, Position.WITHDRAWN)
# What a page or gate needs to answer without asking for each person anew.
FETCHED = (
    "right_holders__facts__delegated_to",
    "right_holders__statements__signed_by_delegate",
    "ranks_named",
    "authority_reviews",
    "documents",
)


def answer_for(case: Case) -> Answer:
    """Decide from the rows as they are now, by the rules under which the case stands."""
    return decide(persons_of(case), case.law.ranks, ranks_named(case))


def citation(case: Case) -> str:
    """Where the order of those who may authorize stands, or that it is unknown here."""
    return case.law.cited("who may authorize", case.law.authority)


def persons_of(case: Case) -> list[Person]:
    """Return the right-holders of a case with what is known of each and what each said."""
    now = clock.now()
    return [
        lapses.marked(person_of(holder), case, newest_facts(holder), now)
        for holder in case.right_holders.all()
    ]


def ranks_named(case: Case) -> set[str]:
    """Return the classes of which the newest statement says that everybody is named."""
    return complete_by(case.ranks_named.all())


def complete_by(rows: Iterable[RankNamed]) -> set[str]:
    """Return the classes of which the newest of these statements says that everybody is named."""
    newest = {row.rank: row.is_complete for row in rows}
    return {rank for rank, is_complete in newest.items() if is_complete}


def person_of(holder: RightHolder) -> Person:
    """Return one right-holder as the pure rules know persons; null stays "not answered".

    A signature counts in the class in which it was given. What speaks against the cremation is
    the person's word, in whichever of their classes it was recorded.
    """
    known, said = newest_facts(holder), statements_of_person(holder)
    withdrew = _newest(said, Position.WITHDRAWN)
    person = Person(
        key=str(holder.person),
        name=holder.name,
        class_key=holder.rank,
        signed=_signed(row for row in said if row.holder_id == holder.pk),
        withdrew_at=_taken_back_at(withdrew, said) if withdrew else None,
        withdrawal_is_settled=withdrew is not None and _is_over(withdrew, said),
        objection=_objection(said),
    )
    return person if known is None else _with_facts(person, known)


def statements_of_person(holder: RightHolder) -> list[AuthorizingAgent]:
    """Return what the person said in any of their classes, in the order in which it was stated."""
    rows = [h for h in holder.case.right_holders.all() if h.person == holder.person]
    said = [row for h in rows for row in h.statements.all()]
    return sorted(said, key=lambda row: row.pk)


def newest_paper_against(holder: RightHolder) -> Document | None:
    """Return the paper with which the person last objected or took the signature back, if any."""
    against = [row for row in statements_of_person(holder) if row.position in AGAINST]
    return against[-1].document if against else None


def has_standing_signature(holder: RightHolder) -> bool:
    """Whether a signature was given in this class, and the person speaks against nothing."""
    person = person_of(holder)
    return person.has_signed and not person.opposes


def newest_facts(holder: RightHolder) -> HolderFacts | None:
    """Return what was stated last about a right-holder, or None."""
    stated = list(holder.facts.all())
    return stated[-1] if stated else None


def is_replaced(case: Case, document_id: int | None) -> bool:
    """Whether a later version of this paper is on file: the older one proves nothing any more."""
    return document_id is not None and document_id in replaced_papers(case)


def is_proved(known: HolderFacts) -> bool | None:
    """Whether the paper on which the right rests is on file; None where that is open.

    A paper that a later version replaced leaves it open. The later one may be a better scan, and
    it may be a revocation: it proves once somebody has read it and stated that it gives the right.
    """
    if not known.has_instrument:
        return known.has_instrument
    case = known.holder.case
    stands = known.instrument_id is not None and not is_replaced(case, known.instrument_id)
    return True if stands else None


def _with_facts(person: Person, known: HolderFacts) -> Person:
    delegation = None
    if known.delegated_to is not None and known.delegated_at is not None:
        to = str(known.delegated_to.person)
        delegation = Delegation(to, known.delegated_at, known.delegated_in_writing)
    return replace(
        person,
        living=known.is_living,
        reachable=known.is_reachable,
        minor=known.is_minor,
        sound_mind=known.is_of_sound_mind,
        efforts=tuple(NoticeEffort(date.fromisoformat(e["on"]), e["how"]) for e in known.efforts),
        delegation=delegation,
        facts=frozenset(known.excluded),
        instrument_on_file=is_proved(known),
    )


def _signed(said: Iterable[AuthorizingAgent]) -> Signing | None:
    signed = [row for row in said if row.position == Position.SIGNED]
    if not signed:
        return None
    row = signed[-1]
    by = str(row.signed_by_delegate.person) if row.signed_by_delegate else ""
    return Signing(row.said_at, row.get_form_display(), by)


def _newest(said: list[AuthorizingAgent], position: str) -> AuthorizingAgent | None:
    rows = [row for row in said if row.position == position]
    return rows[-1] if rows else None


def _settled_after(row: AuthorizingAgent, said: list[AuthorizingAgent]) -> AuthorizingAgent | None:
    """Return what settled an objection or a withdrawal: stated later, whatever its date."""
    later = said[said.index(row) :]
    return next((s for s in later if s.position == Position.SETTLED), None)


def _taken_back_at(withdrew: AuthorizingAgent, said: list[AuthorizingAgent]) -> datetime:
    """Return up to when signatures are taken back: all stated before, whatever the letter's date.

    A letter may be dated before the signature that was recorded first; it is no less meant.
    """
    earlier = said[: said.index(withdrew)]
    signed = [row.said_at for row in earlier if row.position == Position.SIGNED]
    return max([withdrew.said_at, *signed])


def _is_over(withdrew: AuthorizingAgent, said: list[AuthorizingAgent]) -> bool:
    """Whether a withdrawal is settled, or the person has signed anew in any class since."""
    since = _taken_back_at(withdrew, said)
    anew = (row.position == Position.SIGNED and row.said_at > since for row in said)
    return _settled_after(withdrew, said) is not None or any(anew)


def _objection(said: list[AuthorizingAgent]) -> Objection | None:
    """Return the last objection, settled or not; it ends only by what settles it."""
    row = _newest(said, Position.OBJECTS)
    if row is None:
        return None
    settled = _settled_after(row, said)
    if settled is None:
        return Objection(row.said_at, row.how)
    return Objection(row.said_at, row.how, settled.said_at, settled.how)


def standing_review(case: Case, answer: Answer) -> AuthorityReview | None:
    """Return the manager's review of an undecided answer, if nothing was stated since.

    It answers only what was open then: another question, or a stricter order, asks anew.
    A review settles only what the rules leave open: never a missing signature or an objection.
    Where no class decides, it needs somebody who signed, or the paper of who answered.
    """
    if answer.outcome is not Outcome.UNDECIDED:
        return None
    reviews = list(case.authority_reviews.all())
    if not reviews or reviews[-1].reviewed_at < _last_stated(case):
        return None
    newest = reviews[-1]
    if newest.of_what != left_open(case, answer):
        return None
    has_paper = newest.document_id and not is_replaced(case, newest.document_id)
    return newest if has_paper or not lacks_signature(case, answer) else None


def left_open(case: Case, answer: Answer) -> str:
    """Return the SHA-256 of what the rules leave open here, and of the order that leaves it."""
    ranks = [(r.key, str(r.quorum), str(r.lesser), sorted(r.excluded_when)) for r in case.law.ranks]
    told = (str(answer.review), answer.deciding.key if answer.deciding else "", ranks)
    return hashlib.sha256(repr(told).encode()).hexdigest()


def lacks_signature(case: Case, answer: Answer) -> bool:
    """Whether no class decides, and nobody capable has signed at all."""
    if answer.deciding is not None:
        return False
    return not any(_signs_ably(person) for person in persons_of(case))


def _signs_ably(person: Person) -> bool:
    is_able = person.living is not False and not person.minor and person.sound_mind is not False
    return is_able and person.has_signed and not person.opposes


def _last_stated(case: Case) -> datetime:
    times = [row.stated_at for row in case.ranks_named.all()]
    for holder in case.right_holders.all():
        times.append(holder.named_at)
        times += [known.stated_at for known in holder.facts.all()]
        times += [paper.filed_at for paper in later_instruments(holder)]
        times += [said.stated_at for said in holder.statements.all()]
    return max(times, default=case.announced_at)


def later_instruments(holder: RightHolder) -> list[Document]:
    """Return what was filed in place of the papers on which this right rested."""
    rests_on = {known.instrument_id for known in holder.facts.all() if known.instrument_id}
    if not rests_on:
        return []
    return [paper for paper in holder.case.documents.all() if paper.replaces_id in rests_on]


def is_authorized(case: Case, answer: Answer) -> bool:
    """Whether the right to cremate exists: by the rules, or by a review of what they leave open."""
    return answer.outcome is Outcome.SUFFICIENT or standing_review(case, answer) is not None
