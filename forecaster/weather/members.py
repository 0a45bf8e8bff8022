"""An ensemble forecast: the same days told many times by one model, and how it is kept in one small blob."""

from __future__ import annotations

import json
import lzma
import struct
import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.errors import StorageError
from forecaster.weather.frame import VARIABLES, WeatherSource

Values = npt.NDArray[np.float32]


@dataclass(frozen=True)
class MemberWeather:
    """All members of one run of one ensemble model at one place.

    ``values``: canonical variables (of ``frame.VARIABLES``), each float32, shape (member, hour), NaN = missing; row 0 is the control
    run. Members of one run are exchangeable; member 7 of another run, or of another model, is no continuation of member 7 of this one:
    never join members across frames, only what is counted over all of them. A member is one story: its variables belong together.
    ``hours``: UTC starts of hours, without gaps. ``step_hours``: int8, shape (hour,), the step that the model resolves; where it is
    above 1, hours are spread from that step: day sums hold, the intensity and the count of wet hours within a step do not.
    """

    values: Mapping[str, Values]
    hours: pd.DatetimeIndex
    step_hours: npt.NDArray[np.int8]
    source: WeatherSource
    issued_at: datetime
    model: str
    wind_height_m: float
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.values or not set(self.values) <= set(VARIABLES):
            raise ValueError(f"ensemble weather needs variables out of {VARIABLES}")
        shapes = {array.shape for array in self.values.values()}
        if len(shapes) != 1 or len(next(iter(shapes))) != 2 or any(array.dtype != np.float32 for array in self.values.values()):
            raise ValueError("ensemble weather needs float32 of one shape (member, hour)")
        if next(iter(shapes))[1] != len(self.hours) or self.step_hours.shape != (len(self.hours),):
            raise ValueError("ensemble weather needs a value and a step for each hour")
        if str(self.hours.tz) != "UTC" or not (np.diff(self.hours.as_unit("s").asi8) == 3600).all():
            raise ValueError("ensemble weather needs every UTC hour once, in order")
        if self.issued_at.tzinfo is None:
            raise ValueError("issued_at needs a time zone")

    @property
    def members(self) -> int:
        """How many stories there are, the control run among them."""
        return int(next(iter(self.values.values())).shape[0])


# version (1 byte) | xz( header length (4 bytes, big endian) | header (JSON) | steps | variables )
# Exact: every float32 comes back bit for bit, NaN as NaN. Providers publish decimals, so a variable is kept as whole numbers of 1, 0.1,
# 0.01 or 0.001 units wherever that gives back the very same floats. Whole numbers are kept as changes from hour to hour (or as the
# changes of these, which is less where hours are spread from longer steps), small ones of either sign as small numbers, with their bytes
# sorted by weight. xz notices damage.
VERSION = 1
SCALES = (1, 10, 100, 1000)
_MISSING = np.iinfo(np.int32).min
_LARGEST = 2**31 - 1
_LENGTH = struct.Struct(">I")
# Bytes sorted by weight have no neighbours worth looking at: without them packing takes a quarter of the time and 5 % more room.
_XZ = [{"id": lzma.FILTER_LZMA2, "preset": 1, "lc": 0, "lp": 0, "pb": 0}]
_HINT = "Delete this issue of weather; the next pull brings a new one."


def encode_members(weather: MemberWeather) -> bytes:
    """Pack an ensemble into one blob, without loss."""
    packed = {name: _pack(array) for name, array in weather.values.items()}
    header = {
        "variables": [[name, scale, order] for name, (scale, order, _) in packed.items()],
        "members": weather.members,
        "start": int(weather.hours.as_unit("s").asi8[0]) if len(weather.hours) else 0,
        "hours": len(weather.hours),
        "index_unit": weather.hours.unit,
        "source": asdict(weather.source),
        "issued_at": weather.issued_at.astimezone(UTC).isoformat(),
        "model": weather.model,
        "wind_height_m": weather.wind_height_m,
        "notes": list(weather.notes),
    }
    head = json.dumps(header, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()
    body = b"".join(
        (_LENGTH.pack(len(head)), head, weather.step_hours.astype(np.int8).tobytes(), *(data for _, _, data in packed.values()))
    )
    return bytes([VERSION]) + lzma.compress(body, filters=_XZ)


def decode_members(blob: bytes) -> MemberWeather:
    """Unpack a blob. Raises: StorageError when it is damaged or of a version this program does not know."""
    if not blob or blob[0] != VERSION:
        found = f"version {blob[0]}" if blob else "nothing"
        raise StorageError(f"stored ensemble weather is {found}, this program reads version {VERSION}", hint=_HINT)
    try:
        return _unpack_all(lzma.decompress(blob[1:]))
    except (lzma.LZMAError, struct.error, ValueError, KeyError, TypeError) as error:
        raise StorageError(f"stored ensemble weather is damaged: {error}", hint=_HINT) from error


def _unpack_all(body: bytes) -> MemberWeather:
    (head_length,) = _LENGTH.unpack_from(body)
    at = _LENGTH.size + head_length
    header: Mapping[str, Any] = json.loads(body[_LENGTH.size : at])
    shape = (header["members"], header["hours"])
    steps = np.frombuffer(body, dtype=np.int8, count=shape[1], offset=at).copy()
    at += shape[1]
    size = 4 * shape[0] * shape[1]
    values = {}
    for name, scale, order in header["variables"]:
        values[name] = _unpack(body[at : at + size], shape, scale, order)
        at += size
    if at != len(body):
        raise ValueError("it is too long")
    stamps = (header["start"] + 3600 * np.arange(shape[1], dtype=np.int64)).astype("datetime64[s]")
    return MemberWeather(
        values=values,
        hours=pd.DatetimeIndex(stamps).as_unit(header["index_unit"]).tz_localize("UTC"),
        step_hours=steps,
        source=WeatherSource(**header["source"]),
        issued_at=datetime.fromisoformat(header["issued_at"]),
        model=header["model"],
        wind_height_m=header["wind_height_m"],
        notes=tuple(header["notes"]),
    )


def _pack(values: Values) -> tuple[int, int, bytes]:
    """The values as (scale, order of changes, bytes); scale 0 means the plain bits."""
    missing = np.isnan(values)
    exact = np.where(missing, np.float32(0.0), values).astype(np.float64)
    for scale in SCALES:
        scaled = np.rint(exact * scale)
        if (np.abs(scaled) >= _LARGEST).any():
            break
        whole = scaled.astype(np.int32)
        # Compare bits, not values: -0.0 equals 0.0 and would come back as another float.
        back = (whole / np.float64(scale)).astype(np.float32)
        if np.array_equal(back.view(np.int32)[~missing], np.ascontiguousarray(values).view(np.int32)[~missing]):
            whole[missing] = _MISSING
            first = _changes(whole.view(np.uint32))
            tried = ((scale, 1, _by_weight(_folded(first))), (scale, 2, _by_weight(_folded(_changes(first)))))
            return min(tried, key=lambda packed: len(zlib.compress(packed[2], 1)))
    return 0, 0, _by_weight(np.ascontiguousarray(values).view(np.uint32))


def _unpack(packed: bytes, shape: tuple[int, int], scale: int, order: int) -> Values:
    words = np.ascontiguousarray(np.frombuffer(packed, dtype=np.uint8).reshape(4, -1).T).view("<u4").astype(np.uint32).reshape(shape)
    if scale == 0:
        return words.view(np.float32)
    words = (words >> np.uint32(1)) ^ (np.uint32(0) - (words & np.uint32(1)))
    for _ in range(order):
        words = np.cumsum(words, axis=1, dtype=np.uint32)
    whole = words.view(np.int32)
    return np.where(whole == _MISSING, np.nan, whole / np.float64(scale)).astype(np.float32)


def _changes(words: npt.NDArray[np.uint32]) -> npt.NDArray[np.uint32]:
    """Changes from hour to hour, the first hour as it is; they wrap around, and back again when summed."""
    changes = words.copy()
    changes[:, 1:] -= words[:, :-1]
    return changes


def _folded(changes: npt.NDArray[np.uint32]) -> npt.NDArray[np.uint32]:
    """0, -1, 1, -2, ... as 0, 1, 2, 3, ...: else every small step down would begin with three full bytes."""
    return (changes << np.uint32(1)) ^ (np.uint32(0) - (changes >> np.uint32(31)))


def _by_weight(words: npt.NDArray[np.uint32]) -> bytes:
    return np.ascontiguousarray(words.astype("<u4").ravel().view(np.uint8).reshape(-1, 4).T).tobytes()
