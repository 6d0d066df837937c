"""Hands and recorders read together: newest values, gaps, the digest of a run's series."""

import hashlib
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from cases.models import Case
from chain_of_custody import trail
from chain_of_custody.canonical import canonical_bytes
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import StaffMember
from retort_log import blocks, recorded
from retort_log.blocks import Channel, Series
from retort_log.models import (
    Controller,
    LiveSample,
    Logger,
    LoggerFile,
    ReadingBlock,
    Retort,
)
from tests import cast

pytestmark = pytest.mark.django_db
AT = cast.START
MINUTE = timedelta(minutes=1)
CHANNELS = (Channel("primary", "degC"), Channel("secondary", "degF"))


def series(start: datetime, values: list[tuple[float, float]], every: timedelta = MINUTE) -> Series:
    """Return readings of both chambers, one after the other from `start` on."""
    times = [recorded.to_ms(start + n * every) for n in range(len(values))]
    steps = blocks.in_steps(np.array(values, np.float64).reshape(-1, 2))
    return Series(CHANNELS, np.array(times, np.int64), steps)


def keep(
    retort: Retort,
    member: StaffMember,
    found: Series,
    longest: int = 3600,
    kept_at: datetime | None = None,
) -> None:
    """Store a series as a logger's file would be; kept when it ended unless said otherwise."""
    logger, _ = Logger.objects.get_or_create(retort=retort, name="logger")
    first, last = (recorded.from_ms(int(found.times_ms[i])) for i in (0, -1))
    file = LoggerFile.objects.create(
        logger=logger,
        original_name="log.csv",
        stored_name="x",
        size=1,
        sha256=f"{first:%Y%m%d%H%M%S}{longest}",
        mapping={},
        starts_at=first,
        ends_at=last,
        taken=len(found.times_ms),
        kept_at=kept_at or last,
        kept_by=member,
    )
    for packed in blocks.cut(found, longest):
        ReadingBlock.objects.create(
            retort=retort,
            file=file,
            starts_at=recorded.from_ms(packed.started_at),
            ends_at=recorded.from_ms(packed.ended_at),
            count=packed.count,
            channels=[[c.name, c.unit, c.per_unit] for c in found.channels],
            body=packed.body,
            sha256=packed.sha256,
            stored_at=last,
        )


def test_the_newest_of_hand_and_recorder_counts(retort: Retort, operator: StaffMember) -> None:
    keep(retort, operator, series(AT, [(600, 1500), (610, 1600)]))
    found = recorded.newest(retort, "secondary", AT + 5 * MINUTE)
    assert found == recorded.Newest(AT + MINUTE, Decimal("871.11"), None)
    with clock.pinned(AT + 3 * MINUTE):
        typed = cast.read(retort, (Decimal("620"), Decimal("880")))
    found = recorded.newest(retort, "secondary", AT + 5 * MINUTE)
    assert found == recorded.Newest(typed.at, Decimal("880.00"), typed)
    # Asked of an earlier time, what came later is not known.
    found = recorded.newest(retort, "primary", AT)
    assert found == recorded.Newest(AT, Decimal("600.00"), None)


def test_an_empty_value_is_no_value(retort: Retort, operator: StaffMember) -> None:
    keep(retort, operator, series(AT, [(600, 1500), (610, float("nan"))]))
    found = recorded.newest(retort, "secondary", AT + MINUTE)
    assert found is not None
    assert (found.at, found.celsius) == (AT, Decimal("815.56"))
    assert recorded.times(retort, AT, AT + MINUTE) == [AT]


def test_live_samples_count_before_they_are_packed(retort: Retort) -> None:
    LiveSample.objects.create(
        retort=retort,
        at_ms=recorded.to_ms(AT),
        tenths={"primary degC": 6000, "secondary degC": 8712},
    )
    found = recorded.newest(retort, "secondary", AT + MINUTE)
    assert found == recorded.Newest(AT, Decimal("871.20"), None)


@pytest.mark.parametrize("longest", [1, 7, 3600])
def test_the_digest_does_not_depend_on_how_samples_are_kept(
    retort: Retort, operator: StaffMember, longest: int
) -> None:
    values = [(600.0 + n, 1600.0 - n) for n in range(20)]
    whole = series(AT, values)
    keep(retort, operator, whole, longest)
    found = recorded.digest(retort, AT, AT + timedelta(hours=1))
    told = {"channels": [["primary", "degC", 10], ["secondary", "degF", 10]], "count": 20}
    assert found[1] == 20
    text = canonical_bytes(
        {"recorded": [told | {"sha256": blocks.series_sha256([whole])}], "hand": []}
    )
    assert found[0] == hashlib.sha256(text).hexdigest()


def test_a_gap_of_hands_that_a_recorder_fills_is_none(
    retort: Retort, operator: StaffMember
) -> None:
    end, every = AT + 60 * MINUTE, timedelta(minutes=15)
    with clock.pinned(AT):
        cast.read(retort, (Decimal("620"), Decimal("880")))
    assert recorded.gaps(retort, AT, end, every) == [(AT, end)]
    keep(retort, operator, series(AT + MINUTE, [(600, 1600)] * 30))
    assert recorded.gaps(retort, AT, end, every) == [(AT + 30 * MINUTE, end)]
    keep(retort, operator, series(AT + 31 * MINUTE, [(600, 1600)] * 30))
    assert recorded.gaps(retort, AT, end, every) == []


def test_a_window_has_each_channel_in_its_unit(retort: Retort, operator: StaffMember) -> None:
    keep(retort, operator, series(AT, [(600, 1500), (610, 1600)], timedelta(seconds=1)))
    found = recorded.window(retort, AT, AT + MINUTE)
    assert found.traces["secondary"].unit == "degF"
    assert found.traces["secondary"].values.tolist() == [1500.0, 1600.0]
    assert found.traces["primary"].seconds.tolist() == [AT.timestamp(), AT.timestamp() + 1]
    assert found.hand == {}


def test_a_charge_by_a_recorders_reading_and_its_series_in_the_trail(
    case: Case, operator: StaffMember
) -> None:
    cast.bring(case, "tagged")
    at = cast.time_of("charge", case)
    for retort in Retort.objects.filter(facility=case.facility):
        keep(retort, operator, series(at - 5 * MINUTE, [(600, 1650)] * 6))
    cast.do("charge", case)
    # The hand read at the very same time: what the recorder wrote counts.
    assert (case.run.charge_reading, case.run.charge_temperature_c) == (None, Decimal("898.89"))
    cast.do("burner_off", case)
    case.run.refresh_from_db()
    facts = trail.facts_of(CustodyEntry.objects.get(act="burner_off"))
    assert facts["series_sha256"] == case.run.series_sha256
    assert facts["series_count"] > 0
    assert case.run.burner_off_at is not None
    again = recorded.digest(case.run.retort, case.run.charged_at, case.run.burner_off_at)
    assert again[0] == case.run.series_sha256


def test_a_controller_needs_no_block_to_be_asked(retort: Retort) -> None:
    Controller.objects.create(retort=retort, host="127.0.0.1")
    assert recorded.newest(retort, "primary", AT) is None
    assert recorded.parts(retort, AT, AT + MINUTE) == []
