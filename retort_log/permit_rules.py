"""What a permit to operate demands, as plain values. Pure: no Django, no database.

A limit keeps the unit of its text: a rule in °F is tested in °F, since 871 °C is 1,599.8 °F and
below 1,600 °F. What is None is not stated by the permit, which never means that there is no rule.
"""

from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal
from enum import StrEnum


class Mark(StrEnum):
    """How well a value is known."""

    FOUND = "found"  # read in the text that the citation names
    SECONDARY = "secondary"  # read in a page that quotes it
    MEMORY = "memory"  # not checked; never on by default
    HOUSE = "house"  # read by the house in its own permit, or chosen by it


class Averaging(StrEnum):
    """How the mean over a window is made."""

    INSTANT = "instant"  # no averaging: each reading counts
    SAMPLES = "samples"  # mean of the samples in the window
    TIME = "time"  # mean over time, straight lines between the readings


@dataclass(frozen=True)
class Limit:
    """One value of a permit: a number, its unit as pint reads it, and where it was read."""

    value: Decimal
    unit: str  # "degF", "degC", "second", "lb/hour", "mg/m**3", "ppm", "percent", "minute", "year"
    citation: str
    mark: Mark
    link: str = ""
    read_on: date | None = None


@dataclass(frozen=True)
class Concentration:
    """A limit of what leaves the stack: at which oxygen, dry, and over how long it is averaged."""

    limit: Limit
    reference_oxygen: Decimal | None = None  # per cent by volume, dry
    ambient_oxygen: Decimal = Decimal("20.9")  # 20.9 or 21, as the rule says
    over_min: int | None = None


@dataclass(frozen=True)
class Opacity:
    """Means of 24 readings, 15 seconds apart (EPA Method 9), in per cent."""

    limit: Limit
    # One six-minute mean an hour may reach this, where the rule allows an exception.
    exception: Limit | None = None
    # True where the limit itself is a breach ("10 % or more"), not only what lies above it.
    limit_is_breach: bool = False


@dataclass(frozen=True)
class PermitRules:
    """All that findings, gates and pages need of a permit."""

    code: str
    title: str
    secondary_minimum: Limit | None = None
    averaging: Averaging = Averaging.INSTANT
    averaging_min: int | None = None  # minutes of the window; None with INSTANT
    residence: Limit | None = None
    # Which chamber must have reached the charging temperature before a person is charged.
    charging_chamber: str = "secondary"
    charging: Limit | None = None
    charge_rate: Limit | None = None
    hours: tuple[time, time] | None = None  # of the facility's zone; None: not stated
    hours_citation: str = ""
    opacity: Opacity | None = None
    concentrations: dict[str, Concentration] = field(default_factory=dict)  # "CO", "PM", …
    oxygen_minimum: Limit | None = None
    recording_interval: Limit | None = None
    retention: Limit | None = None
    notes: tuple[str, ...] = ()
