"""Fills the temporary database in bulk: cases with a trail whose hashes hold.

A step is taken through `take` only; here the triggers that say so are dropped for as long as the
filling lasts, because a hundred thousand cases must be there in seconds.
"""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Model

from cases.models import Case
from cases.names import fold
from cases.steps import STEPS
from chain_of_custody import triggers
from chain_of_custody.canonical import SALT_BYTES, canonical_bytes
from chain_of_custody.merkle import Frontier, leaf_hash
from chain_of_custody.models import CustodyEntry, Log, SealedValue
from chain_of_custody.trail import Act, Sealed, _payload
from crematory.check_character import with_check
from crematory.models import Facility, StaffMember
from tests import cast

BATCH = 2000
GIVEN = "Ada Boris Clara Dmitri Elena Farid Greta Hugo Inés Jonas Kira Luis Maren Nils Olga Pavel"
FAMILY = (
    "Example Quillfeather Łukaszewicz Ångström Nakamura Okonkwo Petrović Quispe Ramírez Sørensen "
    "Tanaka Underhill Vasquez Whitlock Xiong Yarrow Zielińska Abernathy Blackwood Castellano"
)


@contextmanager
def without_triggers() -> Iterator[None]:
    """Drop the refusing triggers, and put them back at the end."""
    with connection.cursor() as cursor:
        for name in triggers.present():
            cursor.execute(f'DROP TRIGGER "{name}"', None)
    yield
    triggers.install()


def name_of(index: int) -> str:
    """Return an invented name; some thousand differ."""
    given, family = GIVEN.split(), FAMILY.split()
    middle = given[index // 320 % len(given)]
    return f"{given[index % len(given)]} {middle} {family[index // 16 % len(family)]}"


def number_of(facility: Facility, index: int) -> str:
    """Return a case number; ten thousand cases fall into one year."""
    return with_check(f"{facility.case_prefix}{index // 10_000:02d}-{index % 10_000 + 1:05d}")


@dataclass
class Filling:
    """A trail that grows in memory and is written in batches."""

    facility: Facility
    clerk: StaffMember
    second: StaffMember
    log: Log
    frontier: Frontier
    cases: list[Case] = field(default_factory=list)
    entries: list[CustodyEntry] = field(default_factory=list)
    sealed: list[SealedValue] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.case_pk, self.entry_pk = _next_pk(Case), _next_pk(CustodyEntry)

    def append(self, name: str, case: Case, at: datetime, facts: Any, **more: Any) -> CustodyEntry:
        """Append one entry, as `trail.append` does it."""
        step = STEPS.get(name)
        act = Act(
            facility=self.facility,
            name=name,
            happened_at=at,
            recorded_at=at,
            case=case,
            signed_by=self.clerk,
            signature="pin" if step else "session",
            witness=self.second if step and step.witnessed else None,
            token=f"fill-{self.log.size}",
            facts=facts,
            **more,
        )
        seals = {
            key: (secrets.token_bytes(SALT_BYTES), value.value)
            for key, value in facts.items()
            if isinstance(value, Sealed)
        }
        payload = canonical_bytes(_payload(act, self.log, seals))
        digest = leaf_hash(payload)
        entry = CustodyEntry(
            pk=self.entry_pk + len(self.entries),
            facility=self.facility,
            sequence=self.log.size,
            case=case,
            act=name,
            happened_at=at,
            recorded_at=at,
            signed_by=self.clerk,
            witness=act.witness,
            token=act.token,
            payload=payload.decode(),
            leaf_hash=digest.hex(),
            **more,
        )
        self.entries.append(entry)
        self.sealed += [
            SealedValue(entry=entry, key=key, salt=salt.hex(), value=value)
            for key, (salt, value) in seals.items()
        ]
        self.frontier.append(digest)
        self.log.size, self.log.last_leaf = self.frontier.size, digest.hex()
        return entry

    def add_case(self, index: int, papers: int, verbs: tuple[str, ...]) -> None:
        """Add one case: some papers filed, these steps in the trail, where the last one leads."""
        began = cast.START + timedelta(minutes=index)
        case = Case(
            pk=self.case_pk + len(self.cases),
            facility=self.facility,
            number=number_of(self.facility, index),
            stage=STEPS[verbs[-1]].stage_to if verbs else "expected",
            stage_since=began + timedelta(days=9),
            decedent_name=name_of(index),
            name_folded=fold(name_of(index)),
            died_at=began - timedelta(days=2),
            sender="Example Funeral Home",
            is_death_reportable=False,
            disposition="hand_over",
            jurisdiction=self.facility.jurisdiction,
            announced_at=began,
        )
        for _ in range(papers):
            self.append("file_document", case, began, {
                "kind": "death_record", "reference": Sealed("R-1"),
                "issued_by": Sealed("Registrar"), "issued_on": began.date(),
            })  # fmt: skip
        for verb in verbs:
            step = STEPS[verb]
            case.stage_entry = self.append(
                verb, case, case.stage_since, {"identification": Sealed("driver licence")},
                stage_from=step.stages_from[0], stage_to=step.stage_to,
            )  # fmt: skip
        self.cases.append(case)

    def write(self) -> None:
        """Write what has gathered."""
        self.log.frontier = " ".join(self.frontier.to_hex())
        self.log.root = self.frontier.root().hex()
        with transaction.atomic():
            self.log.save()
            Case.objects.bulk_create(self.cases, BATCH)
            CustodyEntry.objects.bulk_create(self.entries, BATCH)
            SealedValue.objects.bulk_create(self.sealed, BATCH)
        self.case_pk += len(self.cases)
        self.entry_pk += len(self.entries)
        self.cases, self.entries, self.sealed = [], [], []


def _next_pk(model: type[Model]) -> int:
    newest = model._default_manager.order_by("-pk").values_list("pk", flat=True).first()
    return (newest or 0) + 1


def fill(facility: Facility, indexes: range, papers: int, verbs: tuple[str, ...]) -> None:
    """Add a case for each index, with papers + verbs entries each, to the trail."""
    log = Log.objects.filter(facility=facility).first() or Log(facility=facility)
    clerk, second = (cast.member(facility, key) for key in (cast.CLERK, cast.SECOND_CLERK))
    frontier = Frontier.from_hex(log.size, log.frontier.split())
    filling = Filling(facility, clerk, second, log, frontier)
    with without_triggers():
        for index in indexes:
            filling.add_case(index, papers, verbs)
            if len(filling.entries) >= BATCH:
                filling.write()
        filling.write()
