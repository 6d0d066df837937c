"""Any sequence of acts, honest or not: no stage is reached but by the stages before it."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from cases import hold_acts, holds
from cases.corrections import correct
from cases.errors import ActRefused, StepRefused
from cases.models import Case, Hold
from cases.steps import FRONT_OFFICE, ORDER, STEPS, next_step
from cases.taking import take
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility
from tests import cast
from tests.snapshot import picture, unchanged_but_for_refusal

PATH = [STEPS[verb].stage_to for verb in ORDER]
SPOILT = (
    "wrong disc",
    "wrong label",
    "case number",
    "no witness",
    "same witness",
    "wrong role",
    "other house",
    "future",
    "past",
    "used token",
)
DISC_FIELDS = {
    "charge": "disc_scan",
    "recover": "disc_scan",
    "process": "disc_scan",
    "contain": "disc_scan",
    "release": "disc_on_container",
}


class Path(RuleBasedStateMachine):
    """One case, led by honest and dishonest hands; the facility stays from example to example."""

    facility: Facility
    other_facility: Facility
    wrong_disc: str
    other_label: str

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()
        self.now = cast.START + timedelta(days=30)
        self.case = cast.make_case(self.facility, at=self.now)
        self.done: list[CustodyEntry] = []
        self.prepared: set[str] = set()

    def teardown(self) -> None:
        try:
            assert verify(self.facility).findings == []
        finally:
            transaction.set_rollback(True)
            self.example.__exit__(None, None, None)

    # What the machine believes

    @property
    def held(self) -> bool:
        return self.case.holds.filter(lifted_at=None).exists()

    def signature(self, key: str) -> Any:
        return cast.signature(cast.member(self.facility, key))

    def refused(self, act: Any) -> ActRefused:
        """Assert that the act is refused and changes nothing but the trail."""
        before = picture()
        with pytest.raises(ActRefused) as caught:
            act()
        unchanged_but_for_refusal(before, picture())
        return caught.value

    def attempt(self, verb: str, **given: Any) -> CustodyEntry:
        own: dict[str, Any] = {
            k: given.pop(k) for k in ("signed_by", "witness", "token") if k in given
        }
        how: dict[str, Any] = {"token": cast.token(), **cast.signers(verb, self.case), **own}
        return take(verb, self.case, cast.facts_for(verb, self.case, **given), **how)

    # Honest hands

    @precondition(lambda self: next_step(self.case.stage) is not None)
    @rule()
    def forward(self) -> None:
        step = next_step(self.case.stage)
        assert step
        self.take_honestly(step.verb)

    @rule(verb=st.sampled_from(sorted(STEPS)))
    def any_step(self, verb: str) -> None:
        self.take_honestly(verb)

    @initialize(steps=st.integers(0, len(ORDER) - 1))
    def begin_anywhere(self, steps: int) -> None:
        for verb in ORDER[:steps]:
            self.take_honestly(verb)

    def take_honestly(self, verb: str) -> None:
        """The step passes when the table lists it and nothing holds it; else it is refused."""
        listed = self.case.stage in STEPS[verb].stages_from
        if listed:
            self.now = max(self.now, cast.time_of(verb, self.case))
        with clock.pinned(self.now):
            if listed:
                self.prepare(verb)
            if listed and not self.held:
                self.done.append(self.attempt(verb))
                self.case.refresh_from_db()
                assert self.case.stage == STEPS[verb].stage_to
                return
            refusal = self.refused(lambda: self.attempt(verb))
        assert refusal.codes == (["no_hold"] if listed else ["stage"])

    @precondition(lambda self: self.case.stage == "cooling" and not self.held)
    @rule(lacks=st.sampled_from(["", "photograph", "acceptance", "witness", "is_attached"]))
    def recover_without_the_disc(self, lacks: str) -> None:
        """It passes with all that is asked, and with nothing missing; the new disc is then read."""
        self.now = max(self.now, cast.time_of("recover", self.case))
        with clock.pinned(self.now):
            self.prepare("recover")
            signed = {"signed_by": self.signature(cast.OPERATOR)}
            given = cast.without_disc(self.case, **signed, **({lacks: None} if lacks else {}))
            if lacks:
                self.refused(lambda: self.attempt("recover", **given))
                return
            self.done.append(self.attempt("recover", **given))
            self.case = Case.objects.get(pk=self.case.pk)
            assert self.case.disc.number == given["disc_number"]

    def prepare(self, verb: str) -> None:
        """Do what the gates ask beside the step, papers and devices only once."""
        if verb not in self.prepared:
            cast.prepare(verb, self.case)
            self.prepared |= {verb} - {"charge", "burner_off", "recover", "contain"}

    @rule(ground=st.sampled_from(["a question", "   "]), objects=st.booleans())
    def hold(self, ground: str, objects: bool) -> None:
        raised = hold_acts.Raised(is_objection=objects, by="A stranger" if objects else "")

        def act() -> CustodyEntry:
            signed = self.signature(cast.CLERK)
            return hold_acts.open_hold(self.case, signed, cast.token(), ground, raised)

        with clock.pinned(self.now):
            if self.case.is_open and ground.strip():
                act()
            else:
                self.refused(act)

    @precondition(lambda self: self.held)
    @rule(
        key=st.sampled_from([cast.MANAGER, cast.MANAGER, cast.CLERK]),
        on=st.sampled_from([*Hold.LiftedBy.values, ""]),
        has_paper=st.booleans(),
    )
    def lift(self, key: str, on: str, has_paper: bool) -> None:
        """A dispute of somebody not named here ends by its paper alone; a mistake asks for two."""
        hold = self.case.holds.filter(lifted_at=None)[0]
        with clock.pinned(self.now):
            paper = cast.paper(self.case, "court_order") if has_paper else None
            lifting = hold_acts.Lifting(on=on, reason="answered", document=paper)
            signed = self.signature(key)

            def act() -> CustodyEntry:
                return hold_acts.lift_hold(hold, signed, cast.token(), lifting)

            by_kind = {"dispute": holds.ON_PAPER, "other": set(Hold.LiftedBy.values)}[hold.kind]
            allowed = on in by_kind and (has_paper or on not in holds.ON_PAPER)
            if key == cast.MANAGER and allowed:
                act()
            self.refused(act)  # not by this one, not so, or not a second time

    @rule(key=st.sampled_from([cast.MANAGER, cast.OPERATOR]), name=st.sampled_from(["A", "B"]))
    def correct_the_sender(self, key: str, name: str) -> None:
        def act() -> CustodyEntry:
            signed = self.signature(key)
            return correct(self.case, signed, cast.token(), "sender", name, "misheard")

        with clock.pinned(self.now):
            if key == cast.MANAGER and self.case.sender != name:
                act()
                self.case.refresh_from_db()
                assert self.case.sender == name
            else:
                self.refused(act)

    # Dishonest hands

    @precondition(lambda self: next_step(self.case.stage) is not None)
    @rule(how=st.sampled_from(SPOILT))
    def spoilt_step_forward(self, how: str) -> None:
        """The step that is next, right in all but one thing."""
        step = next_step(self.case.stage)
        assert step
        self.now = max(self.now, cast.time_of(step.verb, self.case))
        with clock.pinned(self.now):
            self.prepare(step.verb)
        self.spoilt_step(how, step.verb)

    @rule(how=st.sampled_from(SPOILT), verb=st.sampled_from(sorted(STEPS)))
    def spoilt_step(self, how: str, verb: str) -> None:
        with clock.pinned(self.now):
            given = self.spoil(how, verb)
            if given is not None:
                refusal = self.refused(lambda: self.attempt(verb, **given))
                assert isinstance(refusal, StepRefused)

    def spoil(self, how: str, verb: str) -> dict[str, Any] | None:
        """Return what spoils this step in this way, or None where it cannot be spoilt so."""
        office = FRONT_OFFICE in STEPS[verb].signers
        if how in ("wrong label", "case number"):
            scan = self.other_label if how == "wrong label" else f"CASE/{self.case.number}"
            return self.wrong_label(verb, scan)
        if how == "wrong disc":
            return {DISC_FIELDS[verb]: self.wrong_disc} if verb in DISC_FIELDS else None
        if how == "no witness":
            return {"witness": None} if STEPS[verb].witnessed else None
        if how == "same witness":
            signed = self.signature(cast.CLERK if office else cast.OPERATOR)
            return {"signed_by": signed, "witness": signed} if STEPS[verb].witnessed else None
        if how == "wrong role":
            return {"signed_by": self.signature(cast.MANAGER)}
        if how == "other house":
            key = cast.CLERK if office else cast.OPERATOR
            return {"signed_by": cast.signature(cast.member(self.other_facility, key))}
        if how == "future":
            return {"happened_at": self.now + timedelta(seconds=1)}
        if how == "past" and self.done:
            return {"happened_at": self.case.stage_since - timedelta(seconds=1)}
        if how == "used token" and self.done and self.done[-1].act != verb:
            return {"token": self.done[-1].token}
        return None

    def wrong_label(self, verb: str, scan: str) -> dict[str, Any] | None:
        """Scan this instead of the newest label, where the step asks for one."""
        if verb == "charge":
            return {"label_scan": scan}
        if verb == "contain":
            return {"containers": (cast.urn(self.case, label_scan=scan),)}
        return None

    @precondition(lambda self: self.done)
    @rule(pick=st.integers(0, 20))
    def repeated_form(self, pick: int) -> None:
        entry = self.done[pick % len(self.done)]
        before = picture()
        with clock.pinned(self.now):
            assert self.attempt(entry.act, token=entry.token) == entry
        assert picture() == before

    # What must always hold

    @invariant()
    def every_stage_before_was_reached(self) -> None:
        case = Case.objects.get(pk=self.case.pk)
        reached = list(
            CustodyEntry.objects.filter(case=case)
            .exclude(stage_to="")
            .order_by("sequence")
            .values_list("stage_to", flat=True)
        )
        assert case.stage == (reached[-1] if reached else "expected")
        path = reached[:-1] if case.stage == "returned" else reached
        assert path == PATH[: len(path)]
        assert case.stage != "returned" or 1 <= len(path) <= 4
        assert case.stage_entry == (self.done[-1] if self.done else None)


@pytest.mark.django_db
def test_no_sequence_of_acts_skips_a_step(facility: Facility, other_facility: Facility) -> None:
    other = cast.bring(cast.make_case(facility), "tagged")
    cast.make_label(other)
    members = {
        "facility": facility,
        "other_facility": other_facility,
        "wrong_disc": other.disc.number,
        "other_label": cast.label_of(other),
    }
    run_state_machine_as_test(
        type("PathHere", (Path,), members),
        settings=settings(
            max_examples=25,
            phases=[Phase.generate],  # shortening a failure takes minutes: add Phase.shrink by hand
            stateful_step_count=16,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
