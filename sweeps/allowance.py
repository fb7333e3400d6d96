"""What a sweep cannot show by itself and is therefore allowed for, each with its reason.

Every figure is stated, not found: it stands in the budget under its own name, so that a
person can see how much of the uncertainty is knowledge of the trade and how much is data.
"""

from dataclasses import dataclass
from math import radians

RETRACE_MM = 0.003
"""Retrace of a 0.01 mm dial with up to 10 mm range (JIS B 7503:2011)."""
RETRACE_FINE_MM = 0.002
"""Retrace of a 0.001 or 0.002 mm dial (JIS B 7503:2011, 0.001 graduation)."""
FINE_GRADUATION_MM = 0.002
LAG_S = 0.01
"""Half of a rolling shutter's 20 ms read-out: the most a dial and a collar may lie apart."""
FORM2_MM = 0.004
"""Amplitude of two lobes in a bored or turned seat that has seen service; 0.0018 at three."""
ROUGHNESS_MM = 0.0002
"""Height of a turned surface's roughness as a stylus tip of 1 mm still feels it."""
READER_FLOOR_DIVISIONS = 0.015
"""What a reading errs by at one place of the scale every time, whatever its scatter: needle,
pivot and marks as drawn (smooth errors to 0.016 division on rendered faces with known truth)."""
STOP_ANGLE_RAD = radians(0.75)
"""How well a person stops at a quarter turn by a mark on the spindle (k = 1)."""


@dataclass(frozen=True, slots=True)
class Allowance:
    """The stated allowances; lengths in mm.

    Attributes
    ----------
    retrace_mm
        The dial's hysteresis h; a one-way sweep is dragged by 2h/π at right angles.
    lag_s
        Most by which dial and angle may be seen at different times, in seconds.
    form2_mm
        Amplitude allowed for two-lobed form where the sweep cannot tell it from offset;
        order n is allowed (2/n)² of it.
    roughness_mm
        Scatter of the surface itself, used to choose how many lobes are worth fitting.
    reader_common
        Share of a reading's sigma that repeats from picture to picture and does not
        average out (0 to 1).
    reader_floor_mm
        What a reading errs by at one place of the scale every time, beside its sigma.
    u_gain
        Relative standard uncertainty of the lever's gain, or of a target's scale (1).
    temperature_mm
        Standard uncertainty of a centre from warmth between first and last reading.
    repeat_mm
        Standard uncertainty of a centre from setting up anew (stylus swung in again).
    """

    retrace_mm: float = RETRACE_MM
    lag_s: float = LAG_S
    form2_mm: float = FORM2_MM
    roughness_mm: float = ROUGHNESS_MM
    reader_common: float = 1.0
    reader_floor_mm: float = READER_FLOOR_DIVISIONS * 0.01
    u_gain: float = 0.0
    temperature_mm: float = 0.0
    repeat_mm: float = 0.0

    def form_mm(self, order: int) -> float:
        """Return the amplitude in mm allowed for the work's own lobes of one order."""
        return self.form2_mm * (2.0 / order) ** 2

    @classmethod
    def for_graduation(cls, graduation_mm: float) -> "Allowance":
        """Return the allowances for a dial of this graduation."""
        fine = graduation_mm <= FINE_GRADUATION_MM * (1 + 1e-9)
        return cls(
            retrace_mm=RETRACE_FINE_MM if fine else RETRACE_MM,
            reader_floor_mm=READER_FLOOR_DIVISIONS * graduation_mm,
        )


DEFAULT_ALLOWANCE = Allowance()
