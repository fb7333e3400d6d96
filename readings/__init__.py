"""What passes between the rooms.

Frame, Reading, Sample, Sweep; the one registry of flags; units, axes and signs;
the tree of errors. Imports nothing of ours.
"""

from readings.axes import (
    DIRECTION_DEG,
    Axis,
    Direction,
    Sense,
    Surface,
    move_word,
    offset_from_first_harmonic,
    reading_change_for_move,
)
from readings.carriers import (
    CollarAngle,
    DialSight,
    Frame,
    FrameSource,
    Reading,
    Sample,
    Sweep,
    frozen_array,
)
from readings.errors import (
    BadInputError,
    BookError,
    FaultError,
    ServiceError,
    SourceError,
    SparehandError,
)
from readings.flags import FLAGS, Flag, flag_sentence
from readings.units import (
    MM_PER_INCH,
    LengthUnit,
    format_length,
    format_with_uncertainty,
    to_mm,
)

__all__ = [
    "DIRECTION_DEG",
    "FLAGS",
    "MM_PER_INCH",
    "Axis",
    "BadInputError",
    "BookError",
    "CollarAngle",
    "DialSight",
    "Direction",
    "FaultError",
    "Flag",
    "Frame",
    "FrameSource",
    "LengthUnit",
    "Reading",
    "Sample",
    "Sense",
    "ServiceError",
    "SourceError",
    "SparehandError",
    "Surface",
    "Sweep",
    "flag_sentence",
    "format_length",
    "format_with_uncertainty",
    "frozen_array",
    "move_word",
    "offset_from_first_harmonic",
    "reading_change_for_move",
    "to_mm",
]
