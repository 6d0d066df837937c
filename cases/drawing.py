"""A signature drawn on a tablet: its strokes as they came, and the picture made of them.

Pure: no Django, no database. The picture is drawn here from the strokes, so that the two always
agree. A stroke is a list of points [x, y, ms]: hundredths of a mm from the upper left corner of
the field, and milliseconds since the first touch.
"""

import io
import json
from typing import Any

from PIL import Image, ImageDraw

Point = list[int]
Stroke = list[Point]

MOST_STROKES, MOST_POINTS = 400, 20_000
LARGEST = 50_000  # half a metre
LONGEST_MS = 600_000
LEAST_POINTS = 8  # a slip of the finger is no signature
DOTS_PER_MM = 8
PEN_MM, EDGE_MM = 0.5, 2
NEAR = 20  # hundredths of a mm


class DrawingUnfit(ValueError):
    """What came is no drawn signature; the text says why."""


def read_strokes(text: str) -> list[Stroke]:
    """Return the strokes written in JSON; empty for an empty text. Raises DrawingUnfit."""
    if not text.strip():
        return []
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise DrawingUnfit("The drawing could not be read. Draw it again.") from error
    if not isinstance(found, list) or not all(_is_stroke(stroke) for stroke in found):
        raise DrawingUnfit("The drawing could not be read. Draw it again.")
    points = sum(len(stroke) for stroke in found)
    if len(found) > MOST_STROKES or points > MOST_POINTS:
        raise DrawingUnfit("The drawing is too long. Clear it and sign again.")
    if points < LEAST_POINTS:
        raise DrawingUnfit("Nothing is drawn but a dot or two. Sign in the field.")
    return found


def _is_stroke(stroke: Any) -> bool:
    return isinstance(stroke, list) and bool(stroke) and all(_is_point(point) for point in stroke)


def _is_point(point: Any) -> bool:
    if not isinstance(point, list) or len(point) != 3:
        return False
    if not all(type(value) is int and value >= 0 for value in point):
        return False
    return max(point[0], point[1]) <= LARGEST and point[2] <= LONGEST_MS


def as_png(strokes: list[Stroke]) -> bytes:
    """Draw the strokes in black on white, with a narrow edge around them; return PNG bytes."""
    left = min(x for stroke in strokes for x, _, _ in stroke)
    top = min(y for stroke in strokes for _, y, _ in stroke)
    placed = [[(_dots(x - left), _dots(y - top)) for x, y, _ in stroke] for stroke in strokes]
    edge = EDGE_MM * DOTS_PER_MM
    width = max(x for stroke in placed for x, _ in stroke) + edge
    height = max(y for stroke in placed for _, y in stroke) + edge
    image = Image.new("L", (int(width), int(height)), 255)
    pen, draw = round(PEN_MM * DOTS_PER_MM), ImageDraw.Draw(image)
    for stroke in placed:
        draw.line(stroke, fill=0, width=pen, joint="curve")
        for x, y in (stroke[0], stroke[-1]):
            draw.ellipse((x - pen / 2, y - pen / 2, x + pen / 2, y + pen / 2), fill=0)
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True)
    return file.getvalue()


def as_path(strokes: list[Stroke]) -> tuple[int, int, str]:
    """Return width and height in hundredths of a mm, and the strokes as the path of an SVG.

    A point closer than a fifth of a mm to the one before is left out: no eye sees it on paper.
    """
    left = min(x for stroke in strokes for x, _, _ in stroke)
    top = min(y for stroke in strokes for _, y, _ in stroke)
    parts, width, height = [], 0, 0
    for stroke in strokes:
        last: tuple[int, int] | None = None
        for x, y, _ in [*stroke, stroke[-1]]:
            at = (x - left, y - top)
            if last is None:
                parts.append(f"M{at[0]} {at[1]}l0 0")
            elif abs(at[0] - last[0]) + abs(at[1] - last[1]) < NEAR:
                continue
            else:
                parts.append(f"L{at[0]} {at[1]}")
            last, width, height = at, max(width, at[0]), max(height, at[1])
    return width, height, "".join(parts)


def _dots(hundredths: int) -> float:
    """The place on the picture of a place on the field, edge included."""
    return hundredths / 100 * DOTS_PER_MM + EDGE_MM * DOTS_PER_MM
