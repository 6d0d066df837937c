"""What a person states when taking a step: one frozen dataclass a verb. Pure values.

`happened_at` None means now. Masses are kilograms, volumes litres. `trail()` gives what the
entry keeps: personal values are Sealed, so that the hashed bytes hold no names.
"""

from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from typing import Any

from cases import scans
from chain_of_custody.models import Place
from chain_of_custody.trail import Sealed
from chain_of_custody.uploads_in import Arrived
from crematory.signatures import Signature
from retort_log.models import Retort

PERSONAL = {
    "band_reads",
    "delivered_by",
    "firm",
    "container_kind",
    "belongings",
    "recipient_name",
    "identification",
    "reason",
    "acceptance_reason",
    "tracking_number",
}


def plain(value: Any) -> Any:
    """Return a JSON value without floats: numbers as text, rows by their codes."""
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, Place):
        return value.code
    if isinstance(value, Retort):
        return value.place.code
    if isinstance(value, Signature):
        return value.member.staff_code
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    if isinstance(value, Container):
        return value.trail()
    return value


def label_read(scan: str) -> str:
    """Return the paper number that was read of a label, and nothing else that a scan may hold."""
    label = scans.label(scan)
    return label.paper_number if label else ""


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Base of all facts."""

    happened_at: datetime | None = None

    @property
    def needs_witness(self) -> bool:
        """True where what is stated asks for a second person, though the step does not."""
        return False

    def trail(self) -> dict[str, Any]:
        """Return the facts as the entry keeps them."""
        stated = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "happened_at"}
        return {
            name: Sealed(str(value)) if name in PERSONAL else plain(value)
            for name, value in stated.items()
            if value is not None and value != ""
        }


@dataclass(frozen=True, kw_only=True)
class Container:
    """A container of cremated remains; `label_scan` as scanned or typed."""

    kind: str
    volume_l: Decimal
    mass_kg: Decimal
    label_scan: str

    def trail(self) -> dict[str, Any]:
        """Return what the entry keeps in clear; of the label only its paper number."""
        return {
            "volume_l": plain(self.volume_l),
            "mass_kg": plain(self.mass_kg),
            "label_scan": label_read(self.label_scan),
        }


@dataclass(frozen=True, kw_only=True)
class ReceiveFacts(Facts):
    band_reads: str
    delivered_by: str
    firm: str
    container_kind: str
    is_closed: bool
    is_rigid: bool
    is_leak_proof: bool
    is_combustible: bool
    mass_kg: Decimal
    belongings: str
    place: Place
    is_embalmed: bool | None = None


@dataclass(frozen=True, kw_only=True)
class AuthorizeFacts(Facts):
    pass


@dataclass(frozen=True, kw_only=True)
class ClearDevicesFacts(Facts):
    pass


@dataclass(frozen=True, kw_only=True)
class AssignDiscFacts(Facts):
    disc_number: str
    disc_number_again: str
    is_attached: bool


@dataclass(frozen=True, kw_only=True)
class ChargeFacts(Facts):
    retort: Retort
    disc_scan: str
    label_scan: str
    chamber_is_empty: bool

    def trail(self) -> dict[str, Any]:
        return super().trail() | {"label_scan": label_read(self.label_scan)}


@dataclass(frozen=True, kw_only=True)
class BurnerOffFacts(Facts):
    flame_has_ended: bool
    # Said where it was asked: the burner is off very soon after the charge.
    short_burn_confirmed: bool | None = None


@dataclass(frozen=True, kw_only=True)
class RecoverFacts(Facts):
    """Of the disc either what was read, or what was found and the disc tied in its place."""

    chamber_is_swept: bool
    place: Place
    disc_scan: str = ""
    disc_state: str = ""  # one of DiscReplaced.Found, where the disc was not read
    photograph: Arrived | None = None
    disc_number: str = ""
    disc_number_again: str = ""
    is_attached: bool | None = None
    acceptance: Signature | None = None
    acceptance_reason: str = ""

    @property
    def needs_witness(self) -> bool:
        return bool(self.disc_state)

    def trail(self) -> dict[str, Any]:
        # The effect says of the photograph what an entry keeps of a file.
        return {key: value for key, value in super().trail().items() if key != "photograph"}


@dataclass(frozen=True, kw_only=True)
class ProcessFacts(Facts):
    disc_scan: str
    processor_was_empty: bool
    metal_fate: str
    mass_kg: Decimal
    acceptance: Signature | None = None
    acceptance_reason: str = ""


@dataclass(frozen=True, kw_only=True)
class ContainFacts(Facts):
    disc_scan: str
    containers: tuple[Container, ...]
    are_sealed: bool
    place: Place

    def trail(self) -> dict[str, Any]:
        # The kinds are free text.
        kinds = "; ".join(container.kind for container in self.containers)
        return super().trail() | {"container_kinds": Sealed(kinds)}


@dataclass(frozen=True, kw_only=True)
class ReleaseFacts(Facts):
    recipient_name: str
    identification: str
    disc_on_paper: str
    disc_on_container: str
    receipt_is_signed: bool
    things_are_given: bool | None = None  # asked only where something lies here
    carrier: str = ""
    tracking_number: str = ""


@dataclass(frozen=True, kw_only=True)
class ReturnFacts(Facts):
    recipient_name: str
    firm: str
    identification: str
    reason: str
    receipt_is_signed: bool
    things_are_given: bool | None = None  # asked only where something lies here


FACTS: dict[str, type[Facts]] = {
    "receive": ReceiveFacts,
    "authorize": AuthorizeFacts,
    "clear_devices": ClearDevicesFacts,
    "assign_disc": AssignDiscFacts,
    "charge": ChargeFacts,
    "burner_off": BurnerOffFacts,
    "recover": RecoverFacts,
    "process": ProcessFacts,
    "contain": ContainFacts,
    "release": ReleaseFacts,
    "return_uncremated": ReturnFacts,
}
