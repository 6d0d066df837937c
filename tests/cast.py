"""The fixed cast of the tests: two facilities, their staff, and a hand that leads a case along.

Times lie in the past and are held by `clock.pinned`, so that a test may go on in the present.
Each case begins a day after the one before it: their readings never mix.
"""

import dataclasses
import itertools
from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from cases import acts, device_rules, papers, right, right_acts, thing_acts
from cases.authority import Outcome
from cases.facts import (
    AssignDiscFacts,
    AuthorizeFacts,
    BurnerOffFacts,
    ChargeFacts,
    ClearDevicesFacts,
    Container,
    ContainFacts,
    Facts,
    ProcessFacts,
    ReceiveFacts,
    RecoverFacts,
    ReleaseFacts,
    ReturnFacts,
)
from cases.identity import BandDate
from cases.models import Case, Document, IdDisc, PersonalThing, RightHolder
from cases.scans import Label
from cases.steps import FRONT_OFFICE, ORDER, STEPS
from cases.taking import take
from cases.waits import kinds_on_file
from chain_of_custody import uploads_in
from chain_of_custody.models import CustodyEntry, Paper, Place, Placement
from crematory import clock
from crematory.models import Facility, StaffMember
from crematory.signatures import Signature, sign
from retort_log.acts import record_reading
from retort_log.models import Reading, Retort, Run
from tests import factories
from tests.factories import START as START
from tests.papers_in import picture

PASSWORD = "a long password of the cast"
WRONG_PIN = "999000"
EXPIRED_ON = date(2020, 12, 31)
HOT, COLD = (Decimal("650"), Decimal("880")), (Decimal("60"), Decimal("300"))
GAP = {"burner_off": timedelta(minutes=45), "recover": timedelta(hours=2)}
MASS_KG = Decimal("2.400")

CLERK, SECOND_CLERK, MANAGER = "C1", "C2", "M1"
OPERATOR, SECOND_OPERATOR, EXPIRED_OPERATOR = "O1", "O2", "O3"
PINS = {
    "C1": "240611",
    "C2": "240612",
    "M1": "240613",
    "O1": "240614",
    "O2": "240615",
    "O3": "240616",
}
_tokens = itertools.count(1)


def token() -> str:
    """Return a token that no form has used yet."""
    return f"token-{next(_tokens)}"


def make_facility(prefix: str = "QV", **fields: Any) -> Facility:
    """Make a facility with its staff, a permit, two retorts, and three places of each kind."""
    facility = factories.FacilityFactory.create(case_prefix=prefix, **fields)
    _hire(facility)
    _furnish(facility)
    return facility


def _hire(facility: Facility) -> None:
    people: tuple[tuple[str, str, dict[str, Any]], ...] = (
        (CLERK, "Clara Clerk", {"office": True}),
        (SECOND_CLERK, "Cyril Clerk", {"office": True}),
        (OPERATOR, "Olive Operator", {"operator": True}),
        (SECOND_OPERATOR, "Oscar Operator", {"operator": True}),
        (
            EXPIRED_OPERATOR,
            "Otto Operator",
            {"operator": True, "certificate_expires_on": EXPIRED_ON},
        ),
        (MANAGER, "Mabel Manager", {"is_manager": True}),
    )
    for key, name, fields in people:
        factories.MemberFactory.create(
            facility=facility,
            key=key,
            printed_name=name,
            password=PASSWORD,
            pin=PINS[key],
            **fields,
        )


def _furnish(facility: Facility) -> None:
    permit = factories.PermitFactory.create(facility=facility)
    for kind, number in itertools.product(("bay", "tray", "shelf"), (1, 2, 3)):
        make_place(facility, kind, number)
    for number in (1, 2):
        factories.RetortFactory.create(facility=facility, permit=permit, number=number)


def make_place(facility: Facility, kind: str, number: int) -> Place:
    """Make one place: a bay, tray, shelf or retort."""
    return factories.PlaceFactory.create(facility=facility, kind=kind, number=number)


def member(facility: Facility, key: str) -> StaffMember:
    """Return a member of the facility's cast, such as `member(facility, OPERATOR)`."""
    return StaffMember.objects.get(staff_code=facility.case_prefix + key)


def pin_of(who: StaffMember) -> str:
    """Return this member's signing PIN."""
    return PINS[who.staff_code.removeprefix(who.facility.case_prefix)]


def signature(who: StaffMember) -> Signature:
    """Sign as this member of the cast."""
    return sign(who.facility, who.staff_code, pin_of(who))


def make_case(facility: Facility, at: datetime | None = None, **fields: Any) -> Case:
    """Announce a person through the act; by default a day after the facility's last case."""
    if at is not None:
        fields["announced_at"] = at
    case = factories.CaseFactory.create(
        facility=facility, member=member(facility, CLERK), token=token(), **fields
    )
    with clock.pinned(case.announced_at):
        file_papers(case, "receive")
    return case


def file_papers(case: Case, before: str) -> None:
    """File what the law asks before a step: its papers, and the certificate a wait counts from."""
    due = [(p.kind, p.instead) for p in case.law.papers_before(before) if not p.is_conditional]
    if before == "charge" and case.law.wait.starts == "certificate":
        due.append(("final_death_certificate", ("death_record",)))
    for kind, instead in due:
        if not kinds_on_file(Case.objects.get(pk=case.pk)).intersection({kind, *instead}):
            file_paper(case, kind)


def file_paper(case: Case, kind: str) -> CustodyEntry:
    """File one paper, as of now."""
    clerk, today = member(case.facility, CLERK), clock.now().date()
    return acts.file_document(
        case, clerk, token(), kind=kind, reference="R-1", issued_by="Registrar", issued_on=today
    )


def paper(case: Case, kind: str) -> Document:
    """File one paper, as of now, and return it."""
    file_paper(case, kind)
    return case.documents.latest("pk")


def free_place(case: Case, kind: str) -> Place:
    """Return the first free place of this kind; a new one when all are taken."""
    places = Place.objects.filter(facility=case.facility, kind=kind)
    taken = Placement.objects.filter(until__isnull=True).values("place")
    return places.exclude(pk__in=taken).first() or make_place(
        case.facility, kind, places.count() + 1
    )


def free_retort(case: Case) -> Retort:
    """Return the first retort without an open run."""
    busy = Run.objects.filter(ended_at__isnull=True).values("retort")
    retort = Retort.objects.filter(facility=case.facility).exclude(pk__in=busy).first()
    assert retort is not None, "both retorts of the cast are occupied"
    return retort


FACTS_FOR: dict[str, Callable[[Case], Facts]] = {
    "receive": lambda case: ReceiveFacts(
        band_reads=case.decedent_name,
        delivered_by="Dora Driver",
        firm="Example Funeral Home",
        container_kind="fibreboard",
        is_closed=True,
        is_rigid=True,
        is_leak_proof=True,
        is_combustible=True,
        mass_kg=Decimal("81.500"),
        belongings="none",
        place=free_place(case, "bay"),
    ),
    "authorize": lambda case: AuthorizeFacts(),
    "clear_devices": lambda case: ClearDevicesFacts(),
    "assign_disc": lambda case: AssignDiscFacts(
        disc_number=disc_of(case), disc_number_again=disc_of(case), is_attached=True
    ),
    "charge": lambda case: ChargeFacts(
        retort=free_retort(case),
        disc_scan=f"DISC/{disc_of(case)}",
        label_scan=label_of(case),
        chamber_is_empty=True,
    ),
    "burner_off": lambda case: BurnerOffFacts(flame_has_ended=True),
    "recover": lambda case: RecoverFacts(
        disc_scan=disc_of(case), chamber_is_swept=True, place=free_place(case, "tray")
    ),
    "process": lambda case: ProcessFacts(
        disc_scan=disc_of(case), processor_was_empty=True, metal_fate="recycled", mass_kg=MASS_KG
    ),
    "contain": lambda case: ContainFacts(
        disc_scan=disc_of(case),
        containers=(urn(case),),
        are_sealed=True,
        place=free_place(case, "shelf"),
    ),
    "release": lambda case: ReleaseFacts(
        recipient_name="Rita Recipient",
        identification="driver licence",
        disc_on_paper=disc_of(case),
        disc_on_container=disc_of(case),
        receipt_is_signed=True,
    ),
    "return_uncremated": lambda case: ReturnFacts(
        recipient_name="Dora Driver",
        firm="Example Funeral Home",
        identification="driver licence",
        reason="the family chose burial",
        receipt_is_signed=True,
    ),
}


def disc_of(case: Case) -> str:
    """Return the number of the disc that the cast gives this case, or that lies with it now."""
    given = IdDisc.objects.filter(case=case).first()
    return given.number if given else f"D{case.pk:05d}"


def without_disc(case: Case, **changes: Any) -> dict[str, Any]:
    """Return the facts of a recovery at which the disc cannot be read, but for the changes.

    The witness belongs to them: `attempt("recover", case, **without_disc(case))`.
    """
    manager, witness = (signature(member(case.facility, k)) for k in (MANAGER, SECOND_OPERATOR))
    stated: dict[str, Any] = {
        "disc_scan": "",
        "disc_state": "unreadable",
        "photograph": uploads_in.arrive(picture("JPEG"), "disc.jpg"),
        "disc_number": f"N{case.pk:05d}",
        "disc_number_again": f"DISC/N{case.pk:05d}",
        "is_attached": True,
        "acceptance": manager,
        "acceptance_reason": "Seen: the chamber was empty before, and one person was charged.",
        "witness": witness,
    }
    return stated | changes


def label_of(case: Case) -> str:
    """Return what a scanner reads on the case's newest label; "" where there is none."""
    label = case.papers.filter(kind="label").order_by("-copy").first()
    return Label(label.number, case.number).code if label else ""


def own_label(case: Case) -> str:
    """Make one more label, as of now, and return what a scanner reads on it."""
    return Label(make_label(case).number, case.number).code


def urn(case: Case, **changes: Any) -> Container:
    """Return the container of the cast, with the newest label on it, but for the changes."""
    values = {"kind": "urn", "volume_l": Decimal("3.3"), "mass_kg": MASS_KG}
    return Container(**{**values, "label_scan": label_of(case), **changes})


def compare_band(case: Case) -> CustodyEntry:
    """Let two operators read the name of the case from its identity band, as of now."""
    first, second = (signature(member(case.facility, key)) for key in (OPERATOR, SECOND_OPERATOR))
    fresh = Case.objects.get(pk=case.pk)
    on_band = BandDate(fresh.born_on)
    return acts.compare_band(case, first, second, token(), fresh.decedent_name, on_band)


def make_label(case: Case) -> Paper:
    """Make a label by hand, as of now: it counts as the printed one does, and is quick."""
    operator = member(case.facility, OPERATOR)
    return papers.print_for(case, papers.KINDS["label"], operator, token(), by_hand=True)


def facts_for(verb: str, case: Case, **changes: Any) -> Facts:
    """Return facts with which the step passes, but for the changes named."""
    return dataclasses.replace(FACTS_FOR[verb](case), **changes)


def prepare(verb: str, case: Case) -> None:
    """Do, at the present (pinned) time, what the step's gates ask beside its facts."""
    if verb in PREPARATIONS:
        PREPARATIONS[verb](case)


def _papers(case: Case) -> None:
    clerk = member(case.facility, CLERK)
    file_papers(case, "charge")
    if case.law.clearance_rule == "always":
        file_paper(case, "medical_clearance")
    authorize_by_daughter(case)
    acts.name_recipient(case, clerk, token(), name="Rita Recipient", relationship="daughter")
    acts.settle(case, clerk, token(), is_death_reportable=False, disposition="hand_over")


def authorize_by_daughter(case: Case) -> None:
    """Anna Agent, the only child, signs; nobody goes before her."""
    clerk = member(case.facility, CLERK)
    before = [rank.key for rank in case.law.ranks]
    before = before[: before.index("child") + 1] if "child" in before else before
    if before:
        right_acts.state_ranks(case, clerk, token(), dict.fromkeys(before, True), "Anna Agent")
    said = right_acts.Said(position="signed", said_at=clock.now(), how="in person, on paper")
    known = right_acts.Known(informant="Anna Agent", is_living=True, is_reachable=True)
    who = right_acts.Named(name="Anna Agent", rank="child", relationship="daughter")
    right_acts.name_holder(case, clerk, token(), who, known, said)
    if right.answer_for(Case.objects.get(pk=case.pk)).outcome is Outcome.UNDECIDED:
        manager = signature(member(case.facility, MANAGER))
        right_acts.review_authority(case, manager, token(), "The registrar answered.", None)


def says(case: Case, who: StaffMember, name: str, position: str, **more: Any) -> RightHolder:
    """Name somebody new, as of now, who says this; a son unless `rank` and `relationship` differ.

    An empty `position` names them only. `known` states what is known of them.
    """
    named = right_acts.Named(
        name=name,
        rank=more.get("rank", "child"),
        relationship=more.get("relationship", "son"),
    )
    said = right_acts.Said(position=position, said_at=clock.now(), how="letter")
    right_acts.name_holder(case, who, token(), named, more.get("known"), said if position else None)
    return case.right_holders.latest("pk")


def speaks(holder: RightHolder, who: StaffMember, position: str, **more: Any) -> CustodyEntry:
    """Let somebody who is named say one thing more, as of now; what settles it, with its paper."""
    if position == "settled":
        more.setdefault("document", paper(holder.case, "court_order"))
    stated = {"said_at": clock.now(), "how": "letter", **more}
    said = right_acts.Said(position=position, **stated)
    return right_acts.state_agent(holder, who, token(), said)


def also(holder: RightHolder, who: StaffMember, rank: str) -> RightHolder:
    """Name somebody in another class too: the same person with a second right."""
    named = right_acts.Named(
        name=holder.name, rank=rank, relationship=holder.relationship, person=holder.person
    )
    right_acts.name_holder(holder.case, who, token(), named)
    return holder.case.right_holders.latest("pk")


def knows(holder: RightHolder, who: StaffMember, **known: Any) -> CustodyEntry:
    """State what is known of somebody who is named."""
    stated = right_acts.Known(**{"informant": "the family", **known})
    return right_acts.state_known(holder, who, token(), stated)


def _devices(case: Case) -> None:
    operator = member(case.facility, OPERATOR)
    answers = [
        {"device": device, "answer": "no", "informant": "daughter"}
        for device in device_rules.asked(case.law)
    ]
    acts.answer_devices(case, operator, token(), answers)
    thing_acts.list_things(case, operator, token(), [], is_complete=True)


def list_ring(case: Case, wish: str = "returned") -> PersonalThing:
    """List a ring, as of now, that is given back or goes along, as the daughter decided."""
    line = thing_acts.Listed(
        "wedding ring", "jewellery", wish, "Anna Agent", "safe" if wish == "returned" else ""
    )
    thing_acts.list_things(case, member(case.facility, CLERK), token(), [line])
    return PersonalThing.objects.filter(case=case).order_by("-pk")[0]


def read(retort: Retort, values: tuple[Decimal, Decimal], at: datetime | None = None) -> Reading:
    """Record a reading (primary, secondary, °C) as the operator, who looked again."""
    reader = member(retort.facility, OPERATOR)
    return record_reading(retort, reader, *values, at=at, is_confirmed=True)


def _burn(case: Case) -> None:
    run = Run.objects.get(case=case)
    at = run.charged_at + timedelta(minutes=15)
    while at <= clock.now():
        read(run.retort, HOT, at)
        at += timedelta(minutes=15)


def _preheat(case: Case) -> None:
    read(free_retort(case), HOT)
    make_label(case)


PREPARATIONS: dict[str, Callable[[Case], Any]] = {
    "authorize": _papers,
    "clear_devices": _devices,
    "charge": _preheat,
    "burner_off": _burn,
    "recover": lambda case: read(Run.objects.get(case=case).retort, COLD),
    "contain": make_label,
}


def signers(verb: str, case: Case) -> dict[str, Signature]:
    """Return the signatures that the step asks for, as `take` takes them."""
    office = FRONT_OFFICE in STEPS[verb].signers
    first, second = (CLERK, SECOND_CLERK) if office else (OPERATOR, SECOND_OPERATOR)
    signed = {"signed_by": signature(member(case.facility, first))}
    if STEPS[verb].witnessed:
        signed["witness"] = signature(member(case.facility, second))
    return signed


def time_of(verb: str, case: Case) -> datetime:
    """Return when the cast takes this step: half an hour after the one before, or later."""
    return case.stage_since + GAP.get(verb, timedelta(minutes=30))


def do(verb: str, case: Case, **changes: Any) -> CustodyEntry:
    """Prepare and take one step at its time, with facts that pass but for the changes."""
    with clock.pinned(time_of(verb, case)):
        prepare(verb, case)
        facts = facts_for(verb, case, **changes)
        entry = take(verb, case, facts, **signers(verb, case), token=token())
    case.refresh_from_db()
    return entry


def bring(case: Case, stage: str) -> Case:
    """Lead the case to this stage, step by step, and return it as it is then."""
    for verb in ORDER:
        if case.stage == stage:
            return case
        if stage == "returned" and case.stage == "in_care":
            break
        if case.stage in STEPS[verb].stages_from:
            do(verb, case)
    if stage == "returned":
        do("return_uncremated", case)
    assert case.stage == stage, f"{case.stage} does not lead to {stage}"
    return case
