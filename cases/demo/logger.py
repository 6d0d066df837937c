"""The data logger of one retort of the demonstration: invented files, taken in as sent ones are."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import sin
from typing import TYPE_CHECKING

import numpy as np

from retort_log import logger_acts
from retort_log.logger_files import Column, Mapping, TimeColumns

if TYPE_CHECKING:
    from cases.demo.life import Life

NAME = "Chart recorder at Retort 2"
EVERY = timedelta(seconds=10)
BEGINS = -32  # minutes from the charge
HEADER = ("Time (UTC)", "Primary °F", "Secondary °F")
STAMP = "%Y-%m-%d %H:%M:%S"
MAPPING = Mapping(
    delimiter=",",
    decimal=".",
    first_line=2,
    width=3,
    time=TimeColumns("stamp", (0,), (STAMP,), zone="UTC"),
    columns=(
        Column(1, HEADER[1], "primary", "degF"),
        Column(2, HEADER[2], "secondary", "degF"),
    ),
    header_line=1,
    header=HEADER,
)
RAMP_MIN = 4.0  # within which the dip is reached, and left again


def take(life: Life, until: int) -> None:
    """Let the operator take in the logger's file of this run, up to a minute of it."""
    charge = life.moments.charge
    logger_acts.take_from(
        life.retort,
        NAME,
        life.hands.member(life.operator()),
        logger_acts.Sent(f"retort-2-{charge:%Y%m%d-%H%M}.csv", _file(life, until), MAPPING),
    )


def _file(life: Life, until: int) -> bytes:
    first = life.minute(BEGINS).astimezone(UTC).replace(second=0, microsecond=0)
    count = (life.minute(until) - first) // EVERY
    lines = [",".join(HEADER)]
    for at in (first + n * EVERY for n in range(count + 1)):
        minute = (at - life.moments.charge) / timedelta(minutes=1)
        if not _is_lost(life, minute):
            primary, secondary = _values(life, minute)
            lines.append(f"{_written(at)},{primary:.1f},{secondary:.1f}")
    return "\n".join(lines).encode()


def _written(at: datetime) -> str:
    return f"{at:{STAMP}}"


def _is_lost(life: Life, minute: float) -> bool:
    first, last = life.course.gap
    return life.person.run == "gap" and first < minute < last


def _values(life: Life, minute: float) -> tuple[float, float]:
    """Both chambers in °F: the course of the run, a ripple, and the dip where one is planted."""
    at, *chambers = zip(*life.course.readings, strict=True)
    primary, secondary = (float(np.interp(minute, at, values)) for values in chambers)
    if life.person.run == "dip":
        first, last = life.course.dip
        inside = min(minute - first, last - minute) / RAMP_MIN
        secondary -= life.course.dip_c * max(0.0, min(1.0, inside))
    ripple = 3 * sin(minute / 1.7 + life.index)
    return _fahrenheit(primary + ripple), _fahrenheit(secondary - ripple / 2)


def _fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32
