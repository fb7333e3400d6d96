"""Samples as they stand in the book: five packed columns a batch.

The blob of a batch of n samples is 5 x n x 8 bytes: little-endian IEEE 754
float64, one column after the other, in the order of `COLUMNS`::

    t_s[0] ... t_s[n-1] value_mm[0] ... value_mm[n-1] sigma_mm[0] ... and so on

Angles are in radians, as in `readings.Sample`.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from readings import BadInputError, BookError, Sample

COLUMNS = ("t_s", "value_mm", "sigma_mm", "angle_rad", "sigma_angle_rad")
_BYTES_A_SAMPLE = 8 * len(COLUMNS)


def pack(samples: Sequence[Sample]) -> bytes:
    """Return the blob of a batch.

    Raises
    ------
    BadInputError
        If there is no sample, or one holds a number that is not finite.
    """
    if not samples:
        msg = "A batch without samples has nothing to keep: send at least one."
        raise BadInputError(msg)
    table = np.array([[getattr(s, name) for s in samples] for name in COLUMNS], dtype="<f8")
    bad = np.argwhere(~np.isfinite(table))
    if bad.size:
        column, row = (int(i) for i in bad[0])
        msg = (
            f"Sample {row} has {table[column, row]} as its {COLUMNS[column]}, which is no reading: "
            "leave it out and count it as refused."
        )
        raise BadInputError(msg)
    return table.tobytes()


def unpack(blob: bytes, count: int) -> NDArray[np.float64]:
    """Return the `(5, count)` array of a batch, rows in the order of `COLUMNS`.

    Raises
    ------
    BookError
        If the blob's length does not belong to `count`.
    """
    if len(blob) != count * _BYTES_A_SAMPLE:
        msg = (
            f"A batch of {count} samples takes {count * _BYTES_A_SAMPLE} bytes and has "
            f"{len(blob)}: the book is damaged; run `sparehand records check`."
        )
        raise BookError(msg)
    return np.frombuffer(blob, dtype="<f8").reshape(len(COLUMNS), count).astype(np.float64)
