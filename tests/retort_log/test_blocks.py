"""Blocks of readings: exact both ways, small, and one digest however a series is cut."""

import hashlib
import json
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log.blocks import (
    BLOCK_SAMPLES,
    DIGEST_HEAD,
    MAGIC,
    NO_VALUE,
    BlockError,
    Channel,
    Series,
    cut,
    in_steps,
    joined,
    pack,
    series_of,
    series_sha256,
    steps_needed,
    unpack,
)

CHANNELS = (Channel("primary", "degF"), Channel("oxygen", "%", 100))
START = 1_772_542_800_000


def series(times: list[int], rows: list[list[int]]) -> Series:
    return Series(CHANNELS, np.array(times, np.int64), np.array(rows, np.int32).reshape(-1, 2))


def alike(one: Series, other: Series) -> bool:
    return (
        one.channels == other.channels
        and np.array_equal(one.times_ms, other.times_ms)
        and np.array_equal(one.steps, other.steps)
    )


SMALL = series([START, START + 1000, START + 3000], [[15000, 1020], [15001, NO_VALUE], [14990, 0]])

steps = st.one_of(st.integers(-(2**31) + 1, 2**31 - 1), st.integers(-200, 200), st.just(NO_VALUE))


@st.composite
def any_series(draw: st.DrawFn) -> Series:
    times = draw(
        st.one_of(
            st.lists(st.integers(-(2**61), 2**61), min_size=1, max_size=60, unique=True).map(
                sorted
            ),
            st.integers(1, 60).map(lambda n: [START + 1000 * i for i in range(n)]),
        )
    )
    rows = draw(
        st.lists(st.lists(steps, min_size=2, max_size=2), min_size=len(times), max_size=len(times))
    )
    return series(times, rows)


@settings(max_examples=200, deadline=None)
@given(any_series())
def test_a_block_gives_back_exactly_what_went_in(whole: Series) -> None:
    packed = pack(whole)
    assert alike(unpack(packed.body, packed.sha256), whole)
    assert (packed.count, packed.started_at, packed.ended_at) == (
        len(whole.times_ms),
        whole.times_ms[0],
        whole.times_ms[-1],
    )


@settings(deadline=None)
@given(any_series(), st.integers(1, 20), st.integers(1, 20))
def test_the_digest_of_a_series_does_not_know_where_it_was_cut(
    whole: Series, one: int, other: int
) -> None:
    digests = {series_sha256([whole])}
    for longest in (one, other):
        parts = [unpack(packed.body, packed.sha256) for packed in cut(whole, longest)]
        assert all(len(part.times_ms) <= longest for part in parts)
        assert alike(joined(parts), whole)
        digests.add(series_sha256(parts))
    assert len(digests) == 1


def test_the_digest_is_that_of_the_bytes_that_are_described() -> None:
    told = json.dumps([["primary", "degF", 10], ["oxygen", "%", 100]], separators=(",", ":"))
    plain = DIGEST_HEAD + told.encode() + b"\n"
    for at, row in zip(SMALL.times_ms, SMALL.steps, strict=True):
        plain += struct.pack(">qii", at, *row)
    assert pack(SMALL).sha256 == hashlib.sha256(plain).hexdigest()


def test_the_digest_knows_every_value_time_unit_and_order() -> None:
    others = [
        series([START, START + 1000, START + 3001], SMALL.steps.tolist()),
        series(SMALL.times_ms.tolist(), [[15000, 1020], [15001, 0], [14990, 0]]),
        Series((CHANNELS[0], Channel("oxygen", "%", 10)), SMALL.times_ms, SMALL.steps),
        Series((Channel("primary", "degC"), CHANNELS[1]), SMALL.times_ms, SMALL.steps),
        Series(CHANNELS, SMALL.times_ms[:2], SMALL.steps[:2]),
    ]
    assert len({series_sha256([one]) for one in [SMALL, *others]}) == len(others) + 1


def test_parts_that_do_not_follow_one_another_have_no_digest() -> None:
    for parts in (
        [],
        [SMALL, SMALL],
        [SMALL, Series(CHANNELS[::-1], SMALL.times_ms + 9999, SMALL.steps)],
    ):
        with pytest.raises(BlockError):
            series_sha256(parts)
        with pytest.raises(BlockError):
            joined(parts)


@pytest.mark.parametrize(
    "wrong",
    [
        series([], []),
        series([START, START], [[1, 1], [1, 1]]),
        series([START, START - 1], [[1, 1], [1, 1]]),
        series([START], [[1, 1], [1, 1]]),
        Series((), SMALL.times_ms, np.empty((3, 0), np.int32)),
        Series((CHANNELS[0], CHANNELS[0]), SMALL.times_ms, SMALL.steps),
        Series((CHANNELS[0], Channel("x", "", 0)), SMALL.times_ms, SMALL.steps),
        Series(CHANNELS, SMALL.times_ms.astype(np.float64), SMALL.steps),
        Series(CHANNELS, SMALL.times_ms, np.full((3, 2), np.nan)),
    ],
)
def test_what_is_no_series_is_not_packed(wrong: Series) -> None:
    with pytest.raises(BlockError):
        pack(wrong)
    with pytest.raises(BlockError):
        list(cut(wrong))


def test_no_value_becomes_the_mark_and_infinity_is_refused() -> None:
    assert in_steps(np.array([1500.04, np.nan, -0.06])).tolist() == [15000, NO_VALUE, -1]
    for wrong in (np.inf, -np.inf, 1e12):
        with pytest.raises(BlockError):
            in_steps(np.array([1.0, wrong]))
    values = Series(CHANNELS, SMALL.times_ms, SMALL.steps).values()
    assert values[0].tolist() == [1500.0, 10.2]
    assert np.isnan(values[1, 1])


@pytest.mark.parametrize(
    ("value", "needed"), [(1.5, 10), (1.55, 100), (1.555, 1000), (1 / 3, 1000)]
)
def test_as_many_steps_as_keep_every_value(value: float, needed: int) -> None:
    assert steps_needed(np.array([1.0, value, np.nan])) == needed


def test_readings_become_a_series_that_keeps_them_as_they_were() -> None:
    values = np.array([[1500.5, 10.25], [np.nan, 10.0]])
    made = series_of(("primary", "oxygen"), ("degF", "%"), np.array([START, START + 1]), values)
    assert made.channels == CHANNELS
    assert np.array_equal(unpack(pack(made).body).values(), values, equal_nan=True)


@given(st.lists(st.integers(-99_999, 99_999), min_size=1), st.sampled_from([10, 100, 1000]))
def test_values_come_back_as_the_numbers_they_were(whole: list[int], per_unit: int) -> None:
    values = np.array([float(f"{n / per_unit}") for n in whole])
    kept = in_steps(values, per_unit)
    assert (kept / per_unit == values).all()


def test_no_flipped_byte_goes_unseen() -> None:
    packed = pack(SMALL)
    for at in range(len(packed.body)):
        spoilt = bytearray(packed.body)
        spoilt[at] ^= 0x41
        with pytest.raises(BlockError):
            unpack(bytes(spoilt), packed.sha256)


@pytest.mark.parametrize("keep", [0, 3, 8, 9, 20, -1])
def test_a_block_cut_short_is_refused(keep: int) -> None:
    with pytest.raises(BlockError):
        unpack(pack(SMALL).body[:keep])


def test_a_block_with_something_behind_it_is_refused() -> None:
    with pytest.raises(BlockError):
        unpack(pack(SMALL).body + b"x")


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=80), st.integers(0, 5))
def test_no_bytes_do_worse_than_be_refused(inside: bytes, count: int) -> None:
    for body in (inside, MAGIC + struct.pack(">I", count) + zlib.compress(inside)):
        with pytest.raises(BlockError):
            unpack(body)


def test_a_small_block_cannot_swell() -> None:
    swollen = MAGIC + struct.pack(">I", 3) + zlib.compress(b"\0" * 50_000_000)
    with pytest.raises(BlockError):
        unpack(swollen)


def test_another_block_is_not_taken_for_this_one() -> None:
    other = pack(series([START], [[1, 2]]))
    with pytest.raises(BlockError, match="digest"):
        unpack(pack(SMALL).body, other.sha256)


def noisy_hours(hours: int) -> Series:
    """A reading a second of four channels; noise of neighbouring seconds hangs together."""
    rng, count = np.random.default_rng(3), 3600 * hours
    columns = []
    for level, swing, noise in ((1600, 80, 1.5), (1650, 40, 1.5), (550, 30, 2.0), (10, 2, 0.1)):
        rough = np.convolve(rng.normal(0, noise, count + 9), np.ones(10) / 3, "valid")
        columns.append(level + swing * np.sin(np.arange(count) / 900) + rough)
    names = (("primary", "degF"), ("secondary", "degF"), ("stack", "degF"), ("oxygen", "%"))
    return Series(
        tuple(Channel(*name) for name in names),
        START + 1000 * np.arange(count, dtype=np.int64),
        in_steps(np.stack(columns, axis=1)),
    )


def test_a_year_of_noisy_readings_every_second_stays_under_200_mb() -> None:
    whole = noisy_hours(6)
    packed = list(cut(whole))
    assert [one.count for one in packed] == [BLOCK_SAMPLES] * 6
    year = sum(len(one.body) for one in packed) / len(whole.times_ms) * 365 * 86_400
    assert year < 120e6  # bytes, with room to 200 MB
