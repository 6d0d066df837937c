"""The invented house under the law of any jurisdiction: one person, and what that law refuses.

The house keeps its name and its place; only the rules are another jurisdiction's.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from cases import acts, house_setup
from cases import facts as f
from cases.demo.build import BEFORE, plan_of
from cases.demo.hands import Hands
from cases.errors import StepRefused
from cases.gates import Verdict
from cases.house_setup import Credentials
from cases.may_cremate import may_cremate
from cases.models import Case
from cases.taking import take
from chain_of_custody.models import Place
from crematory import clock

OFFICE, OTHER, OPERATOR = "FO1", "FO2", "OP1"


@dataclass(frozen=True)
class Shown:
    """One person under a law, and every refusal that the person met or will meet."""

    case: Case
    refused: tuple[Verdict, ...]


def under(code: str, now: datetime) -> Shown:
    """Set up the house under a law, announce one person, and go as far as the law lets them.

    Raises JurisdictionUnknown for a law without a file.
    """
    hands = house_under(code, now - BEFORE, now)
    with clock.pinned(now - timedelta(hours=4)):
        case = _announced(hands)
    refused: list[Verdict] = []
    with clock.pinned(now - timedelta(hours=3)):
        refused += _tried(hands, case, "receive", _receive(hands))
        if refused:
            for paper in case.law.papers_before("receive"):
                _file(hands, case, paper.kind)
            _tried(hands, case, "receive", _receive(hands))
    case.refresh_from_db()
    with clock.pinned(now - timedelta(hours=2)):
        refused += _tried(hands, case, "authorize", f.AuthorizeFacts())
    case.refresh_from_db()
    if answer := may_cremate(case, now):
        met = {verdict.gate for verdict in refused}
        refused += [need.verdict for need in answer.needs if need.verdict.gate not in met]
    return Shown(case, tuple(refused))


def house_under(code: str, at: datetime, now: datetime) -> Hands:
    """Set up the invented house at `at` with the rules of another jurisdiction."""
    plan = plan_of(now)
    plan = replace(plan, facility=plan.facility | {"jurisdiction": code})
    with clock.pinned(at):
        added = house_setup.set_up(
            plan, lambda member: Credentials(member.password, member.pin), for_demo=True
        )
    return Hands(added.facility, plan)


def _announced(hands: Hands) -> Case:
    return acts.announce(
        hands.facility,
        hands.member(OFFICE),
        hands.token(),
        decedent_name="Isolde Marchbank",
        died_at=clock.now() - timedelta(hours=6),
        sender="Thistlebrook & Daughters",
        sex="f",
    )


def _receive(hands: Hands) -> f.Facts:
    return f.ReceiveFacts(
        band_reads="Isolde Marchbank",
        delivered_by="Corwin Pellanby",
        firm="Thistlebrook & Daughters",
        container_kind="plywood container, unlined",
        is_closed=True,
        is_rigid=True,
        is_leak_proof=True,
        is_combustible=True,
        mass_kg=Decimal("71.500"),
        belongings="none",
        place=hands.free(Place.Kind.BAY),
    )


def _file(hands: Hands, case: Case, kind: str) -> None:
    acts.file_document(
        case,
        hands.member(OFFICE),
        hands.token(),
        kind=kind,
        reference=f"{kind[:2].upper()}-4711",
        issued_by=case.sender,
        issued_on=(clock.now() - timedelta(days=1)).date(),
    )


def _tried(hands: Hands, case: Case, verb: str, facts: f.Facts) -> tuple[Verdict, ...]:
    try:
        take(
            verb,
            case,
            facts,
            signed_by=hands[OFFICE],
            witness=hands[OTHER],
            token=hands.token(),
        )
    except StepRefused as refusal:
        return refusal.verdicts
    return ()
