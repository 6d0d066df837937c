"""Any sequence of answers and things: no device and no ring gets past the gates."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from cases import acts, thing_acts, things
from cases.errors import ActRefused, StepRefused
from cases.models import HARMLESS, Case
from cases.steps import BEFORE_CHARGE, next_step
from cases.taking import take
from cases.thing_acts import Listed, Receipt
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility
from tests import cast

DEVICES = ("pacemaker", "silicone", "radioactive")
OUTCOMES = ("", "removed", "attested", "stays")
ASKS_AGAIN = ("clear_devices", "charge")


class Clearing(RuleBasedStateMachine):
    """One authorized case; the machine keeps its own books of devices and things."""

    facility: Facility

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()
        at = cast.START + timedelta(days=30)
        self.case = cast.bring(cast.make_case(self.facility, at=at), "authorized")
        self.told = dict.fromkeys(DEVICES, ("no", ""))
        self.tick("clear_devices")
        with clock.pinned(self.now):
            cast.prepare("clear_devices", self.case)

    def teardown(self) -> None:
        try:
            assert verify(self.facility).findings == []
        finally:
            transaction.set_rollback(True)
            self.example.__exit__(None, None, None)

    def tick(self, verb: str) -> None:
        self.now = max(getattr(self, "now", cast.START), cast.time_of(verb, self.case))

    def act(self, do: Any) -> bool:
        """Try an act; a refusal must leave no rows behind, which the books then show."""
        with clock.pinned(self.now):
            try:
                do()
            except ActRefused:
                return False
        return True

    @rule(
        device=st.sampled_from(DEVICES),
        said=st.sampled_from(["no", "yes", "unknown"]),
        outcome=st.sampled_from(OUTCOMES),
        is_signed=st.booleans(),
    )
    def answer(self, device: str, said: str, outcome: str, is_signed: bool) -> None:
        operator = cast.member(self.facility, cast.OPERATOR)
        outcomes: dict[str, dict[str, Any]] = {
            "removed": {
                "removed_by": "T. Orrel", "removed_at": self.now, "went_to": "the clinic",
                "receipt_reference": "R-1",
            },
            "attested": {"attested_by": "M. Tolworthy", "attester_licence": "E-2"},
            "stays": {"stays_by_rule": "harmless"},
        }  # fmt: skip
        more = outcomes.get(outcome, {})
        told = {"device": device, "answer": said, "outcome": outcome, "informant": "son", **more}
        done = self.act(
            lambda: acts.answer_devices(
                self.case, operator, cast.token(), [told],
                signed_by=cast.signature(operator) if is_signed else None, why="asked again",
            )
        )  # fmt: skip
        possible = self.case.stage in BEFORE_CHARGE and (
            not outcome
            or (
                said == "yes"
                and device != "radioactive"  # nobody says here that it was sealed seeds
                and (outcome != "stays" or device in HARMLESS)
            )
        )
        assert done <= possible
        assert done or not (possible and is_signed)
        if done:
            self.told[device] = (said, outcome)

    @rule(wish=st.sampled_from(["open", "goes_along", "returned"]), again=st.booleans())
    def list_a_ring(self, wish: str, again: bool) -> None:
        lying = [t for t in things.standing(self.case) if not things.is_back(t)]
        line = Listed(
            "ring", "jewellery", wish, "Anna Agent", "safe", lying[-1] if again and lying else None
        )
        clerk = cast.member(self.facility, cast.CLERK)
        self.act(lambda: thing_acts.list_things(self.case, clerk, cast.token(), [line]))

    @rule(is_signed=st.booleans())
    def give_back(self, is_signed: bool) -> None:
        due, clerk = things.due(self.case), cast.member(self.facility, cast.CLERK)
        receipt = Receipt(form="unsigned", reason="She left." if is_signed else "")
        done = self.act(
            lambda: thing_acts.give_back(
                self.case, cast.signature(clerk), cast.token(), due, returned_to="A",
                identification="B", receipt=receipt,
            )
        )  # fmt: skip
        assert done is (bool(due) and is_signed and self.case.is_open)

    def expected(self, verb: str) -> set[str]:
        """The codes that the books say will refuse the step."""
        codes = set()
        if verb in ASKS_AGAIN:
            said = set(self.told.values())
            if any(answer == "unknown" for answer, _ in said):
                codes.add("devices_answered")
            if any(self.told[d] == ("yes", "") for d in DEVICES if d != "radioactive"):
                codes.add("devices_removed")
            if self.told["radioactive"] == ("yes", ""):
                codes.add("radionuclide_wait")
            if any(thing.wish == "open" for thing in things.standing(self.case)):
                codes.add("jewellery_settled")
        if verb in ("release", "return_uncremated") and things.due(self.case):
            codes.add("things_given_back")
        return codes

    @precondition(lambda self: next_step(self.case.stage) is not None)
    @rule()
    def forward(self) -> None:
        step = next_step(self.case.stage)
        assert step
        self.take(step.verb)

    @precondition(lambda self: self.case.stage in BEFORE_CHARGE)
    @rule()
    def go_home(self) -> None:
        self.take("return_uncremated")

    def take(self, verb: str) -> None:
        self.tick(verb)
        codes: set[str] = set()
        with clock.pinned(self.now):
            if verb != "clear_devices":
                cast.prepare(verb, self.case)
            try:
                take(
                    verb, self.case, cast.facts_for(verb, self.case),
                    token=cast.token(), **cast.signers(verb, self.case),
                )  # fmt: skip
            except StepRefused as refusal:
                codes = set(refusal.codes)
        assert codes == self.expected(verb)
        self.case = Case.objects.select_related("facility").get(pk=self.case.pk)


@pytest.mark.django_db
def test_no_device_and_no_ring_gets_past(facility: Facility) -> None:
    run_state_machine_as_test(
        type("ClearingHere", (Clearing,), {"facility": facility}),
        settings=settings(
            max_examples=12,
            phases=[Phase.generate],  # shortening a failure takes minutes: add Phase.shrink by hand
            stateful_step_count=14,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
