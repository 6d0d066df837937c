"""A case's answer about radioactivity: from its rows and its law to a day and an activity."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.utils import timezone

from cases.deadlines import exactly
from cases.law import Jurisdiction
from cases.models import Case, DeviceAnswer
from cases.nuclide_advice import Advice, RadioactiveAnswer, Use, radioactive
from cases.nuclides import NUCLIDES, Activity, PublishedWait, mbq_at
from crematory.units import convert


@dataclass(frozen=True)
class ActivityNow:
    """What was stated, and what is left of it at the moment asked for, in MBq and mCi."""

    nuclide: str
    stated_mbq: Decimal
    on: date
    now_mbq: Decimal
    now_mci: Decimal
    source: str
    note: str


def wait_by_law(law: Jurisdiction) -> PublishedWait | None:
    """Return the wait that the jurisdiction itself asks for, or None."""
    rule = law.radioactive
    if not rule.is_enforced or rule.rule != "wait" or not rule.wait_years:
        return None
    return PublishedWait(
        months=rule.wait_years * 12,
        nuclide="",
        source=law.radioactive_citation,
        mark=rule.mark.value,
        note="Sooner only by written advice that it is safe." if rule.sooner_if_safe else "",
        sooner_if_safe=bool(rule.sooner_if_safe),
    )


def answer_for(case: Case, stated: DeviceAnswer, now: datetime) -> RadioactiveAnswer:
    """Say from which local day this person may be cremated, as far as radioactivity goes."""
    law = case.law
    advice = None
    if stated.adviser and stated.advised_on and stated.allowed_from:
        advice = Advice(stated.adviser, stated.advised_on, stated.allowed_from)
    return radioactive(
        "another nuclide" if stated.nuclide == "other" else stated.nuclide,
        # While it is not known how it came into the body, no wait for seeds is taken for it.
        Use(stated.nuclide_use or "dose"),
        stated.placed_on,
        timezone.localtime(now, case.facility.zone).date(),
        advice,
        wait_by_law(law),
        law.radioactive.is_enforced and law.radioactive.rule == "written_advice",
    )


def opens_at(case: Case, day: date) -> datetime:
    """Return when a local day begins at the facility."""
    return datetime.combine(day, time(), case.facility.zone)


def activity_now(case: Case, stated: DeviceAnswer, now: datetime) -> ActivityNow | None:
    """Return what is left of the stated activity; None where it cannot be reckoned.

    Of the reference only the day is known, so its last moment counts: least has decayed then.
    """
    of = NUCLIDES.get(stated.nuclide)
    if of is None or stated.activity_mbq is None or stated.activity_on is None:
        return None
    reference = opens_at(case, stated.activity_on + timedelta(days=1))
    activity = Activity(of, stated.activity_mbq, exactly(reference))
    left = mbq_at(activity, max(now, reference))
    return ActivityNow(
        nuclide=of.key,
        stated_mbq=stated.activity_mbq,
        on=stated.activity_on,
        now_mbq=left,
        now_mci=convert(left, "megabecquerel", "millicurie"),
        source=of.source,
        note=of.note,
    )


@dataclass(frozen=True)
class Shown:
    """What a page shows of a radioactive person."""

    answer: RadioactiveAnswer
    activity: ActivityNow | None


def shown(case: Case, now: datetime) -> Shown | None:
    """Return what a page shows, or None where nothing radioactive is said to be in the body."""
    answers = [a for a in case.device_answers.all() if a.device == "radioactive"]
    if not answers or answers[-1].answer != "yes":
        return None
    stated = answers[-1]
    return Shown(answer_for(case, stated, now), activity_now(case, stated, now))
