"""Arrays to bytes and back, exact to the last bit. Imports numpy: not for the web process."""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from forecaster.errors import StorageError

# Layout, then compressed by zlib: mark, length of the header (4 bytes, little-endian), header (JSON: name, dtype and shape of each array,
# in order), then the values of the arrays one after the other, little-endian, last index fastest.
_MARK = b"arrays1\n"
_KINDS = "fiub"


def pack_arrays(arrays: Mapping[str, npt.NDArray[Any]]) -> bytes:
    """Pack named arrays of numbers or truth values, any shape; NaN and its sign survive.

    Raises: TypeError for arrays of anything else.
    """
    header, bodies = [], []
    for name, array in arrays.items():
        if array.dtype.kind not in _KINDS:
            raise TypeError(f"{name} holds {array.dtype}, which is not a number")
        little = array.astype(array.dtype.newbyteorder("<"), order="C", copy=False)
        header.append([name, little.dtype.str, list(little.shape)])
        bodies.append(little.tobytes())
    described = json.dumps(header).encode()
    return zlib.compress(b"".join([_MARK, struct.pack("<I", len(described)), described, *bodies]))


def unpack_arrays(blob: bytes) -> dict[str, npt.NDArray[Any]]:
    """Give back what ``pack_arrays`` took, in its order, as arrays of their own that may be written to.

    Raises: StorageError where the bytes are damaged or something else.
    """
    try:
        raw = zlib.decompress(blob)
        if not raw.startswith(_MARK):
            raise ValueError("another format")
        (length,) = struct.unpack_from("<I", raw, len(_MARK))
        position = len(_MARK) + 4 + length
        arrays: dict[str, npt.NDArray[Any]] = {}
        for name, dtype, shape in json.loads(raw[len(_MARK) + 4 : position]):
            kind = np.dtype(dtype)
            count = int(np.prod(shape, dtype=np.int64))
            values = np.frombuffer(raw, dtype=kind, count=count, offset=position)
            arrays[name] = values.reshape(shape).astype(kind.newbyteorder("="))
            position += count * kind.itemsize
        if position != len(raw):
            raise ValueError("too long")
    except (zlib.error, ValueError, TypeError, struct.error) as error:
        raise StorageError(
            f"stored arrays cannot be read: {error}", hint="Remove the stored soil states; they are simulated again from the weather."
        ) from error
    return arrays
