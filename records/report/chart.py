"""Traces drawn for paper: black and grey, told apart by their strokes."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from records.traces import RoundTrace, StraightTrace

Form = Literal["png", "svg"]

_STROKES: dict[str, dict[str, Any]] = {
    "anticlockwise": {"color": "black", "linestyle": "-", "linewidth": 1.1},
    "clockwise": {"color": "0.35", "linestyle": (0, (4, 2)), "linewidth": 1.1},
}
_UNKNOWN: dict[str, Any] = {"color": "0.2", "linestyle": ":", "linewidth": 1.1}
_SIDES = {0.0: "right", 90.0: "back", 180.0: "left", 270.0: "front"}
_DPI = 200
_STYLE: Any = {
    "font.size": 8,
    "svg.fonttype": "none",
    "svg.hashsalt": "sparehand",
    "font.family": "DejaVu Sans",
}


def chart(
    trace: RoundTrace | StraightTrace, form: Form, size_in: tuple[float, float] = (3.4, 3.4)
) -> bytes:
    """Return a trace as a picture, `size_in` inches wide and high."""
    with _drawn(form, size_in) as (figure, content):
        if isinstance(trace, RoundTrace):
            _round(figure, trace)
        else:
            _straight(figure, trace)
    return content.getvalue()


@contextmanager
def _drawn(form: Form, size_in: tuple[float, float]) -> Iterator[tuple[Figure, io.BytesIO]]:
    content = io.BytesIO()
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=size_in)
        yield figure, content
        stamp = {"Date": None} if form == "svg" else {"Software": None}
        figure.savefig(content, format=form, dpi=_DPI, metadata=stamp)


def _round(figure: Figure, trace: RoundTrace) -> None:
    axes = figure.add_axes((0.11, 0.2, 0.78, 0.72), projection="polar")
    assert isinstance(axes, PolarAxes)
    for line in trace.lines:
        stroke = _STROKES.get(line.sense or "", _UNKNOWN)
        axes.plot(line.theta_rad, trace.base_um + line.out_um, label=line.label, **stroke)
    circle = np.linspace(0.0, 2 * np.pi, 181)
    axes.plot(circle, np.full(circle.size, trace.base_um), color="0.6", linewidth=0.6)
    axes.set_ylim(0.0, trace.base_um + 1.15 * trace.most_um)
    marks = np.array([-trace.most_um, 0.0, trace.most_um])
    words = [f"{mark:+.0f} µm".replace("-", "−") if mark else "mean" for mark in marks]
    behind = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    axes.set_rgrids((trace.base_um + marks).tolist(), words, angle=45.0, fontsize=7, bbox=behind)
    axes.set_thetagrids(list(_SIDES), list(_SIDES.values()))
    axes.grid(color="0.8", linewidth=0.5)
    figure.legend(loc="lower center", frameon=False, fontsize=7, ncols=1)


def _straight(figure: Figure, trace: StraightTrace) -> None:
    axes: Axes = figure.add_axes((0.17, 0.34, 0.79, 0.61))
    at = np.arange(len(trace.places))
    spread = 2 * np.array(trace.sigmas_um)
    axes.errorbar(
        at, trace.values_um, yerr=spread, color="black", linewidth=1.1, marker="o", markersize=4,
        capsize=2,
    )  # fmt: skip
    axes.axhline(0.0, color="0.6", linewidth=0.6)
    axes.set_xticks(at, trace.places, rotation=35, ha="right", fontsize=7)
    axes.set_ylabel("reading from the mean, µm (bars: k = 2)", fontsize=7)
    axes.grid(color="0.85", linewidth=0.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
