"""Series of readings in blocks of bytes, exactly, and the digest of a whole series. Pure.

A series has times (ms since 1970 UTC, strictly increasing) and for each channel a whole number
of its steps, `1 / per_unit` of its unit (tenths where nothing else is said), or NO_VALUE.

Body of a block: `MAGIC`, the number of samples (4 bytes, big-endian), then compressed by zlib:
the length of the head (2 bytes) and the head, JSON of the channels; the first time (8 bytes)
and the second differences of the times; for each channel its first value (8 bytes), the
differences of its values, and a bit for every sample without value. Differences are their width
in bytes (1 byte) and then whole numbers of that width, two's complement, the lowest bytes of all
first, then all next ones.

**Digest.** SHA-256 over `DIGEST_HEAD`, the head and a line feed, and then each sample: time (8
bytes) and a value for each channel (4 bytes), two's complement, big-endian. Samples follow one
another without any sign of a block, so a series has the same digest however it is cut; the
digest of a block is that of the series that consists of it alone.
"""

import hashlib
import json
import struct
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MAGIC = b"RLB1"
DIGEST_HEAD = b"retort-log series 1\n"
NO_VALUE = -(2**31)
# An hour at a reading a second: shorter blocks cost more for their heads, longer ones gain no
# more than two parts in a hundred and make every question about a minute read more.
BLOCK_SAMPLES = 3_600
MOST_SAMPLES = 1_000_000
MOST_CHANNELS = 512
# By measurement on noisy readings: level 9 is as large, levels below 4 are larger by 2 %; a
# strategy for filtered data and a table of codes for each channel save 5 %.
LEVEL, STRATEGY = 6, zlib.Z_FILTERED
_WIDTHS = (1, 2, 4, 8)
_MOST_STEPS = 2**31 - 1

Times = NDArray[np.int64]
Steps = NDArray[np.int32]


class BlockError(ValueError):
    """Readings that cannot be packed, or bytes that are no whole block; the message says why."""


@dataclass(frozen=True)
class Channel:
    """What one column of values is: its name, its unit and how many steps make one unit."""

    name: str
    unit: str
    per_unit: int = 10


@dataclass(frozen=True, eq=False)
class Series:
    """Times and values, a row for each time and a column for each channel."""

    channels: tuple[Channel, ...]
    times_ms: Times
    steps: Steps

    def values(self) -> NDArray[np.float64]:
        """The values in the channels' units; NaN for no value."""
        per_unit = np.array([channel.per_unit for channel in self.channels], np.float64)
        return np.where(self.steps == NO_VALUE, np.nan, self.steps / per_unit)


@dataclass(frozen=True)
class Packed:
    """One block, ready to be stored; times are ms since 1970 UTC, both ends included."""

    body: bytes
    count: int
    started_at: int
    ended_at: int
    sha256: str


def in_steps(values: NDArray[np.float64], per_unit: int = 10) -> Steps:
    """The nearest whole numbers of steps; NaN becomes NO_VALUE.

    Raises BlockError for an infinite value and for one too large to be kept.
    """
    empty = np.isnan(values)
    scaled = np.rint(np.where(empty, 0.0, values) * per_unit)
    if not (np.abs(scaled) <= _MOST_STEPS).all():
        raise BlockError("A value is infinite or too large to be kept.")
    return np.where(empty, NO_VALUE, scaled).astype(np.int32)


def steps_needed(values: NDArray[np.float64], most: int = 1_000) -> int:
    """The fewest steps in a unit (10, 100, ... `most`) that keep every value as it was written.

    `most` where none does.
    """
    known = values[~np.isnan(values)]
    per_unit = 10
    while per_unit < most and not (np.rint(known * per_unit) / per_unit == known).all():
        per_unit *= 10
    return per_unit


def series_of(
    names: Sequence[str], units: Sequence[str], times_ms: Times, values: NDArray[np.float64]
) -> Series:
    """Readings as a series, each channel in as many steps as keep its values as they were.

    Values finer than a thousandth of their unit are rounded to it. Raises BlockError.
    """
    per_unit = [steps_needed(column) for column in values.T]
    columns = [in_steps(column, steps) for column, steps in zip(values.T, per_unit, strict=True)]
    channels = tuple(map(Channel, names, units, per_unit))
    series = Series(channels, times_ms, np.stack(columns, axis=1))
    _check(series)
    return series


def pack(series: Series) -> Packed:
    """Pack samples into one block. Raises BlockError for what is no series."""
    _check(series)
    times, steps = series.times_ms, series.steps
    head = _head(series.channels)
    changes = np.diff(np.diff(times), prepend=0)
    start = struct.pack(">H", len(head)) + head + struct.pack(">q", times[0])
    parts = [start + _differences(changes)]
    for column in steps.T:
        carried = _carried(column)
        first = struct.pack(">q", carried[0])
        parts.append(first + _differences(np.diff(carried)) + _bits(column == NO_VALUE))
    return Packed(
        body=MAGIC + struct.pack(">I", len(times)) + _deflated(parts),
        count=len(times),
        started_at=int(times[0]),
        ended_at=int(times[-1]),
        sha256=series_sha256([series]),
    )


def unpack(body: bytes, sha256: str | None = None) -> Series:
    """Read a block again, exactly. With `sha256`, the digest that `pack` gave is checked too.

    Raises BlockError, and nothing else, for bytes that are no whole block.
    """
    try:
        series = _unpacked(body)
        _check(series)
    except BlockError:
        raise
    except (ValueError, TypeError, RecursionError, struct.error, zlib.error) as error:
        raise BlockError(f"The block is damaged: {error}") from error
    if sha256 is not None and series_sha256([series]) != sha256:
        raise BlockError("The block is not the one that was packed: its digest differs.")
    return series


def cut(series: Series, longest: int = BLOCK_SAMPLES) -> Iterator[Packed]:
    """Pack a series into blocks of at most `longest` samples, in the order of time."""
    _check(series)
    for at in range(0, len(series.times_ms), longest):
        rows = slice(at, at + longest)
        yield pack(Series(series.channels, series.times_ms[rows], series.steps[rows]))


def joined(parts: Iterable[Series]) -> Series:
    """Parts in the order of time as one series. Raises BlockError if they do not fit together."""
    parts = list(parts)
    if not parts or any(part.channels != parts[0].channels for part in parts):
        raise BlockError("Blocks of one series must have the same channels.")
    series = Series(
        parts[0].channels,
        np.concatenate([part.times_ms for part in parts]),
        np.concatenate([part.steps for part in parts]),
    )
    _check(series)
    return series


def series_sha256(parts: Iterable[Series]) -> str:
    """The digest of a series that comes in parts, in the order of time; as hexadecimal.

    It does not depend on where the parts end. Raises BlockError for no part, and for parts that
    do not have the same channels or do not follow one another.
    """
    digest, channels, last = hashlib.sha256(DIGEST_HEAD), None, None
    for part in parts:
        _check(part)
        if channels is None:
            channels = part.channels
            digest.update(_head(channels) + b"\n")
        if part.channels != channels or (last is not None and part.times_ms[0] <= last):
            raise BlockError("Blocks of one series have the same channels and follow one another.")
        last = part.times_ms[-1]
        rows = np.empty(len(part.times_ms), [("t", ">i8"), ("v", ">i4", (len(channels),))])
        rows["t"], rows["v"] = part.times_ms, part.steps
        digest.update(rows.tobytes())
    if channels is None:
        raise BlockError("A series needs a sample.")
    return digest.hexdigest()


def _check(series: Series) -> None:
    times, steps, channels = series.times_ms, series.steps, series.channels
    if times.dtype != np.int64 or steps.dtype != np.int32:
        raise BlockError("Times are whole ms (int64) and values whole steps (int32).")
    if not 0 < len(channels) <= MOST_CHANNELS or steps.shape != (len(times), len(channels)):
        raise BlockError("There must be a value, or the mark for none, for every time and channel.")
    if not all(_is_sound(channel) for channel in channels):
        raise BlockError("A channel needs a name, a unit and a number of steps above nought.")
    if len({channel.name for channel in channels}) < len(channels):
        raise BlockError("Two channels have the same name.")
    if not 0 < len(times) <= MOST_SAMPLES:
        raise BlockError(f"A block has between 1 and {MOST_SAMPLES:,} samples.")
    if not (times[1:] > times[:-1]).all():
        raise BlockError("The times do not increase from sample to sample.")


def _is_sound(channel: Channel) -> bool:
    named = isinstance(channel.name, str) and isinstance(channel.unit, str)
    return named and isinstance(channel.per_unit, int) and channel.per_unit > 0


def _head(channels: tuple[Channel, ...]) -> bytes:
    told = [[channel.name, channel.unit, channel.per_unit] for channel in channels]
    return json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()


def _deflated(parts: Iterable[bytes]) -> bytes:
    """Compress parts, each with its own table of codes: channels differ in their noise."""
    deflate = zlib.compressobj(LEVEL, strategy=STRATEGY)
    pieces = [deflate.compress(part) + deflate.flush(zlib.Z_SYNC_FLUSH) for part in parts]
    return b"".join(pieces) + deflate.flush()


def _differences(numbers: NDArray[np.int64]) -> bytes:
    width = next(w for w in _WIDTHS if _fits(numbers, w))
    planes = numbers.astype(f"<i{width}").view(np.uint8).reshape(-1, width).T
    return bytes([width]) + planes.tobytes()


def _fits(numbers: NDArray[np.int64], width: int) -> bool:
    limits = np.iinfo(f"i{width}")
    return bool(((numbers >= limits.min) & (numbers <= limits.max)).all())


def _bits(flags: NDArray[np.bool_]) -> bytes:
    return np.packbits(flags).tobytes()


class _Reader:
    """What was compressed, from front to back. Raises BlockError where it ends too soon."""

    def __init__(self, body: bytes) -> None:
        if len(body) < 8 or not body.startswith(MAGIC):
            raise BlockError("These bytes are no block of readings.")
        (self.count,) = struct.unpack(">I", body[4:8])
        if not 0 < self.count <= MOST_SAMPLES:
            raise BlockError("The block is damaged: its number of samples cannot be.")
        self._inflate = zlib.decompressobj()
        self._rest = body[8:]

    def take(self, length: int) -> bytes:
        """The next bytes; never more is inflated than is asked for."""
        found = b""
        while len(found) < length:
            piece = self._inflate.decompress(self._rest, length - len(found))
            self._rest = self._inflate.unconsumed_tail
            if not piece:
                raise BlockError("The block is damaged: it ends too soon.")
            found += piece
        return found

    def number(self) -> int:
        """A whole number of 8 bytes."""
        return int(struct.unpack(">q", self.take(8))[0])

    def differences(self, count: int) -> NDArray[np.int64]:
        """So many differences."""
        width = self.take(1)[0]
        if width not in _WIDTHS:
            raise BlockError("The block is damaged: a width cannot be.")
        planes = np.frombuffer(self.take(width * count), np.uint8).reshape(width, count)
        return np.ascontiguousarray(planes.T).view(f"<i{width}").reshape(count).astype(np.int64)

    def bits(self) -> NDArray[np.bool_]:
        """A bit for each sample."""
        packed = np.frombuffer(self.take(-(-self.count // 8)), np.uint8)
        return np.unpackbits(packed, count=self.count).astype(np.bool_)

    def end(self) -> None:
        """Nothing may follow, and zlib's own check sum must be there and right."""
        if self._inflate.decompress(self._rest, 1) or not self._inflate.eof:
            raise BlockError("The block is damaged: its end is missing or something follows it.")
        if self._inflate.unused_data:
            raise BlockError("The block is damaged: something follows its end.")


def _summed(differences: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate(([0], np.cumsum(differences)))


def _unpacked(body: bytes) -> Series:
    reader = _Reader(body)
    (length,) = struct.unpack(">H", reader.take(2))
    channels = tuple(Channel(*told) for told in json.loads(reader.take(length)))
    if not 0 < len(channels) <= MOST_CHANNELS:
        raise BlockError("The block is damaged: its channels cannot be.")
    first, changes = reader.number(), reader.differences(reader.count - 1)
    times = first + _summed(np.cumsum(changes))
    steps = np.empty((reader.count, len(channels)), np.int32)
    for column in range(len(channels)):
        value = reader.number() + _summed(reader.differences(reader.count - 1))
        if not _fits(value, 4):
            raise BlockError("The block is damaged: a value is too large.")
        steps[:, column] = np.where(reader.bits(), NO_VALUE, value)
    reader.end()
    return Series(channels, times, steps)


def _carried(column: Steps) -> NDArray[np.int64]:
    """The values with every empty place holding the last value before it, so that it costs little.

    Which places are empty is kept apart; what stands there is never read as a value.
    """
    known = column != NO_VALUE
    last = np.maximum.accumulate(np.where(known, np.arange(len(column)), -1))
    return np.where(last >= 0, column[last], 0).astype(np.int64)
