"""The still chart of a setup's turns, from the book: as the work's outline, seen from above."""

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from records.plain import Json
from records.traces import round_trace

LINES = {
    "anticlockwise": {"color": "#1f6fd0", "width": 3},
    "clockwise": {"color": "#d0641f", "width": 3, "dash": "dash"},
}
GRID = "rgba(128, 128, 128, 0.5)"


def trace_figure(setup: Json, sweep_ids: Sequence[int]) -> go.Figure | None:
    """Return the turns named as one polar chart in micrometres, None where there is nothing.

    Values are deviations from their common mean, outward as the work lies.
    """
    trace = round_trace(setup, sweep_ids)
    if trace is None:
        return None
    figure = go.Figure()
    for line in trace.lines:
        figure.add_scatterpolar(
            theta=np.degrees(line.theta_rad),
            r=trace.base_um + line.out_um,
            mode="lines",
            line=LINES.get(line.sense or "", {"width": 3}),
            name=line.label,
        )
    _lay_out(figure, trace.base_um, trace.most_um)
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
