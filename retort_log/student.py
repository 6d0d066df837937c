"""Student's t: how wide a range must be that rests on few values. Pure."""

from functools import lru_cache
from math import cos, pi, sin, sqrt
from statistics import NormalDist

# From here on the series for many degrees of freedom is exact to seven digits.
MANY = 200


@lru_cache(maxsize=512)
def two_sided(confidence: float, dof: int) -> float:
    """Return t so that a share `confidence` (0 to 1) of the distribution lies within ±t.

    Abramowitz & Stegun 26.7.3, 26.7.4 (solved by halving) and 26.7.5. Raises ValueError for no
    degree of freedom or a share that is not between 0 and 1.
    """
    if dof < 1 or not 0 < confidence < 1:
        raise ValueError(f"no quantile for {dof} degrees of freedom at {confidence}")
    if dof > MANY:
        return _series(NormalDist().inv_cdf((1 + confidence) / 2), dof)
    low, high = 0.0, pi / 2
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, dof) < confidence else (low, middle)
    return sqrt(dof) * sin(low) / cos(low)


def _within(angle: float, dof: int) -> float:
    """Return the share within ±sqrt(dof)·tan(angle)."""
    squared = cos(angle) ** 2
    first = dof % 2
    term, total = (cos(angle) if first else 1.0), 0.0
    for step in range(2 + first, dof + 1, 2):
        total += term
        term *= squared * (step - 1) / step
    if first:
        return 2 / pi * (angle + sin(angle) * total)
    return sin(angle) * total


def _series(z: float, dof: int) -> float:
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
    )
    return z + sum(term / dof**power for power, term in enumerate(terms, start=1))
