"""One issue of weather as one small blob: what storage keeps in place of a row per value.

    version (1 byte) | zlib( header length (4 bytes, big endian) | header (JSON) | columns | origins )

Exact: ``decode(encode(frame))`` gives back every float64 bit for bit. Providers publish decimals (12.3 °C), so a column is
stored as whole numbers of 1, 0.1, 0.01 or 0.001 units wherever that gives back the very same floats, and as plain float64 where
it does not. Whole numbers are stored as differences from hour to hour with their bytes sorted by weight, which zlib packs well.
The same frame gives the same bytes (with the same zlib library). A checksum inside zlib notices damage. What checks took out of a
frame is not in its blob: an issue is stored as it came.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecaster.errors import StorageError
from forecaster.weather.frame import VARIABLES, HourlyWeather, WeatherSource

VERSION = 1
SCALES = (1, 10, 100, 1000)
# Stands for NaN among whole numbers; no weather value reaches it.
_MISSING = np.iinfo(np.int32).min
_LARGEST = 2**31 - 1
_LENGTH = struct.Struct(">I")

Floats = npt.NDArray[np.float64]


def encode(frame: HourlyWeather) -> bytes:
    """Pack a frame into one blob, without loss."""
    index = frame.values.index
    assert isinstance(index, pd.DatetimeIndex)  # the frame promises it
    columns = [_pack_column(frame.values[name].to_numpy(dtype=np.float64)) for name in VARIABLES]
    header: dict[str, Any] = {
        "variables": list(VARIABLES),
        "scales": [scale for scale, _ in columns],
        "start": int(index.as_unit("s").asi8[0]) if len(index) else 0,
        "hours": len(index),
        "index_unit": index.unit,
        "source": asdict(frame.source),
        "issued_at": frame.issued_at.astimezone(UTC).isoformat(),
        "wind_height_m": frame.wind_height_m,
        "soil_temperature_depth_cm": frame.soil_temperature_depth_cm,
        "notes": list(frame.notes),
    }
    if frame.rough is not None:
        header["rough"] = _runs(frame.rough)
    head = json.dumps(header, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()
    origins = np.ascontiguousarray(frame.origins.to_numpy(dtype=np.int8).T).tobytes()
    body = b"".join((_LENGTH.pack(len(head)), head, *(packed for _, packed in columns), origins))
    return bytes([VERSION]) + zlib.compress(body, 9)


def decode(blob: bytes) -> HourlyWeather:
    """Unpack a blob. Raises: StorageError when it is damaged or of a version this program does not know."""
    if not blob or blob[0] != VERSION:
        found = f"version {blob[0]}" if blob else "nothing"
        raise StorageError(f"stored weather is {found}, this program reads version {VERSION}", hint=_HINT)
    try:
        return _unpack(zlib.decompress(blob[1:]))
    except (zlib.error, struct.error, ValueError, KeyError, TypeError) as error:
        raise StorageError(f"stored weather is damaged: {error}", hint=_HINT) from error


_HINT = "Delete this issue of weather; the next pull brings a new one."


def _unpack(body: bytes) -> HourlyWeather:
    (head_length,) = _LENGTH.unpack_from(body)
    at = _LENGTH.size + head_length
    header: Mapping[str, Any] = json.loads(body[_LENGTH.size : at])
    hours = header["hours"]
    if header["variables"] != list(VARIABLES):
        raise ValueError("it has other variables")
    values = np.empty((hours, len(VARIABLES)), dtype=np.float64)
    for column, scale in enumerate(header["scales"]):
        size = hours * (4 if scale else 8)
        values[:, column] = _unpack_column(body[at : at + size], scale)
        at += size
    codes = np.frombuffer(body[at:], dtype=np.int8).reshape(len(VARIABLES), hours).T.copy()
    stamps = (header["start"] + 3600 * np.arange(hours, dtype=np.int64)).astype("datetime64[s]")
    index = pd.DatetimeIndex(stamps).as_unit(header["index_unit"]).tz_localize("UTC")
    return HourlyWeather(
        values=pd.DataFrame(values, index=index, columns=list(VARIABLES)),
        origins=pd.DataFrame(codes, index=index, columns=list(VARIABLES)),
        source=WeatherSource(**header["source"]),
        issued_at=datetime.fromisoformat(header["issued_at"]),
        wind_height_m=header["wind_height_m"],
        soil_temperature_depth_cm=header["soil_temperature_depth_cm"],
        notes=tuple(header["notes"]),
        rough=_marked(header["rough"], hours) if "rough" in header else None,
    )


def _runs(marks: npt.NDArray[np.bool_]) -> list[list[int]]:
    """Marks as [first, behind the last] of each run of them."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], marks.astype(np.int8), [0]))))
    return edges.reshape(-1, 2).tolist()


def _marked(runs: list[list[int]], size: int) -> npt.NDArray[np.bool_]:
    marks = np.zeros(size, dtype=np.bool_)
    for first, end in runs:
        marks[first:end] = True
    return marks


def _pack_column(values: Floats) -> tuple[int, bytes]:
    """The column as (scale, bytes); scale 0 means plain float64."""
    missing = np.isnan(values)
    for scale in SCALES:
        scaled = np.rint(np.where(missing, 0.0, values) * scale)
        if (np.abs(scaled) >= _LARGEST).any():
            break
        whole = scaled.astype(np.int32)
        # Compare bits, not values: -0.0 equals 0.0 and would come back as another float.
        back = whole / np.float64(scale)
        if np.array_equal(back.view(np.int64)[~missing], values.view(np.int64)[~missing]):
            whole[missing] = _MISSING
            steps = np.diff(whole.view(np.uint32), prepend=np.uint32(0))  # wraps around, and back again when summed
            return scale, np.ascontiguousarray(steps.astype("<u4").view(np.uint8).reshape(-1, 4).T).tobytes()
    return 0, values.astype("<f8").tobytes()


def _unpack_column(packed: bytes, scale: int) -> Floats:
    if scale == 0:
        return np.frombuffer(packed, dtype="<f8").astype(np.float64)
    by_weight = np.frombuffer(packed, dtype=np.uint8).reshape(4, -1)
    steps = np.ascontiguousarray(by_weight.T).view("<u4").ravel().astype(np.uint32)
    whole = np.cumsum(steps, dtype=np.uint32).view(np.int32)
    return np.where(whole == _MISSING, np.nan, whole / np.float64(scale))
