"""The invented files under `logs/`, and the answers that a person would give to them."""

from datetime import UTC, datetime
from pathlib import Path

from retort_log.logger_files import Mapping, Parsed, look, read

LOGS = Path(__file__).parent / "logs"
NOW = datetime(2026, 12, 1, tzinfo=UTC)
ZONE = "America/New_York"
ANSWERS = {
    "zone": ZONE,
    "date_order": "mdy",
    "start": "2026-03-03T13:00:00+00:00",
    "channel:2": "primary",
    "unit:2": "degF",
    "channel:3": "secondary",
    "unit:3": "degF",
    "channel:4": "",
    "channel:5": "",
}
NAMES = tuple(sorted(path.name for path in LOGS.iterdir() if path.name[0] != "."))
REFUSED = {"headings_only.csv": "header_only", "commas_twice.csv": "commas_twice"}
READABLE = tuple(name for name in NAMES if name not in REFUSED)


def raw(name: str) -> bytes:
    """The bytes of a file."""
    return (LOGS / name).read_bytes()


def mapping_of(content: bytes, **answers: str) -> Mapping:
    """The mapping by the usual answers, as far as they are asked for."""
    seen = look(content, zone=ZONE)
    given = {**ANSWERS, **answers}
    return seen.mapping({q.code: given[q.code] for q in seen.questions if q.code in given})


def parsed(name: str, **answers: str) -> Parsed:
    """A file, read by the usual answers."""
    return read(raw(name), mapping_of(raw(name), **answers), now=NOW)


def at(text: str) -> int:
    """A UTC time as ms since 1970."""
    return int(datetime.fromisoformat(f"{text}+00:00").timestamp() * 1000)


def generated(rows: int) -> bytes:
    """A regular log of four channels with a reading a second."""
    lines = ["Time,Primary °F,Secondary °F,Stack °F,O2 %"]
    for n in range(rows):
        clock = f"2026-03-03 {n // 3600 % 24:02d}:{n // 60 % 60:02d}:{n % 60:02d}"
        waves = (16000 + n * 37 % 900, 16500 + n * 53 % 400, 5500 + n * 7 % 90, 90 + n % 30)
        lines.append(clock + "".join(f",{wave / 10:.1f}" for wave in waves))
    return ("\n".join(lines) + "\n").encode()
