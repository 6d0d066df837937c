"""Student's t against SciPy."""

import pytest
from scipy import stats

from retort_log.student import MANY, two_sided


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 20, 89, MANY, MANY + 1, 1000, 100_000])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.999])
def test_quantiles_are_those_of_scipy(confidence: float, dof: int) -> None:
    expected = stats.t.ppf((1 + confidence) / 2, dof)
    assert two_sided(confidence, dof) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(("confidence", "dof"), [(0.95, 0), (0.0, 5), (1.0, 5)])
def test_what_has_no_quantile_is_an_error(confidence: float, dof: int) -> None:
    with pytest.raises(ValueError, match="no quantile"):
        two_sided(confidence, dof)
