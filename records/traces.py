"""A kept setup's trace, ready to be drawn: round, as the work's outline, or straight, by places."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readings import Sense, offset_from_first_harmonic
from records.flat import theta_rad
from setups import GUIDES

Json = Mapping[str, Any]
LEAST_SCALE_UM = 10.0
"""A finer scale would show the reader's noise only."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One sweep: `theta_rad` of the stylus and `out_um`, how far out its wall is, both (n,)."""

    purpose: str
    sense: Sense | None
    theta_rad: NDArray[np.float64]
    out_um: NDArray[np.float64]

    @property
    def label(self) -> str:
        """Return the line's name."""
        return f"{self.purpose}, {self.sense or 'sense unknown'} seen from above"


@dataclass(frozen=True, slots=True)
class RoundTrace:
    """Sweeps as deviations from their common mean in µm, outward as the work lies."""

    lines: tuple[Line, ...]
    most_um: float
    """The largest deviation, and at least `LEAST_SCALE_UM`."""

    @property
    def base_um(self) -> float:
        """Return the radius at which a deviation of zero is drawn."""
        return 1.6 * self.most_um


@dataclass(frozen=True, slots=True)
class StraightTrace:
    """The readings of the last run by places, in its order: names, and µm from their mean."""

    places: tuple[str, ...]
    values_um: tuple[float, ...]
    sigmas_um: tuple[float, ...]


def outline_sign(guide: str) -> float:
    """Return +1 where a rising reading means the wall is farther out, -1 in a bore."""
    surface = GUIDES[guide].surface if guide in GUIDES else "boss"
    return 1.0 if surface == "face" else offset_from_first_harmonic(1.0, 0.0, surface)[0]


def newest_pair(setup: Json, purpose: str | None = None) -> tuple[int, ...]:
    """Return the last two complete sweeps, of one purpose where it is named."""
    done = [
        s["id"]
        for s in setup["sweeps"]
        if s["state"] == "complete" and purpose in (None, s["purpose"])
    ]
    return tuple(done[-2:])


def round_trace(setup: Json, sweep_ids: Sequence[int]) -> RoundTrace | None:
    """Return the sweeps named, None where none of them has samples at known angles.

    `setup` is as `BookReader.show_setup` returns it, with samples.
    """
    sweeps = [s for s in setup["sweeps"] if s["id"] in sweep_ids and s["count"]]
    drawn = [(s, theta) for s in sweeps if (theta := theta_rad(s)) is not None]
    if not drawn:
        return None
    mean = float(np.concatenate([s["samples"]["value_mm"] for s, _ in drawn]).mean())
    sign = 1000.0 * outline_sign(setup["guide"])
    lines = tuple(
        Line(s["purpose"], s["sense"], theta, sign * (np.asarray(s["samples"]["value_mm"]) - mean))
        for s, theta in drawn
    )
    most = max(float(np.abs(line.out_um).max()) for line in lines)
    return RoundTrace(lines, max(LEAST_SCALE_UM, most))


def straight_trace(setup: Json) -> StraightTrace | None:
    """Return the last run by places of a setup's results, None where there was none."""
    runs = [run for result in setup["results"] for run in result["body"].get("runs") or ()]
    seen = runs[-1]["seen"] if runs else ()
    if not seen:
        return None
    values = np.array([one["value_mm"] for one in seen])
    return StraightTrace(
        tuple(one["place"].replace("_", " ").replace("-", " ") for one in seen),
        tuple((1000.0 * (values - values.mean())).tolist()),
        tuple(1000.0 * one["sigma_mm"] for one in seen),
    )
