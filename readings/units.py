"""Lengths are millimetres inside; inches convert once at the reader and once on show."""

from typing import Literal

LengthUnit = Literal["mm", "in"]

MM_PER_INCH = 25.4
"""Exact since 1959 (international yard and pound agreement)."""


def to_mm(value: float, unit: LengthUnit) -> float:
    """Return `value` given in `unit` as millimetres.

    >>> to_mm(0.001, "in")
    0.0254
    """
    return value * MM_PER_INCH if unit == "in" else value


def format_length(
    value_mm: float, unit: LengthUnit = "mm", *, signed: bool = False, fine: bool = False
) -> str:
    """Return a length as shown to a person: microns resolved, or tenths of a thou.

    `fine` gives one digit more, for uncertainties.

    >>> format_length(0.1234)
    '0.123 mm'
    >>> format_length(-0.0254, "in", signed=True)
    '-0.0010 in'
    """
    sign = "+" if signed else ""
    if unit == "in":
        return f"{value_mm / MM_PER_INCH:{sign}.{4 + fine}f} in"
    return f"{value_mm:{sign}.{3 + fine}f} mm"


def format_with_uncertainty(value_mm: float, u_mm: float, unit: LengthUnit = "mm") -> str:
    """Return a length with its expanded uncertainty (k = 2), one digit finer than a length alone.

    >>> format_with_uncertainty(0.1234, 0.0011)
    '0.1234 ± 0.0022 mm (k = 2)'
    """
    value = format_length(value_mm, unit, fine=True).split()[0]
    return f"{value} ± {format_length(2 * u_mm, unit, fine=True)} (k = 2)"
