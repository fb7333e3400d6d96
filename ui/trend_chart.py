"""How a machine stood over the months, as still charts: one for each thing that is followed."""

from collections.abc import Sequence

import plotly.graph_objects as go

from records.trends import TREND_LABELS, TrendPoint

LINE = {"color": "#1f6fd0", "width": 2}


def trend_figure(points: Sequence[TrendPoint]) -> go.Figure:
    """Return the points of one key against their days, with bars of two standard uncertainties."""
    figure = go.Figure()
    figure.add_scatter(
        x=[point.at_utc for point in points],
        y=[point.value for point in points],
        error_y={"array": [2 * (point.u or 0.0) for point in points], "thickness": 1.5},
        mode="lines+markers",
        line=LINE,
        marker={"size": 9},
        text=[f"setup {point.setup_id}" for point in points],
        name=TREND_LABELS[points[0].key],
    )
    figure.update_layout(
        height=340,
        margin={"l": 90, "r": 20, "t": 10, "b": 40},
        font={"size": 17},
        yaxis={"title": points[0].unit},
    )
    return figure
