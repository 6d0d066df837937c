"""All that was recorded of one run, as plain values for the findings. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from decimal import Decimal

from retort_log.combustion import Flow
from retort_log.permit_rules import PermitRules
from retort_log.readings import Interval, Line, Trace, draw, merged
from retort_log.thermocouples import Thermocouple

# How far apart neighbouring readings may lie where neither the permit nor the record says it:
# a choice of this design, without a source.
LONGEST_DISTANCE_S = 900.0
# A clock that ticks a little late breaks no interval: a choice of this design.
CLOCK_SLACK_S = 1.0


@dataclass(frozen=True, eq=False)
class RunRecord:
    """A run from charge to burner off, or to now. Times are aware.

    Channels of `traces` (recorder) and `hand` (typed): "primary", "secondary" (degC or degF),
    "oxygen" (percent, dry), "opacity" (percent), "flow" (a minute, stated as `flow` is), and
    substances in lower case as in the permit: "co" (ppm or mg/m**3), "pm", … Traces count seconds
    since the Unix epoch.
    """

    charged_at: datetime
    now: datetime
    burner_off_at: datetime | None = None
    ended_at: datetime | None = None
    traces: Mapping[str, Trace] = field(default_factory=dict)
    hand: Mapping[str, Trace] = field(default_factory=dict)
    events: tuple[tuple[str, datetime], ...] = ()
    mass_kg: Decimal | None = None
    chamber_volume_m3: float | None = None
    # What was stated of the flow; with a channel "flow" it says how that is stated.
    flow: Flow | None = None
    thermocouple: Thermocouple | None = None
    max_gap_s: float | None = None
    zone: tzinfo = UTC
    _merged: dict[tuple[str, str, float], Trace] = field(
        default_factory=dict, init=False, repr=False
    )

    @property
    def start(self) -> float:
        """The charge, in seconds since the Unix epoch."""
        return self.charged_at.timestamp()

    @property
    def end(self) -> float:
        """Burner off, else the end of the run, else now: until then a person burned inside."""
        last = self.burner_off_at or self.ended_at or self.now
        return max(self.start, last.timestamp())

    @property
    def is_over(self) -> bool:
        """True once the burner is off or the run has ended."""
        return self.burner_off_at is not None or self.ended_at is not None

    def is_recorded(self, channel: str) -> bool:
        """True where the channel has any reading, at any time."""
        return any(len(given[channel]) for given in (self.traces, self.hand) if channel in given)

    def distance_s(self, rules: PermitRules) -> float:
        """How far apart two readings may lie and still be joined, in seconds."""
        interval = interval_s(rules)
        stated = LONGEST_DISTANCE_S if interval is None else interval + CLOCK_SLACK_S
        return self.max_gap_s or stated

    def trace(self, channel: str, unit: str, rules: PermitRules) -> Trace:
        """Return recorder and hand readings of a channel together, in this unit."""
        distance = self.distance_s(rules)
        key = (channel, unit, distance)
        if key not in self._merged:
            both = (self.traces.get(channel), self.hand.get(channel))
            self._merged[key] = merged(*both, unit, distance)
        return self._merged[key]

    def line(self, channel: str, unit: str, rules: PermitRules) -> Line:
        """Return the line of a channel from the charge to the end, in this unit."""
        trace = self.trace(channel, unit, rules)
        return draw(trace, unit, self.distance_s(rules), self.start, self.end)

    def happened(
        self, found: tuple[Interval, ...], before_s: float = 0.0
    ) -> list[tuple[str, datetime]]:
        """Return the events that lie within any of these times, or so many seconds before."""
        return [
            (kind, at)
            for kind, at in self.events
            if any(one.start - before_s <= at.timestamp() <= one.end for one in found)
        ]


def interval_s(rules: PermitRules) -> float | None:
    """Return the recording interval that the permit states, in seconds; None where it does not."""
    stated = rules.recording_interval
    if stated is None:
        return None
    return float(stated.value) * (60 if stated.unit == "minute" else 1)
