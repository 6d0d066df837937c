"""What one client process does: bare commits, or cases led from the announcement to the disc."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from threading import Barrier
from typing import Any

from django.db import DatabaseError, OperationalError, connection, transaction

from cases import acts, device_rules, right_acts, thing_acts
from cases.errors import ActRefused
from cases.facts import (
    AssignDiscFacts,
    AuthorizeFacts,
    ClearDevicesFacts,
    ReceiveFacts,
    ReturnFacts,
)
from cases.models import Case
from cases.taking import take
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility
from tests import cast

Deed = Callable[[], Any]
BARE_TABLE = "benchmark_bare"


@dataclass
class Tally:
    """What a client was told: how many entries and steps were acknowledged, and what failed."""

    entries: int = 0
    steps: int = 0
    locked: int = 0
    failures: list[str] = field(default_factory=list)
    slowest_s: float = 0.0


class Client:
    """One person at one screen: signs once, then leads case after case through one bay."""

    def __init__(self, number: int) -> None:
        self.number, self.cases, self.tokens = number, 0, 0
        self.facility = Facility.objects.get()
        sign = {key: cast.signature(cast.member(self.facility, key)) for key in cast.PINS}
        self.clerk, self.operator = sign[cast.CLERK].member, sign[cast.OPERATOR].member
        self.office = {"signed_by": sign[cast.CLERK], "witness": sign[cast.SECOND_CLERK]}
        self.floor = {"signed_by": sign[cast.OPERATOR], "witness": sign[cast.SECOND_OPERATOR]}
        self.bay = Place.objects.get(facility=self.facility, code=f"bay-{number}")
        self.case: Case | None = None

    def token(self) -> str:
        """Return a token that nobody used before."""
        self.tokens += 1
        return f"{self.number}-{self.tokens}"

    def deeds(self) -> Iterator[tuple[bool, Deed]]:
        """Yield what is done with case after case; True for a step taken through `take`."""
        while True:
            self.cases += 1
            yield False, self._announce
            yield from ((False, deed) for deed in self._papers())
            yield True, lambda: self._take("receive", self._received(), self.office)
            yield True, lambda: self._take("authorize", AuthorizeFacts(), self.office)
            yield from ((False, deed) for deed in self._answers())
            yield True, lambda: self._take("clear_devices", ClearDevicesFacts(), self.floor)
            yield True, lambda: self._take("assign_disc", self._disc(), self.floor)
            # The way back to the sender makes the bay free for the next person.
            yield True, lambda: self._take("return_uncremated", self._returned(), self.office)

    def _announce(self) -> None:
        self.case = acts.announce(
            self.facility,
            self.clerk,
            self.token(),
            decedent_name=f"Ada Example {self.number}",
            died_at=clock.now() - timedelta(days=2),
            sender="Example Funeral Home",
        )

    def _act(self, act: Callable[..., Any], who: Any, **fields: Any) -> Deed:
        return lambda: act(self.case, who, self.token(), **fields)

    def _papers(self) -> Iterator[Deed]:
        today = clock.now().date()
        for kind in ("cremation_authorization", "removal_authorization"):
            yield self._act(
                acts.file_document, self.clerk, kind=kind, reference="R-1",
                issued_by="Registrar", issued_on=today,
            )  # fmt: skip
        yield from self._authorized()
        yield self._act(
            acts.name_recipient, self.clerk, name="Rita Recipient", relationship="daughter"
        )
        yield self._act(
            acts.settle, self.clerk, is_death_reportable=False, disposition="hand_over",
        )  # fmt: skip

    def _authorized(self) -> Iterator[Deed]:
        """The only child signs, and nobody goes before her."""
        before = dict.fromkeys(("dd93", "designated_agent", "spouse", "child"), True)
        yield self._act(right_acts.state_ranks, self.clerk, ranks=before, informant="Anna Agent")
        yield lambda: right_acts.name_holder(
            self._case(),
            self.clerk,
            self.token(),
            right_acts.Named(name="Anna Agent", rank="child", relationship="daughter"),
            right_acts.Known(informant="Anna Agent", is_living=True, is_reachable=True),
            right_acts.Said(position="signed", said_at=clock.now(), how="in person, on paper"),
        )

    def _case(self) -> Case:
        assert self.case is not None
        return self.case

    def _answers(self) -> Iterator[Deed]:
        for device in device_rules.asked(self._case().law):
            yield self._act(
                acts.answer_device, self.operator, device=device, answer="no", informant="daughter"
            )
        yield self._act(thing_acts.list_things, self.operator, lines=[], is_complete=True)

    def _take(self, verb: str, facts: Any, signatures: dict[str, Any]) -> None:
        assert self.case is not None
        take(verb, self.case, facts, token=self.token(), **signatures)

    def _received(self) -> ReceiveFacts:
        return ReceiveFacts(
            band_reads=f"Ada Example {self.number}",
            delivered_by="Dora Driver",
            firm="Example Funeral Home",
            container_kind="fibreboard",
            is_closed=True,
            is_rigid=True,
            is_leak_proof=True,
            is_combustible=True,
            mass_kg=Decimal("81.500"),
            belongings="none",
            place=self.bay,
        )

    def _disc(self) -> AssignDiscFacts:
        number = f"D{self.number}-{self.cases}"
        return AssignDiscFacts(disc_number=number, disc_number_again=number, is_attached=True)

    def _returned(self) -> ReturnFacts:
        return ReturnFacts(
            recipient_name="Dora Driver",
            firm="Example Funeral Home",
            identification="driver licence",
            reason="the family chose burial",
            receipt_is_signed=True,
        )


def lead_cases(number: int, seconds: float, start: Barrier) -> Tally:
    """Lead cases for this long; a client stops at the first thing that fails."""
    client, tally = Client(number), Tally()
    start.wait()
    end = time.monotonic() + seconds
    for is_step, deed in client.deeds():
        began = time.monotonic()
        if began >= end:
            return tally
        try:
            deed()
        except OperationalError as error:
            tally.locked += 1
            tally.failures.append(str(error))
            return tally
        except (ActRefused, DatabaseError) as error:
            tally.failures.append(f"{type(error).__name__}: {error}")
            return tally
        tally.entries += 1
        tally.steps += is_step
        tally.slowest_s = max(tally.slowest_s, time.monotonic() - began)
    return tally


def commit_bare(number: int, seconds: float, start: Barrier) -> Tally:
    """Commit one small row after another for this long."""
    tally = Tally()
    with connection.cursor() as cursor:
        start.wait()
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            with transaction.atomic():
                cursor.execute(
                    f"INSERT INTO {BARE_TABLE} (client, text) VALUES (%s, %s)", [number, "x" * 200]
                )
            tally.entries += 1
    return tally
