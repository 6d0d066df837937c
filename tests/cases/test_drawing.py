"""A drawn signature: its picture is made of its strokes."""

import io
import json

import pytest
from PIL import Image

from cases.drawing import DrawingUnfit, as_path, as_png, read_strokes

STROKES = [[[1000 + 200 * n, 5000, 10 * n] for n in range(11)]]


def test_the_picture_is_as_large_as_the_strokes_and_their_edge() -> None:
    picture = Image.open(io.BytesIO(as_png(STROKES)))
    assert (picture.format, picture.mode) == ("PNG", "L")
    # 20 mm wide at 8 dots a mm, with 2 mm of edge on both sides; a line has no height of its own.
    assert picture.size == (160 + 32, 32)


def test_the_line_is_dark_where_it_was_drawn_and_nowhere_else() -> None:
    picture = Image.open(io.BytesIO(as_png(STROKES)))
    assert picture.getpixel((100, 16)) == 0
    assert picture.getpixel((100, 4)) == 255
    assert picture.getpixel((4, 16)) == 255


def test_the_largest_drawing_makes_a_picture() -> None:
    wide = [[[0, 0, 0], [50_000, 50_000, 600_000], *[[9, 9, 9]] * 8]]
    assert Image.open(io.BytesIO(as_png(read_strokes(json.dumps(wide))))).size == (4032, 4032)


def test_nothing_sent_is_no_drawing() -> None:
    assert read_strokes("  ") == []


@pytest.mark.parametrize("point", [[50_001, 1, 1], [1, 1, 600_001], [True, 1, 1], [1, 1], "abc"])
def test_a_point_out_of_bounds_is_refused(point: object) -> None:
    with pytest.raises(DrawingUnfit, match="could not be read"):
        read_strokes(json.dumps([[point] * 9]))


def test_the_path_on_paper_begins_at_its_corner_and_leaves_out_what_no_eye_sees() -> None:
    stroke = [[500 + 3 * n, 900, n] for n in range(100)]  # 3 hundredths of a mm between points
    width, height, path = as_path([stroke, [[500, 1000, 5], [560, 1100, 6]]])
    assert path.startswith("M0 0")
    assert path.count("M") == 2
    assert path.count("L") < 20
    assert (width, height) == (294, 200)


def test_a_dot_is_on_the_path_too() -> None:
    assert as_path([[[10, 10, 0]]]) == (0, 0, "M0 0l0 0")
