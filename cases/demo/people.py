"""Reading the invented people and the course of a run from `demo_data/`."""

import tomllib
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from crematory.units import parse_quantity

FOLDER = Path(__file__).resolve().parent.parent.parent / "demo_data"


@dataclass(frozen=True)
class Person:
    """One invented person: who they are, how far they have come, and what went wrong."""

    name: str
    until: str
    mass: str
    sender: str
    agent: str
    relationship: str
    sex: str = ""
    born: date | None = None
    hours_ago: int | None = None
    charged_minutes_ago: int | None = None
    died_hours_ago: int | None = None
    announced_as: str = ""
    received_as: str = ""
    belongings: str = "none"
    reportable: str = "no"
    lacks: tuple[str, ...] = ()
    devices: dict[str, str] = field(default_factory=dict)
    objector: str = ""
    objector_is: str = "son"
    settled_by: str = ""
    early: tuple[str, ...] = ()
    slips: tuple[str, ...] = ()
    late: tuple[str, ...] = ()
    stopped_by: str = ""
    hold: str = ""
    lifted: str = ""
    remains_kg: str = ""
    accepted: str = ""
    keepsake: bool = False
    scanned: bool = False
    shipped: bool = False
    lost_disc: str = ""  # how it was found at the recovery
    died_known: str = "exact"
    # What happens in the run: "dip", "gap", "power_cut" or "smoke"; "" where nothing does.
    run: str = ""
    rests: int = 22  # minutes on the tray before the remains are processed
    weighed_kg: str = ""  # what the scale was read as at first: another person's mass

    @property
    def mass_kg(self) -> Decimal:
        """Mass of person and container in kg."""
        return parse_quantity(self.mass, "mass", "lb")


@dataclass(frozen=True)
class Course:
    """The course of a run, in minutes from the charge."""

    burner_off: int
    recovered: int
    too_hot: int
    preheat_too_cold: int
    readings: tuple[tuple[int, int, int], ...]
    entered_late: tuple[int, ...]
    beside_logger: tuple[int, ...]
    looked_in: int
    events: dict[str, int]
    gap: tuple[int, int]
    dip: tuple[int, int]
    dip_c: int

    def between(self, start: int, end: int) -> list[tuple[int, int, int]]:
        """Return the readings of these minutes, the end not counted."""
        return [reading for reading in self.readings if start <= reading[0] < end]


def load(name: str) -> dict[str, Any]:
    """Return what a file in `demo_data/` says."""
    return tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))


def _person(table: dict[str, Any]) -> Person:
    values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in table.items()}
    return Person(**values)


def people() -> list[Person]:
    """Return everybody in `people.toml`, in the file's order."""
    return [_person(table) for table in load("people.toml")["person"]]


def walker() -> Person:
    """Return the person of the walk."""
    return _person(load("walk.toml"))


def course() -> Course:
    """Return the course of a run."""
    data = load("run.toml")
    return Course(**{key: _tuples(value) for key, value in data.items()})


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value
