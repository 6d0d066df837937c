"""The newest temperatures of all retorts of a house at once, and whether its controllers speak."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Max, OuterRef, Subquery

from retort_log import blocks, recorded
from retort_log.blocks import Series
from retort_log.live import is_silent
from retort_log.models import Controller, ControllerState, LiveSample, ReadingBlock
from retort_log.recorded import CHAMBERS, newest_in

# So far back a chamber is looked for among live samples where the newest ones have no value.
RECENT_MS = timedelta(minutes=1) // timedelta(milliseconds=1)


@dataclass(frozen=True)
class Wire:
    """A controller that is switched on: when it last answered, and what is wrong."""

    answered_at: datetime | None
    trouble: str
    is_silent: bool


@dataclass(frozen=True)
class Recorded:
    """The newest temperature that a recorder wrote of a chamber, in °C."""

    at: datetime
    celsius: Decimal
    by_controller: bool


@dataclass(frozen=True)
class Recorders:
    """What recorders wrote last of one retort, by chamber, and its controller, if one is on."""

    newest: Mapping[str, Recorded] = field(default_factory=dict)
    has_controller: bool = False  # it may write at any moment, of which no act tells
    wire: Wire | None = None

    @property
    def is_live(self) -> bool:
        """True where a controller that is on answers."""
        return self.wire is not None and not self.wire.is_silent


def recorders_of(retorts: Iterable[int], now: datetime) -> dict[int, Recorders]:
    """Return for each retort what its recorders wrote last. Three queries, however many."""
    keys = list(retorts)
    controllers = _controllers(keys)
    live, held = _live(keys, now), _held(keys, now)
    told = {}
    for key in keys:
        block = held.get(key, ([], False))
        sources = [(live.get(key, []), True), block]
        newest = {n: one for n in CHAMBERS if (one := _newest(sources, n, now))}
        controller = controllers.get(key)
        wire = _wire(controller, now) if controller and controller.is_on else None
        told[key] = Recorders(newest, controller is not None, wire)
    return told


def _newest(
    sources: list[tuple[list[Series], bool]], chamber: str, now: datetime
) -> Recorded | None:
    found = [(newest_in(series, chamber, now), is_controller) for series, is_controller in sources]
    told = [Recorded(one.at, one.celsius, by) for one, by in found if one]
    return max(told, key=lambda one: one.at, default=None)


def _controllers(keys: list[int]) -> dict[int, Controller]:
    rows = Controller.objects.filter(retort__in=keys).select_related("state")
    return {row.retort_id: row for row in rows}


def _wire(controller: Controller, now: datetime) -> Wire:
    state: ControllerState | None = getattr(controller, "state", None)
    answered = state.answered_at if state else None
    return Wire(answered, state.trouble if state else "", is_silent(state, now))


def _live(keys: list[int], now: datetime) -> dict[int, list[Series]]:
    until = recorded.to_ms(now)
    last = (
        LiveSample.objects.filter(retort=OuterRef("retort"), at_ms__lte=until)
        .order_by()
        .values("retort")
        .annotate(last=Max("at_ms"))
        .values("last")
    )
    rows = LiveSample.objects.filter(
        retort__in=keys, at_ms__lte=until, at_ms__gte=Subquery(last) - RECENT_MS
    )
    by_retort: dict[int, list[tuple[int, dict[str, int | None]]]] = {}
    for key, at_ms, tenths in rows.order_by("at_ms").values_list("retort", "at_ms", "tenths"):
        by_retort.setdefault(key, []).append((at_ms, tenths))
    return {key: recorded.packable(samples) for key, samples in by_retort.items()}


def _held(keys: list[int], now: datetime) -> dict[int, tuple[list[Series], bool]]:
    """Return the newest block of each, and whether a controller wrote it."""
    until = ReadingBlock.objects.filter(retort=OuterRef("retort"), starts_at__lte=now)
    newest = Subquery(until.order_by("-starts_at").values("pk")[:1])
    rows = ReadingBlock.objects.filter(retort__in=keys, pk=newest)
    return {
        row.retort_id: (
            [blocks.unpack(bytes(row.body), row.sha256)],
            row.controller_id is not None,
        )
        for row in rows.only("retort", "controller", "body", "sha256")
    }
