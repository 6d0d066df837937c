"""Keeping what controllers answer: each answer at once, packed into blocks when enough came.

A silence leaves nothing but its own mark: no value is ever filled into a gap.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta

from django.db import transaction

from retort_log import recorded
from retort_log.blocks import BLOCK_SAMPLES
from retort_log.logger_acts import store
from retort_log.models import Controller, ControllerState, LiveSample, Retort

# What is older than this is packed even where less than a block came together.
PACK_AFTER = timedelta(hours=1)
# A controller is taken for silent when it did not answer for this long.
SILENT_AFTER = timedelta(seconds=30)
TROUBLE_LENGTH = 300


def keep_answer(controller: Controller, at: datetime, tenths: Mapping[str, int | None]) -> None:
    """Store one answer of a controller, with the moment at which it came."""
    with transaction.atomic():
        LiveSample.objects.get_or_create(
            retort_id=controller.retort_id,
            at_ms=recorded.to_ms(at),
            defaults={"tenths": dict(tenths)},
        )
        ControllerState.objects.update_or_create(
            controller=controller,
            defaults={
                "asked_at": at,
                "answered_at": at,
                "values": dict(tenths),
                "trouble": "",
            },
        )


def keep_silence(controller: Controller, at: datetime, why: str) -> None:
    """Note that a controller gave no answer, and why; when it last answered stays on record."""
    ControllerState.objects.update_or_create(
        controller=controller,
        defaults={"asked_at": at, "trouble": why[:TROUBLE_LENGTH]},
    )


def pack_ripe(controller: Controller, now: datetime, *, everything: bool = False) -> int:
    """Pack live samples into blocks where a block is full or old; return how many were packed.

    With `everything`, also what is neither: before a controller is set up otherwise.
    """
    retort = controller.retort
    with transaction.atomic():
        Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
        rows = list(
            LiveSample.objects.filter(retort=retort)
            .order_by("at_ms")
            .values_list("at_ms", "tenths")
        )
        if not rows or not (everything or _is_ripe(rows[0][0], len(rows), now)):
            return 0
        for series in recorded.packable(rows):
            store(retort, series, now, controller=controller)
        LiveSample.objects.filter(retort=retort, at_ms__lte=rows[-1][0]).delete()
        return len(rows)


def is_silent(state: ControllerState | None, now: datetime) -> bool:
    """Return whether a controller that is switched on should have answered by now."""
    answered = state.answered_at if state else None
    return answered is None or now - answered > SILENT_AFTER


def _is_ripe(first_ms: int, count: int, now: datetime) -> bool:
    return count >= BLOCK_SAMPLES or now - recorded.from_ms(first_ms) > PACK_AFTER
