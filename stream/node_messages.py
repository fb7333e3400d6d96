"""Messages between a camera node and the service, version 1.

The node's DEALER sends ``[header, JPEG?]``, the header a `Parcel` in JSON; the service's
ROUTER answers with one frame, a `Receipt` in JSON. Readings, and pictures to be read by the
service, are numbered from 1 and kept by the node until a receipt says that all up to their
number were taken; the service takes them in order, each once. Parcels numbered 0 (a preview, a
word of life) are not kept. Where a node had to give up old parcels for want of room, `first`
says so, and the service counts them as lost.
"""

from dataclasses import dataclass
from math import isfinite
from typing import Literal

import msgspec
import numpy as np

from readings import FLAGS, CollarAngle, Reading, frozen_array
from stream.keeping import from_numpy

NODE_VERSION = 1
LARGEST_HEADER = 128 * 1024
LARGEST_NUMBER = 2**53 - 1
LARGEST_PARCEL = 4 * 1024 * 1024

Kind = Literal["reading", "picture", "preview", "alive"]


@dataclass(frozen=True, slots=True, eq=False)
class Parcel:
    """What a node sends.

    `sent_s` and `t_s` are the node's clock; `first` is the oldest number it still keeps;
    `offset_s` is the service's clock minus the node's, with its sigma, once it is known.
    """

    node: str
    run: str
    seq: int
    first: int
    kind: Kind
    sent_s: float
    t_s: float = 0.0
    index: int = 0
    width: int = 0
    height: int = 0
    picture_width: int = 0
    reading: Reading | None = None
    collar: CollarAngle | None = None
    offset_s: float | None = None
    sigma_offset_s: float | None = None
    v: int = NODE_VERSION


@dataclass(frozen=True, slots=True)
class Receipt:
    """What the service answers: all up to `taken` of this run are its own; its clock.

    `room` is how many more it takes before the next receipt.
    """

    run: str
    taken: int
    echo_s: float
    at_s: float
    room: int = 60
    v: int = NODE_VERSION


def encode_parcel(parcel: Parcel) -> bytes:
    """Return a parcel's header."""
    return msgspec.json.encode(parcel, enc_hook=from_numpy)


def decode_parcel(content: bytes) -> Parcel | None:
    """Return a header's parcel, None where it is none of ours or could not be."""
    if len(content) > LARGEST_HEADER:
        return None
    try:
        parcel = msgspec.json.decode(content, type=Parcel, dec_hook=_array)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, ValueError, TypeError):
        return None
    return parcel if parcel.v == NODE_VERSION and _possible(parcel) else None


def _array(kind: type, value: object) -> object:
    array = frozen_array(value)  # type: ignore[arg-type]
    if not np.isfinite(array).all():
        msg = f"{kind} holds what is no number"
        raise ValueError(msg)
    return array


def _possible(parcel: Parcel) -> bool:
    """Whether a parcel says what a node can have said."""
    reading, collar = parcel.reading, parcel.collar
    counts = (parcel.seq, parcel.index, parcel.width, parcel.height, parcel.picture_width)
    if not all(0 <= count <= LARGEST_NUMBER for count in (*counts, parcel.first - 1)):
        return False
    if not (isfinite(parcel.t_s) and isfinite(parcel.sent_s)):
        return False
    if parcel.seq and parcel.kind not in ("reading", "picture"):
        return False
    if collar is not None and collar.corners_px.shape[1:] != (4, 2):
        return False
    if parcel.kind != "reading":
        return True
    return reading is not None and reading.t_s == parcel.t_s and _sound(reading)


def _sound(reading: Reading) -> bool:
    """Whether a reading keeps the promises of its class: a number, or a reason for none."""
    if any(flag not in FLAGS for flag in reading.flags):
        return False
    sight = reading.sight
    if sight is not None and (
        sight.pivot_px.shape != (2,)
        or sight.zero_px.size != 2
        or sight.needle_px.shape not in ((2, 2), (0, 2), (0,))
        or sight.outline_px.ndim != 2
        or sight.outline_px.shape[1] != 2
    ):
        return False
    whole = (reading.turns, reading.turns_followed)
    if any(abs(count or 0) > LARGEST_NUMBER for count in whole):
        return False
    numbers = (reading.divisions, reading.sigma_divisions, reading.value_mm, reading.sigma_mm)
    if reading.ok:
        return all(number is not None and isfinite(number) for number in numbers)
    return all(number is None for number in numbers) and bool(reading.flags)
