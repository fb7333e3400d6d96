"""The still chart of a setup's turns, from the book: as the work's outline, seen from above."""

from collections.abc import Mapping
from math import degrees
from typing import Any

import numpy as np
import plotly.graph_objects as go

from readings import offset_from_first_harmonic
from setups import GUIDES

Json = Mapping[str, Any]

LINES = {
    "anticlockwise": {"color": "#1f6fd0", "width": 3},
    "clockwise": {"color": "#d0641f", "width": 3, "dash": "dash"},
}
GRID = "rgba(128, 128, 128, 0.5)"
LEAST_SCALE_UM = 10.0


def outline_sign(guide: str) -> float:
    """Return +1 where a rising reading means the wall is farther out, -1 in a bore."""
    surface = GUIDES[guide].surface if guide in GUIDES else "boss"
    return 1.0 if surface == "face" else offset_from_first_harmonic(1.0, 0.0, surface)[0]


def stylus_angles_deg(sweep: Json) -> list[float] | None:
    """Return the stylus' angles of a kept sweep in degrees, None where its zero is not known."""
    settings = sweep["settings"]
    zero, sense = settings.get("collar_zero_rad"), settings.get("collar_sense")
    if zero is None or sense is None:
        return None
    return [degrees(sense * (angle - zero)) for angle in sweep["samples"]["angle_rad"]]


def trace_figure(setup: Json, sweep_ids: tuple[int, ...]) -> go.Figure | None:
    """Return the turns named as one polar chart in micrometres, None where there is nothing.

    Values are deviations from their common mean, outward as the work lies.
    """
    sweeps = [s for s in setup["sweeps"] if s["id"] in sweep_ids and s["count"]]
    drawn = [(s, angles) for s in sweeps if (angles := stylus_angles_deg(s)) is not None]
    if not drawn:
        return None
    values = np.concatenate([s["samples"]["value_mm"] for s, _ in drawn])
    mean = float(values.mean())
    most_um = max(LEAST_SCALE_UM, float(np.abs(values - mean).max()) * 1000.0)
    base_um = 1.6 * most_um
    figure = go.Figure()
    for sweep, angles in drawn:
        deviation = outline_sign(setup["guide"]) * (np.asarray(sweep["samples"]["value_mm"]) - mean)
        figure.add_scatterpolar(
            theta=angles,
            r=base_um + 1000.0 * deviation,
            mode="lines",
            line=LINES.get(sweep["sense"] or "", {"width": 3}),
            name=f"{sweep['purpose']}, {sweep['sense'] or 'sense unknown'} seen from above",
        )
    _lay_out(figure, base_um, most_um)
    return figure


def _lay_out(figure: go.Figure, base_um: float, most_um: float) -> None:
    ticks = [-most_um, 0.0, most_um]
    figure.update_layout(
        height=680,
        margin={"l": 70, "r": 70, "t": 50, "b": 90},
        legend={"orientation": "h", "y": -0.14},
        font={"size": 17},
        polar={
            "bgcolor": "rgba(0, 0, 0, 0)",
            "radialaxis": {
                "gridcolor": GRID,
                "range": [0, base_um + 1.15 * most_um],
                "tickvals": [base_um + t for t in ticks],
                "ticktext": [f"{t:+.0f} µm" for t in ticks],
                "angle": 45,
            },
            "angularaxis": {
                "gridcolor": GRID,
                "rotation": 0,
                "direction": "counterclockwise",
                "tickvals": [0, 90, 180, 270],
                "ticktext": ["right", "back", "left", "front"],
            },
        },
    )


def newest_pair(setup: Json, purpose: str | None = None) -> tuple[int, ...]:
    """Return the last two complete sweeps, of one purpose where it is named."""
    done = [
        s["id"]
        for s in setup["sweeps"]
        if s["state"] == "complete" and purpose in (None, s["purpose"])
    ]
    return tuple(done[-2:])
