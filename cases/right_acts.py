"""Acts about those who may authorize: who they are, what is known of them, what they said.

Nothing is changed: each statement is a new row, and the newest one counts. An objection that
matters puts the case on hold by itself.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from cases import right, right_words, seen, settling
from cases.acts import do_act, need, need_current, need_open, of_this_case, paper_as_it_is
from cases.authority import BY_INSTRUMENT, EXCLUSIONS, Outcome
from cases.drawing import Stroke
from cases.errors import ActRefused
from cases.hold_acts import hold_if_disputed
from cases.models import (
    AuthorityReview,
    AuthorizingAgent,
    Case,
    Document,
    HolderFacts,
    RankNamed,
    RightHolder,
)
from cases.names import fold
from cases.roles import WHO
from chain_of_custody import uploads_in
from chain_of_custody.models import CustodyEntry, Upload
from chain_of_custody.trail import Sealed
from chain_of_custody.uploads_in import Arrived
from crematory.models import Role, StaffMember
from crematory.signatures import Signature

Position = AuthorizingAgent.Position


@dataclass(frozen=True, kw_only=True)
class Known:
    """What an informant states about a right-holder; None is "not answered"."""

    informant: str
    is_living: bool | None = None
    is_reachable: bool | None = None
    told_of_death_on: date | None = None
    is_minor: bool | None = None
    is_of_sound_mind: bool | None = None
    efforts: tuple[tuple[date, str], ...] = ()
    excluded: frozenset[str] = frozenset()
    has_instrument: bool | None = None
    instrument: Document | None = None
    delegated_to: RightHolder | None = None
    delegated_at: datetime | None = None
    delegated_in_writing: bool = False


@dataclass(frozen=True, kw_only=True)
class Named:
    """A person with a say, not named before in this class; `person` if named in another one."""

    name: str
    rank: str
    relationship: str
    person: int | None = None


@dataclass(frozen=True, kw_only=True)
class Said:
    """What a right-holder said of the authorization, when, and how it came."""

    position: str
    said_at: datetime
    how: str
    form: str = AuthorizingAgent.Form.PAPER
    document: Document | None = None
    drawing: Arrived | None = None
    strokes: list[Stroke] | None = None
    by_delegate: RightHolder | None = None


@dataclass(frozen=True, kw_only=True)
class Complete:
    """Of which classes everybody is named (nobody named: there is nobody), and who said so."""

    ranks: dict[str, bool]
    informant: str


def name_holder(
    case: Case,
    member: StaffMember,
    token: str,
    who: Named,
    known: Known | None = None,
    said: Said | None = None,
    complete: Complete | None = None,
) -> CustodyEntry:
    """Name a person with a say, with what is known of them and what they said, in one act.

    `complete` is what they or somebody else say of the classes at the same time.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["state_agent"])
        need_open(locked)
        holder = _name(locked, who, now)
        facts = _holder_facts(holder)
        if known is not None:
            facts |= _know(holder, known, now)
        if said is not None:
            facts |= _say(holder, member, said, now)
        if complete is not None:
            facts |= _complete(locked, complete, now)
        return facts

    return do_act("name_holder", case, member, token, write, after=hold_if_disputed(case, member))


def state_known(
    holder: RightHolder, member: StaffMember, token: str, known: Known, shown: str | None = None
) -> CustodyEntry:
    """State what is known of a right-holder; it replaces what was stated before.

    `shown` is the mark of the page on which what was stated before stood.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["state_agent"])
        need_open(locked)
        found = _as_it_is(locked, holder)
        seen.check(shown, seen.of_known(found))
        return _holder_facts(found) | _know(found, known, now)

    return do_act(
        "state_known",
        holder.case,
        member,
        token,
        write,
        after=hold_if_disputed(holder.case, member),
    )


def state_agent(holder: RightHolder, member: StaffMember, token: str, said: Said) -> CustodyEntry:
    """Record what a right-holder said: signed, objects, took it back, or how it was settled.

    Only a manager records that an objection is settled.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["state_agent"])
        need_open(locked)
        found = _as_it_is(locked, holder)
        return _holder_facts(found) | _say(found, member, said, now)

    return do_act(
        "state_agent",
        holder.case,
        member,
        token,
        write,
        after=hold_if_disputed(holder.case, member),
    )


def _as_it_is(locked: Case, holder: RightHolder) -> RightHolder:
    """Return the right-holder with what is stated by now: a page read its rows before the lock."""
    return locked.right_holders.get(pk=holder.pk)


def state_ranks(
    case: Case,
    member: StaffMember,
    token: str,
    ranks: dict[str, bool],
    informant: str,
    shown: str | None = None,
) -> CustodyEntry:
    """State of which classes everybody is named here (nobody named: there is nobody), or not.

    `shown` is the mark of the page on which what was stated before stood.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["state_agent"])
        need_open(locked)
        seen.check(shown, seen.of_classes(locked))
        return _complete(locked, Complete(ranks=ranks, informant=informant), now)

    return do_act("state_ranks", case, member, token, write)


def review_authority(
    case: Case,
    signed_by: Signature,
    token: str,
    reason: str,
    document: Document | None,
    shown: str | None = None,
) -> CustodyEntry:
    """A manager records the authority's or counsel's answer to what the rules leave open.

    `shown` is the mark of the page on which the manager read what they leave open.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, Role.MANAGER)
        need_open(locked)
        seen.check(shown, seen.of_right(locked))
        answer = right.answer_for(locked)
        if answer.outcome is not Outcome.UNDECIDED:
            raise ActRefused(
                "nothing_open",
                "The rules leave nothing open here. A signature that is missing or an objection "
                "is not settled by a review.",
            )
        if not reason.strip():
            raise ActRefused("reason_missing", "Write who answered, when, and what.")
        of_this_case(locked, document)
        need_current(locked, document)
        if document is None and right.lacks_signature(locked, answer):
            raise ActRefused(
                "nobody_signed",
                "Nobody has signed. Record who signs the authorization, or file the paper of who "
                "answered and choose it here.",
            )
        AuthorityReview.objects.create(
            case=locked,
            reason=reason.strip(),
            document=document,
            of_what=right.left_open(locked, answer),
            reviewed_by=signed_by.member,
            reviewed_at=now,
        )
        return {"reason": Sealed(reason.strip()), "document": _kind(document)}

    return do_act("review_authority", case, signed_by.member, token, write, signature="pin")


def _complete(case: Case, complete: Complete, now: datetime) -> dict[str, Any]:
    informant = complete.informant.strip()
    if not complete.ranks:
        raise ActRefused("ranks_missing", "Say of which classes everybody is named.")
    if not informant:
        raise ActRefused("informant_missing", "Say who told you that nobody else is there.")
    for rank, is_complete in sorted(complete.ranks.items()):
        row = RankNamed(
            case=case, rank=rank, is_complete=is_complete, informant=informant, stated_at=now
        )
        row.full_clean()
        row.save()
    return {"ranks": dict(complete.ranks), "ranks_informant": Sealed(informant)}


def _name(case: Case, who: Named, now: datetime) -> RightHolder:
    holders = list(case.right_holders.all())
    if who.person is not None and who.person not in {h.person for h in holders}:
        raise ActRefused("person_unknown", "This person is not named in this case yet.")
    _check_named(holders, who)
    number = who.person or max((h.person for h in holders), default=0) + 1
    holder = RightHolder(
        case=case,
        person=number,
        rank=who.rank,
        name=who.name.strip(),
        relationship=who.relationship.strip(),
        named_at=now,
    )
    holder.full_clean()
    holder.save()
    return holder


def _check_named(holders: list[RightHolder], who: Named) -> None:
    """Refuse to count one person as two, or two as one: each has a single signature."""
    for holder in holders:
        same_name = fold(holder.name) == fold(who.name)
        if who.person == holder.person and not same_name:
            raise ActRefused("name_differs", f"This person is named as {holder.name} here.")
        same_tie = fold(holder.relationship) == fold(who.relationship)
        if holder.rank == who.rank and same_name and same_tie:
            raise ActRefused(
                "named_before",
                f"{holder.name}, {holder.relationship}, is named already, and a person counts "
                "once. Open their own page. If these are two persons, write the names so that "
                "they can be told apart.",
            )


def _know(holder: RightHolder, known: Known, now: datetime) -> dict[str, Any]:
    if not known.informant.strip():
        raise ActRefused("informant_missing", "Say who told you this.")
    if unknown := known.excluded - set(EXCLUSIONS):
        raise ActRefused("exclusion_unknown", f"Not known: {', '.join(sorted(unknown))}.")
    if known.is_reachable is False and not known.efforts:
        raise ActRefused(
            "efforts_missing",
            "Somebody counts as not reachable only with the efforts to give notice: day and way.",
        )
    today = now.astimezone(holder.case.facility.zone).date()
    _check_efforts(holder.case, known.efforts, today)
    _check_told(holder.case, known.told_of_death_on, today)
    if known.has_instrument and holder.rank not in BY_INSTRUMENT:
        raise ActRefused("instrument_not_asked", "This class needs no paper of its own.")
    if known.has_instrument and known.instrument is None:
        raise ActRefused(
            "instrument_missing",
            "Put the paper or order on file first, then choose it: the right rests on it.",
        )
    of_this_case(holder.case, known.instrument)
    need_current(holder.case, known.instrument)
    _check_delegation(holder, known, now)
    row = HolderFacts(
        holder=holder,
        efforts=[{"on": on.isoformat(), "how": how} for on, how in known.efforts],
        excluded=sorted(known.excluded),
        stated_at=now,
        **{name: getattr(known, name) for name in PLAIN},
    )
    row.full_clean()
    row.save()
    return {
        **{name: getattr(known, name) for name in ASKED if getattr(known, name) is not None},
        **_told(known.told_of_death_on),
        "efforts": Sealed("; ".join(f"{on.isoformat()} {how}" for on, how in known.efforts)),
        "excluded": sorted(known.excluded),
        "informant": Sealed(known.informant),
    }


def _check_efforts(case: Case, efforts: tuple[tuple[date, str], ...], today: date) -> None:
    """Efforts may let somebody be passed over: they tell of a death, and lie behind it."""
    if any(on > today for on, _ in efforts):
        raise ActRefused("time_future", "An effort lies in the future. Correct its day.")
    if any(on < case.days_of_death[0] for on, _ in efforts):
        raise ActRefused(
            "effort_too_early",
            "Nobody tells of a death before it: an effort lies before the death. Leave out what "
            "is wrong, and write it anew.",
        )


def _check_told(case: Case, told: date | None, today: date) -> None:
    """A right may lapse by the day of notice: it lies between the death and today."""
    if told is not None and told > today:
        raise ActRefused("time_future", "The notice lies in the future. Correct its day.")
    if told is not None and told < case.days_of_death[0]:
        raise ActRefused("told_too_early", "Nobody has notice of a death before it. Correct it.")


def _told(day: date | None) -> dict[str, Any]:
    return {"told_of_death_on": Sealed(day.isoformat())} if day else {}


def _check_delegation(holder: RightHolder, known: Known, now: datetime) -> None:
    if known.delegated_to is None:
        return
    _of_the_same(holder.case, known.delegated_to)
    if known.delegated_to.person == holder.person:
        raise ActRefused("delegate_self", "Nobody delegates to themselves.")
    if known.delegated_at is None:
        raise ActRefused("delegation_undated", "Say when the right was delegated.")
    if known.delegated_at > now:
        raise ActRefused("time_future", "The delegation lies in the future. Correct its time.")


def _of_the_same(case: Case, holder: RightHolder | None) -> None:
    if holder is not None and holder.case_id != case.pk:
        raise ActRefused("person_unknown", "The delegate is not named in this case.")


ASKED = ("is_living", "is_reachable", "is_minor", "is_of_sound_mind", "has_instrument")
PLAIN = (
    *ASKED,
    "told_of_death_on",
    "instrument",
    "delegated_to",
    "delegated_at",
    "delegated_in_writing",
    "informant",
)


def _say(holder: RightHolder, member: StaffMember, said: Said, now: datetime) -> dict[str, Any]:
    if said.said_at > now:
        raise ActRefused("time_future", "The time lies in the future. Correct it.")
    document = paper_as_it_is(holder.case, said.document)
    person = right.person_of(holder)
    objects = person.objection is not None and person.objection.stands
    if said.position == Position.SETTLED:
        need(member, Role.MANAGER)
        if not person.opposes:
            raise ActRefused("no_objection", "This person has no objection that stands.")
        if document is None:
            raise ActRefused(
                "paper_missing",
                "An objection is settled only with a paper: a court's order, a signed agreement "
                "or a written withdrawal. File it, then choose it here.",
            )
        since = settling.since_of(holder)
        if since and (refusal := settling.why_not(document, since)):
            raise refusal
    if objects and said.position == Position.SIGNED:
        raise ActRefused(
            "objection_stands",
            "This person objects. A manager first records how the objection was settled.",
        )
    if said.position == Position.WITHDRAWN and not person.has_signed:
        raise ActRefused("not_signed", "There is no signature to take back.")
    _of_the_same(holder.case, said.by_delegate)
    signs = said.position == Position.SIGNED
    drawing = _drawing(holder.case, member, said) if signs else None
    row = AuthorizingAgent(
        case=holder.case,
        holder=holder,
        position=said.position,
        form=said.form,
        meaning=right_words.meaning(holder.case) if signs else "",
        document=document,
        drawing=drawing,
        strokes=said.strokes if drawing else None,
        signed_by_delegate=said.by_delegate,
        how=said.how.strip(),
        said_at=said.said_at,
        stated_at=now,
    )
    row.full_clean()
    row.save()
    return {
        "position": said.position,
        "form": said.form,
        "said_at": said.said_at,
        "how": Sealed(said.how.strip()),
        "document": _kind(document),
        **({"meaning": Sealed(row.meaning)} if signs else {}),
        **({"drawing_sha256": drawing.sha256} if drawing else {}),
    }


def _drawing(case: Case, member: StaffMember, said: Said) -> Upload | None:
    """Record the picture of a signature drawn on the tablet, which has to be there."""
    if said.form != AuthorizingAgent.Form.TABLET:
        return None
    if said.drawing is None or not said.strokes:
        raise ActRefused("drawing_missing", "Nothing is drawn. Sign in the field, or on paper.")
    return uploads_in.record(case, member, said.drawing)


def _holder_facts(holder: RightHolder) -> dict[str, Any]:
    return {
        "person": holder.person,
        "rank": holder.rank,
        "name": Sealed(holder.name),
        "relationship": Sealed(holder.relationship),
    }


def _kind(document: Document | None) -> str | None:
    return document.kind if document else None
