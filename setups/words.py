"""Numbers of a setup as a person reads them: one wording for screen, terminal and report."""

from collections.abc import Sequence

from readings import Axis, format_length, format_with_uncertainty, move_word
from setups.measured import Measured, Number
from setups.state import DegArc, Found

VERDICT_WORDS = {
    "inside": "Inside the tolerance",
    "outside": "Outside the tolerance",
    "cannot tell": "Cannot tell: too near the tolerance for this dial",
}


def measured_rows(measured: Measured) -> tuple[tuple[str, str], ...]:
    """Return what a round told, as (label, text) rows."""
    rows = [(n.label[:1].upper() + n.label[1:], number_words(n)) for n in measured.numbers]
    if measured.least_provable_mm is not None:
        least = format_length(measured.least_provable_mm, fine=True)
        rows.append(("Least that can be proven with this dial", least))
    return tuple(rows)


def number_words(number: Number) -> str:
    """Return a number with its unit and, where it is known, its uncertainty.

    >>> number_words(Number("high_spot", "high spot", 31.27, "deg"))
    '31.3 deg'
    """
    if number.unit == "mm":
        if number.u is None:
            return format_length(number.value, signed=True)
        return format_with_uncertainty(number.value, number.u)
    size = f"{number.value:.1f}" if number.unit in ("deg", "arcsec") else f"{number.value:.4f}"
    spread = "" if number.u is None else f" ± {2 * number.u:.2g} (k = 2)"
    return f"{size} {number.unit}{spread}"


def history_line(number: int, found: Found) -> str:
    """Return the numbers of the `number`-th pair of turns in one line."""
    off = format_with_uncertainty(found.eccentricity_mm, found.u_eccentricity_mm)
    locked = ", slides locked" if found.locked else ""
    return f"{number}. Off centre {off}: {found.verdict}{locked}"


def number_rows(found: Found) -> tuple[tuple[str, str], ...]:
    """Return what a pair of turns told, as (label, text) rows."""
    rows: list[tuple[str, str]] = [
        ("Off centre", format_with_uncertainty(found.eccentricity_mm, found.u_eccentricity_mm)),
        ("Work from spindle along X", _along("x", found.offset_x_mm, found.u_x_mm)),
        ("Work from spindle along Y", _along("y", found.offset_y_mm, found.u_y_mm)),
        ("Runout of the fitted curve (TIR)", format_length(found.tir_mm, fine=True)),
        ("One turn against the other", format_length(found.sideways_mm, fine=True)),
    ]
    if found.left_out:
        rows.append(("Left out by hand", ", ".join(map(arc_words, found.left_out))))
    if found.ovality_mm is not None:
        rows.append(("Out of round, two lobes", format_length(found.ovality_mm, fine=True)))
    if found.return_mm is not None:
        rows.append(("Where a turn overlaps itself", format_length(found.return_mm, fine=True)))
    dial = (
        "not checked" if found.u_dial_mm is None else format_length(2 * found.u_dial_mm, fine=True)
    )
    rows.append(("The dial's own uncertainty (k = 2)", dial))
    least = "Least that can be proven" + (
        ", the dial's own error not counted" if found.u_dial_mm is None else " with this dial"
    )
    rows.append((least, format_length(found.least_provable_mm, fine=True)))
    return tuple(rows)


def arc_words(arc: DegArc) -> str:
    """Return an arc of θ as it is read.

    >>> arc_words((350, 20))
    '350° to 20°'
    """
    return f"{arc[0]}° to {arc[1]}°"


def left_out_words(arcs: Sequence[DegArc]) -> str:
    """Say which arcs a person left out, or that every arc counts."""
    if not arcs:
        return "Every arc counts."
    return f"Left out by hand: {', '.join(arc_words(arc) for arc in arcs)}."


def _along(axis: Axis, offset_mm: float, u_mm: float) -> str:
    return f"{move_word(axis, offset_mm)} {format_with_uncertainty(abs(offset_mm), u_mm)}"
