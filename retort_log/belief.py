"""What is believed of a mean and a spread, and how weighed cases change it. Pure.

The conjugate update of a normal mean and variance (normal-inverse-gamma): what was believed
before counts like a number of cases of its own, and every case that is weighed counts as one.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum, sqrt

from retort_log.student import two_sided


@dataclass(frozen=True)
class Sample:
    """Cases summed up: all that the update needs of them."""

    count: int = 0
    mean: float = 0.0
    squares: float = 0.0  # sum of the squared distances from the mean

    @classmethod
    def of(cls, values: Iterable[float]) -> "Sample":
        """Sum up values; their order does not matter, to the last bit."""
        listed = list(values)
        if not listed:
            return cls()
        mean = fsum(listed) / len(listed)
        return cls(len(listed), mean, fsum((value - mean) ** 2 for value in listed))

    def __add__(self, other: "Sample") -> "Sample":
        count = self.count + other.count
        if not count:
            return self
        apart = other.mean - self.mean
        mean = self.mean + apart * other.count / count
        between = apart**2 * self.count * other.count / count
        return Sample(count, mean, self.squares + other.squares + between)


@dataclass(frozen=True)
class Belief:
    """A mean worth so many cases, and a spread (standard deviation) worth so many."""

    mean: float
    mean_cases: float
    spread: float
    spread_cases: int

    def after(self, seen: Sample) -> "Belief":
        """Return what is believed once these cases were weighed."""
        if not seen.count:
            return self
        mean_cases = self.mean_cases + seen.count
        spread_cases = self.spread_cases + seen.count
        mean = (self.mean_cases * self.mean + seen.count * seen.mean) / mean_cases
        between = self.mean_cases * seen.count / mean_cases * (seen.mean - self.mean) ** 2
        squares = self.spread_cases * self.spread**2 + seen.squares + between
        return Belief(mean, mean_cases, sqrt(squares / spread_cases), spread_cases)

    def half_width(self, confidence: float) -> float:
        """Return half of the range that holds the next case with this probability.

        Student's t, with the spread of one case and the doubt about the mean together.
        """
        scale = self.spread * sqrt(1 + 1 / self.mean_cases)
        return two_sided(confidence, self.spread_cases) * scale
