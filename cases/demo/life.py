"""One person's way through the house: a generator that yields when the next thing happens.

Between two yields the clock stands at the time that was yielded last; every act is one call of
the functions that the pages call.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from cases import acts, death, device_rules, hold_acts, papers, things
from cases.corrections import correct
from cases.demo import at_machine, disputes, families, scans
from cases.demo.diary import next_working_day
from cases.demo.hands import Hands
from cases.demo.people import Course, Person
from cases.demo.statements import SLIPS, STATEMENTS, answer, give_back, list_things
from cases.errors import StepRefused
from cases.facts import Facts
from cases.models import Case, Hold
from cases.relabel import relabel
from cases.steps import STEPS
from cases.taking import take
from cases.waits import kinds_on_file
from chain_of_custody.uploads_in import Arrived
from crematory import clock
from crematory.models import Role
from retort_log.models import Retort

Times = Iterator[datetime]
LATE = timedelta(minutes=40)
# Slips that need more than one wrong word; the parts of the way stage them.
STAGED = (
    "papers_at_charge",
    "labels_stand",
    "retort_fit",
    "upkeep_current",
    "permitted_hours",
    "charging_temperature",
    "not_interrupted",
    "readings_cover",
    "cool_enough",
    "findings_settled",
)


class DemonstrationError(Exception):
    """The house behaved otherwise than the demonstration expects."""


@dataclass(frozen=True)
class Moments:
    """When this person comes, is charged and where; `now` is the end of the demonstration."""

    now: datetime
    arrival: datetime
    charge: datetime
    retort: Retort


class Life:
    """One person's way, as `people.toml` tells it."""

    person: Person
    case: Case
    disc: str
    new_disc: str
    photograph: Arrived
    hands: Hands
    remains_kg: Decimal

    def __init__(
        self, person: Person, index: int, hands: Hands, course: Course, moments: Moments
    ) -> None:
        self.person, self.index, self.hands = person, index, hands
        self.course, self.moments, self.retort = course, moments, moments.retort
        self.at = moments.arrival
        grams = {"f": 1900, "m": 2600}.get(person.sex, 2200) + (index * 97) % 480
        self.remains_kg = Decimal(person.remains_kg or Decimal(grams) / 1000)
        self.is_logged = self.retort == hands.logged

    def after(self, minutes: int) -> datetime:
        """Move on by so many minutes."""
        self.at += timedelta(minutes=minutes)
        return self.at

    def minute(self, minute: int) -> datetime:
        """Return the time of a minute of the run, counted from the charge."""
        return self.moments.charge + timedelta(minutes=minute)

    # Who signs

    def front(self, other: bool = False) -> str:
        """Return the code of the front-office member on duty, or of the other one."""
        return ("FO1", "FO2")[(self.index + other) % 2]

    def operator(self, other: bool = False) -> str:
        """Return the code of the operator on duty, or of the other one."""
        return ("OP1", "OP2")[(self.index + other) % 2]

    def _signer(self, verb: str) -> str:
        step = STEPS[verb]
        return self.front() if Role.FRONT_OFFICE in step.signers else self.operator()

    def _witness(self, verb: str) -> str:
        at_the_person = verb in {"receive", "clear_devices", "charge", "recover"}
        return self.operator(other=True) if at_the_person else self.front(True)

    # Steps

    def _take(self, verb: str, facts: Facts, signer: str = "") -> None:
        is_witnessed = STEPS[verb].witnessed or facts.needs_witness
        take(
            verb,
            self.case,
            facts,
            signed_by=self.hands[signer or self._signer(verb)],
            witness=self.hands[self._witness(verb)] if is_witnessed else None,
            token=self.hands.token(),
        )

    def refused(self, verb: str, facts: Facts, gate: str, signer: str = "") -> None:
        """Try a step that this gate refuses; anything else is an error."""
        try:
            self._take(verb, facts, signer)
        except StepRefused as refusal:
            if gate in refusal.codes:
                return
            raise DemonstrationError(f"{verb}: {refusal.codes} instead of {gate}") from refusal
        raise DemonstrationError(f"{verb}: {gate} did not refuse {self.case.number}")

    def step(self, verb: str) -> Times:
        """Take the step, after the slips that `people.toml` names for it."""
        for gate in self.person.slips:
            if gate in STEPS[verb].gates and gate not in STAGED:
                yield self.after(2)
                self.refused(verb, SLIPS[gate](self, STATEMENTS[verb](self)), gate)
        yield self.after(2)
        happened_at = None
        if verb in self.person.late:
            happened_at = clock.now()
            self.at += LATE
            yield self.at
        self._take(verb, replace(STATEMENTS[verb](self), happened_at=happened_at))
        if verb == "assign_disc":
            yield from self.label()
        if verb == "recover" and self.person.lost_disc:
            self.disc = self.new_disc

    def label(self) -> Times:
        """Make the newest label and fix it to the container."""
        yield self.after(3)
        papers.make_label(self.case, self.hands.member(self.operator()), self.hands.token())

    def run(self) -> Times:
        """Go the whole way, or as far as the person has come."""
        yield from self.door()
        reached = "in_care"
        if self.person.until == "expected":
            return
        for verb, prepare in PATH:
            if reached == self._goal():
                yield from self.stop(verb, prepare)
                return
            yield from prepare(self)
            yield from self.step(verb)
            reached = STEPS[verb].stage_to

    def _goal(self) -> str:
        if self.person.charged_minutes_ago:
            return "released"  # time itself stops these: they are in a retort now
        return "in_care" if self.person.until == "returned" else self.person.until

    def stop(self, verb: str, prepare: Callable[["Life"], Times]) -> Times:
        """Stay here: try the next step, which a gate refuses, or go home uncremated."""
        person = self.person
        if not person.stopped_by:
            return
        if verb != "charge":
            yield from prepare(self)
        if person.hold:
            yield self.after(5)
            hold_acts.open_hold(
                self.case, self.hands[self.front()], self.hands.token(), ground=person.hold
            )
        is_expired = person.stopped_by == "operator_certified"
        if verb == "charge":
            back = 0 if is_expired else 15 + self.index % 10
            self.at = max(self.at, self.moments.now - timedelta(minutes=back))
        yield self.after(0 if verb == "charge" else 6)
        facts = STATEMENTS[verb](self)
        self.refused(verb, facts, person.stopped_by, signer="OP3" if is_expired else "")
        if person.until == "returned":
            if person.settled_by:
                yield self.after(100)
                disputes.settle(self)
            self.after(180)
            yield from self.step("return_uncremated")

    # Parts of the way

    def door(self) -> Times:
        person = self.person
        yield self.after(-120)
        died_at = self.moments.arrival - timedelta(hours=26, minutes=self.index * 7)
        if person.died_hours_ago:
            died_at = self.moments.now - timedelta(hours=person.died_hours_ago)
        self.case = acts.announce(
            self.hands.facility,
            self.hands.member(self.front()),
            self.hands.token(),
            decedent_name=person.announced_as or person.received_as or person.name,
            born_on=person.born,
            **self._death(died_at.replace(second=0, microsecond=0)).columns(),
            sex=person.sex,
            sender=person.sender,
        )
        if person.until == "expected":
            return
        yield self.after(120)
        if "receive" in person.early:
            self.refused("receive", STATEMENTS["receive"](self), "papers_at_receipt")
            yield self.after(6)
        self._file_what_is_due("receive")
        if person.announced_as:
            yield from self._correct_name()
        yield from self.step("receive")

    def _death(self, died_at: datetime) -> death.Death:
        """The time of death as far as the sender knows it."""
        zone = self.hands.facility.zone
        if self.person.died_known == "date":
            return death.on_day(died_at.astimezone(zone).date(), zone)
        if self.person.died_known == "range":
            return death.between(died_at - timedelta(hours=5), died_at)
        return death.exactly(died_at)

    def _file_what_is_due(self, step: str) -> None:
        """File what the law asks before a step and nobody has filed yet."""
        case = Case.objects.get(pk=self.case.pk)
        due = {p.kind: p.instead for p in case.law.papers_before(step) if not p.is_conditional}
        for kind, instead in due.items():
            lacking = not kinds_on_file(case).intersection({kind, *instead})
            if lacking and kind not in self.person.lacks:
                self._file(kind)

    def _correct_name(self) -> Times:
        self.refused("receive", STATEMENTS["receive"](self), "identity_band")
        yield self.after(9)
        self._name_anew("Misheard on the telephone; band, paperwork and sender agree.")

    def _name_anew(self, why: str) -> None:
        manager, name = self.hands["MG1"], self.person.name
        correct(self.case, manager, self.hands.token(), "decedent_name", name, why)
        self.case.refresh_from_db()

    def _new_band(self) -> Times:
        """The name is corrected in care: the band is changed and compared before the next step."""
        yield self.after(11)
        self._name_anew("The agent spells the name with an e; the sender brings a new band.")
        yield self.after(4)
        self.refused("authorize", STATEMENTS["authorize"](self), "band_compared")
        yield self.after(35)
        acts.compare_band(
            self.case,
            self.hands[self.operator()],
            self.hands[self.operator(other=True)],
            self.hands.token(),
            self.person.name,
        )

    def papers(self) -> Times:
        person, member = self.person, self.hands.member(self.front())
        yield self.after(12)
        if "authorize" in person.early:
            self.refused("authorize", STATEMENTS["authorize"](self), "documents_on_file")
            yield self.after(20)
        self._file_what_is_due("charge")
        yield self.after(3)
        if person.reportable == "cleared":
            self._file("medical_clearance")
            yield self.after(3)
        signed = {"name": person.agent, "relationship": person.relationship}
        if "agent" in person.lacks:
            scans.came(self, "medical_certificate")  # it waits to be filed
        else:
            families.sign(self)
            acts.name_recipient(self.case, member, self.hands.token(), **signed)
        yield self.after(2)
        acts.settle(
            self.case,
            member,
            self.hands.token(),
            is_death_reportable=person.reportable != "no",
            disposition="ship" if person.shipped else "hand_over",
        )
        if person.received_as:
            yield from self._new_band()
        if person.objector:
            yield self.after(40)
            families.object_to_it(self)
            yield self.after(25)
            disputes.tell(self)
            if person.settled_by and person.until != "returned":
                yield self.after(190)
                disputes.settle(self)
        elif "agent" not in person.lacks:
            families.review(self)

    def _file(self, kind: str) -> None:
        acts.file_document(
            self.case,
            self.hands.member(self.front()),
            self.hands.token(),
            files=scans.came(self, kind),
            kind=kind,
            reference=f"{kind[:2].upper()}-{4400 + self.index}",
            issued_by="county coroner" if kind == "medical_clearance" else self.person.sender,
            issued_on=(clock.now() - timedelta(days=1)).date(),
        )

    def devices(self) -> Times:
        person = self.person
        yield self.after(15)
        if person.lifted:
            yield from self._held_and_lifted()
        if "clear_devices" in person.early:
            self.refused("clear_devices", STATEMENTS["clear_devices"](self), "devices_answered")
            yield self.after(8)
        asked = device_rules.asked(self.case.law)
        told = {device.value: person.devices.get(device.value, "no") for device in asked}
        answer(self, told)
        list_things(self)
        for device, word in person.devices.items():
            if word == "removed":
                yield self.after(4)
                self.refused("clear_devices", STATEMENTS["clear_devices"](self), "devices_removed")
                yield self.after(50)
                answer(self, {device: word}, is_removed=True)

    def _held_and_lifted(self) -> Times:
        token = self.hands.token
        hold_acts.open_hold(self.case, self.hands["OP3"], token(), ground=self.person.hold)
        yield self.after(25)
        self.refused("clear_devices", STATEMENTS["clear_devices"](self), "no_hold")
        yield self.after(60)
        hold = Hold.objects.get(case=self.case)
        hold_acts.lift_hold(
            hold,
            self.hands["MG1"],
            token(),
            hold_acts.Lifting(on="cleared", reason=self.person.lifted),
        )
        yield self.after(5)

    def tag(self) -> Times:
        self.disc = self.hands.next_disc()
        yield self.after(20)

    def label_remains(self) -> Times:
        yield self.after(19)
        for _ in range(2 if self.person.keepsake else 1):
            yield from self.label()

    def _new_labels(self) -> Times:
        """The sender's name is corrected on the shelf: the containers are labelled anew."""
        yield self.after(30)
        manager, sender = self.hands["MG1"], f"{self.person.sender} Ltd."
        correct(self.case, manager, self.hands.token(), "sender", sender, "The full name.")
        yield self.after(4)
        self.refused("release", STATEMENTS["release"](self), "labels_stand")
        yield from self.label()
        label = self.hands.label(self.case)
        relabel(self.case, self.hands[self.operator()], self.hands.token(), [label])

    def wait_for_family(self) -> Times:
        if "labels_stand" in self.person.slips:
            yield from self._new_labels()
        zone = self.hands.facility.zone
        self.at = next_working_day(self.at, zone, minutes=(self.index % 7) * 45)
        yield self.at
        if things.due(self.case) and "things_given_back" not in self.person.slips:
            give_back(self)
            yield self.after(4)


PATH: tuple[tuple[str, Callable[[Life], Times]], ...] = (
    ("authorize", Life.papers),
    ("clear_devices", Life.devices),
    ("assign_disc", Life.tag),
    ("charge", at_machine.preheat),
    ("burner_off", at_machine.burn),
    ("recover", at_machine.cool),
    ("process", at_machine.rest),
    ("contain", Life.label_remains),
    ("release", Life.wait_for_family),
)
