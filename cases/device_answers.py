"""What a new answer to a device question changes, what it must hold, and how an entry keeps it."""

import json
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from cases import device_rules
from cases.errors import ActRefused
from cases.models import HARMLESS, STAYS_BY_LAW, DeviceAnswer

YES = DeviceAnswer.Answer.YES
RADIOACTIVE = DeviceAnswer.Device.RADIOACTIVE
SEEDS = DeviceAnswer.Use.SEEDS
REMOVAL = ("removed_by", "removed_at", "went_to", "receipt_reference")
ATTESTATION = ("attested_by", "attester_licence")
# What each outcome must say, and no other outcome may.
DETAILS: dict[str, tuple[str, ...]] = {
    "removed": REMOVAL,
    "attested": ATTESTATION,
    "stays": ("stays_by_rule",),
}
ADVICE = ("adviser", "advised_on", "allowed_from")
ACTIVITY = ("activity_mbq", "activity_on")
NUCLIDE = ("nuclide", "nuclide_use", "placed_on", *ACTIVITY, *ADVICE)
# What decides how long a radioactive body waits.
WAIT = ("nuclide", "nuclide_use", "placed_on", *ADVICE)
STATED = ("answer", "outcome", *REMOVAL, *ATTESTATION, "stays_by_rule", *NUCLIDE)
KEPT = ("answer", "informant", *STATED[1:])
MISSING = {
    "removed": "A removal names by whom, when, where it went, and the receipt or box.",
    "attested": "An attestation names who attests it and their licence.",
    "stays": "What stays names the rule by which it is harmless.",
}


def lowers(before: Sequence[DeviceAnswer], new: DeviceAnswer) -> bool:
    """True where a device once said to be there would no longer stop the case.

    `before` are all earlier answers to the same question, oldest first: a "yes" that was hidden
    by "not known" meanwhile still counts. So does an outcome that is stated for the first time or
    otherwise than before, and any change of what decides how long a radioactive body waits:
    an adviser's later day that is emptied lets a published wait count again.
    """
    if all(answer.answer != YES for answer in before):
        return False
    if new.answer != YES:
        return True
    last = before[-1]
    outcomes = _before_and_now(last, new, ("outcome", *DETAILS.get(new.outcome, ())))
    waits = _before_and_now(last, new, WAIT)
    return any(now and now != was for was, now in outcomes) or any(now != was for was, now in waits)


def takes_back(before: Sequence[DeviceAnswer], new: DeviceAnswer) -> bool:
    """True where a lowering answer unsays what was stated, and so needs a reason as well."""
    if not lowers(before, new):
        return False
    waits = _before_and_now(before[-1], new, WAIT)
    return new.answer != YES or any(was and now != was for was, now in waits)


def _before_and_now(
    last: DeviceAnswer, new: DeviceAnswer, names: Sequence[str]
) -> list[tuple[Any, Any]]:
    return [(getattr(last, name), getattr(new, name)) for name in names]


def check(answer: DeviceAnswer, now: datetime) -> None:
    """Refuse an answer that is half stated, not possible, or lies in the future.

    That a device is there may always be said without its outcome: the gate asks for that.
    """
    if answer.outcome and answer.answer != YES:
        raise ActRefused("outcome_not_allowed", "Only a device that is there has an outcome.")
    for outcome, names in DETAILS.items():
        said = [bool(getattr(answer, name)) for name in names]
        if answer.outcome == outcome and not all(said):
            raise ActRefused("outcome_unfinished", MISSING[outcome])
        if answer.outcome != outcome and any(said):
            raise ActRefused("outcome_unfinished", f"Choose what became of it. {MISSING[outcome]}")
    if answer.device not in device_rules.asked(answer.case.law):
        raise ActRefused(
            "device_not_asked",
            f"{answer.get_device_display()}: not asked apart under this law; it counts among the "
            "pacemakers.",
        )
    if answer.outcome == "stays" and answer.device not in (*HARMLESS, *STAYS_BY_LAW):
        raise ActRefused(
            "outcome_not_allowed",
            f"{answer.get_device_display()}: never stays. A battery or a sealed device bursts.",
        )
    _check_nuclide(answer)
    _check_times(answer, now)


def _check_nuclide(answer: DeviceAnswer) -> None:
    if any(getattr(answer, name) for name in NUCLIDE) and not (
        answer.device == RADIOACTIVE and answer.answer == YES
    ):
        raise ActRefused("outcome_not_allowed", "A nuclide belongs to a radioactive implant.")
    if answer.device == RADIOACTIVE and answer.outcome and answer.nuclide_use != SEEDS:
        raise ActRefused(
            "outcome_not_allowed",
            "Only sealed seeds can be removed; a dose is in the whole body. Say which it was.",
        )
    if (answer.activity_mbq is None) != (answer.activity_on is None):
        raise ActRefused("outcome_unfinished", "State the activity together with its day.")
    if answer.activity_mbq is not None and answer.activity_mbq <= 0:
        raise ActRefused("outcome_unfinished", "An activity lies above zero.")
    said = [bool(getattr(answer, name)) for name in ADVICE]
    if any(said) and not all(said):
        raise ActRefused(
            "outcome_unfinished",
            "Written advice names the adviser, its day, and from which day it is allowed.",
        )


def _check_times(answer: DeviceAnswer, now: datetime) -> None:
    today = timezone.localtime(now, answer.case.facility.zone).date()
    days: list[date | None] = [answer.placed_on, answer.activity_on, answer.advised_on]
    if answer.removed_at and answer.removed_at > now:
        raise ActRefused("time_future", "The removal lies in the future. Correct it.")
    if any(day and day > today for day in days):
        raise ActRefused("time_future", "A day lies in the future. Correct it.")


def sealed_text(answer: DeviceAnswer) -> str:
    """Return the answer as its entry seals it: JSON of what was stated, times as ISO 8601.

    What a dead person carried in their body is no less personal than their name.
    """
    stated: dict[str, Any] = {name: getattr(answer, name) for name in KEPT}
    plain = {
        name: value.isoformat() if hasattr(value, "isoformat") else str(value)
        for name, value in stated.items()
        if value
    }
    return json.dumps(plain, ensure_ascii=False)
