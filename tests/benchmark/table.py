"""The table that a run prints."""

from dataclasses import asdict, dataclass
from typing import Any

HEADINGS = ("what", "measured", "yardstick", "ratio", "wanted", "notes")


@dataclass(frozen=True)
class Row:
    """One line: what was measured, the yardstick of the same run, and what is wanted."""

    what: str
    measured: str
    yardstick: str = ""
    ratio: str = ""
    wanted: str = ""
    notes: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return plain values."""
        return asdict(self)

    def cells(self) -> tuple[str, ...]:
        """Return the line's cells, in the order of the headings."""
        return (self.what, self.measured, self.yardstick, self.ratio, self.wanted, self.notes)


def render(rows: list[Row]) -> str:
    """Return the rows as a table in Markdown, its columns aligned."""
    lines = [HEADINGS, *(row.cells() for row in rows)]
    widths = [max(len(line[place]) for line in lines) for place in range(len(HEADINGS))]
    lines.insert(1, tuple("-" * width for width in widths))
    return "\n".join(
        "| " + " | ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)) + " |"
        for line in lines
    )
