"""Radionuclides in the body: what is left of an activity, and published waits. Pure.

This reckons; it never permits. The radiation-protection adviser decides, and where no wait is
published the answer is to ask for the adviser's written advice: no limit is made up here. Figures
of activity that nobody could confirm are left out on purpose.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import ROUND_CEILING, Decimal, localcontext

from cases.deadlines import Moment
from crematory.units import convert

SOURCE = "ICRP Publication 107"
ASK_THE_ADVISER = "The radiation-protection adviser decides."
SECONDS_A_DAY = Decimal(86400)
_PRECISION = 40


class NuclideUnknown(KeyError):
    """A nuclide that is not in the table."""


@dataclass(frozen=True)
class Nuclide:
    """A radionuclide: its half-life in days, the source of it, and what the reckoning omits."""

    key: str
    half_life_days: Decimal
    source: str = SOURCE
    note: str = ""


NUCLIDES: Mapping[str, Nuclide] = {
    nuclide.key: nuclide
    for nuclide in (
        Nuclide("Au-198", Decimal("2.69517")),
        Nuclide("Cs-131", Decimal("9.689")),
        Nuclide("Ho-166", Decimal("1.11667")),
        Nuclide("I-125", Decimal("59.40")),
        Nuclide("I-131", Decimal("8.0207")),
        Nuclide(
            "Lu-177",
            Decimal("6.647"),
            note="The longer-lived impurity Lu-177m (about 160 days) is not reckoned.",
        ),
        Nuclide("P-32", Decimal("14.263")),
        Nuclide("Pd-103", Decimal("16.991")),
        Nuclide("Ra-223", Decimal("11.43")),
        Nuclide("Sm-153", Decimal("1.9375")),
        Nuclide("Sr-89", Decimal("50.53")),
        Nuclide("Y-90", Decimal("2.67083")),
    )
}


def nuclide(key: str) -> Nuclide:
    """The nuclide of a key such as "I-125"; raises NuclideUnknown."""
    try:
        return NUCLIDES[key]
    except KeyError:
        raise NuclideUnknown(f"There is no half-life here for “{key}”. {ASK_THE_ADVISER}") from None


def mbq_from_mci(activity_mci: Decimal) -> Decimal:
    """Activity in MBq from mCi: 1 mCi is 37 MBq exactly."""
    return convert(activity_mci, "millicurie", "megabecquerel")


@dataclass(frozen=True)
class Activity:
    """An activity in MBq, above zero, at a reference moment (calibration, implant or dose).

    Of a reference known only roughly the LATEST bound counts: least has decayed since then.
    Raises ValueError for an activity that is not a number above zero.
    """

    nuclide: Nuclide
    mbq: Decimal
    reference: Moment

    def __post_init__(self) -> None:
        if not self.mbq.is_finite() or self.mbq <= 0:
            raise ValueError("an activity is a number of MBq above zero")


def fraction_left(of: Nuclide, days: Decimal) -> Decimal:
    """The share that is left after `days`: 2 to the power of minus days by half-life.

    Raises ValueError for days below zero: what an activity was before is not asked here.
    """
    if days < 0:
        raise ValueError("the moment lies before the reference")
    with localcontext() as context:
        context.prec = _PRECISION
        return Decimal(2) ** (-days / of.half_life_days)


def mbq_at(activity: Activity, at: datetime) -> Decimal:
    """What is left at an aware moment, in MBq. Raises ValueError before the reference."""
    elapsed = at - activity.reference.latest
    days = Decimal(elapsed // timedelta(microseconds=1)) / 1_000_000 / SECONDS_A_DAY
    return activity.mbq * fraction_left(activity.nuclide, days)


def falls_to(activity: Activity, limit_mbq: Decimal) -> datetime:
    """The first whole second, in UTC, at which not more than a stated limit is left.

    The limit is the adviser's or a licence's, in MBq; none is built in. Not before the
    reference. Raises ValueError for a limit that is not above zero, OverflowError for a moment
    beyond the calendar.
    """
    if not limit_mbq.is_finite() or limit_mbq <= 0:
        raise ValueError("a limit is a number of MBq above zero")
    if activity.mbq <= limit_mbq:
        return activity.reference.latest
    with localcontext() as context:
        context.prec = _PRECISION
        halvings = (activity.mbq / limit_mbq).ln() / Decimal(2).ln()
        seconds = halvings * activity.nuclide.half_life_days * SECONDS_A_DAY
        whole = int(seconds.to_integral_value(ROUND_CEILING))
    return activity.reference.latest + timedelta(seconds=whole)


@dataclass(frozen=True)
class PublishedWait:
    """How long after an implant a cremation is acceptable, by a published source.

    An empty `nuclide` means any radioactive implant. Written advice may allow it sooner unless
    the source, a law, says no.
    """

    months: int
    nuclide: str
    source: str
    mark: str
    note: str = ""
    sooner_if_safe: bool = True


PUBLISHED_WAITS: tuple[PublishedWait, ...] = (
    PublishedWait(
        12,
        "I-125",
        "ICRP Publication 98, permanent seeds",
        "secondary",
        note="In the United Kingdom and France up to three years are asked for.",
    ),
    PublishedWait(3, "Pd-103", "ICRP Publication 98, permanent seeds", "secondary"),
)


def published_wait(nuclide_key: str) -> PublishedWait | None:
    """The wait for permanent seeds of a nuclide, where one is published."""
    return next((wait for wait in PUBLISHED_WAITS if wait.nuclide == nuclide_key), None)


def months_after(day: date, months: int) -> date:
    """The same day of the month, `months` later; where there is none, the first of the next."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    try:
        return date(year, month + 1, day.day)
    except ValueError:
        return date(year, month + 2, 1)  # never December, which has all days
