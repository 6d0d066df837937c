"""A furnace test measured by NIST, read by the same road as every other log."""

from pathlib import Path

import numpy as np
import pytest

from retort_log.logger_files import look, read
from retort_log.logger_files.order import usual_step
from tests.retort_log.logger_logs import NOW

FILE = Path(__file__).resolve().parents[3] / "shared" / "data" / "nist_composite_beam_test_3.csv"
pytestmark = pytest.mark.skipif(
    not FILE.exists(), reason="the measured series is kept beside the project, not in it"
)


def test_a_measured_series_is_read_whole() -> None:
    content = FILE.read_bytes()
    seen = look(content)
    assert (seen.shape.width, seen.shape.first_line, seen.shape.units_line) == (181, 3, 2)
    assert {question.code for question in seen.questions} == {"start", "columns"}
    places = {name: seen.shape.header.index(name) for name in ("TCC8", "HRRburner")}
    mapping = seen.mapping(
        {
            "start": "2020-01-01T00:00:00+00:00",
            f"channel:{places['TCC8']}": "primary",
            f"channel:{places['HRRburner']}": "burner_kw",
        }
    )
    found = read(content, mapping, now=NOW)
    assert found.units == ("degC", "kW")
    assert len(found.times_ms) == 985
    assert set(np.diff(found.times_ms)) == {15_000}
    assert usual_step(found.times_ms) == 15_000
    assert (found.gaps, found.notes) == ((), ())
    primary, burner = found.values.T
    assert np.nanmax(primary) == 1108.8
    assert found.times_ms[np.nanargmax(primary)] - found.times_ms[0] == 3_675_000
    assert primary[-1] == 70.7 or np.nanmin(primary[-50:]) < 75
    known = ~np.isnan(burner)
    assert found.times_ms[known][-1] - found.times_ms[0] == 6_150_000
    assert (burner[known] < 0).sum() == 26
    refused = [one for one in found.refusals if one.channel == "burner_kw"]
    assert len(refused) == 985 - known.sum()
    assert {(one.code, one.text) for one in refused} == {("error_value", "NaN")}
