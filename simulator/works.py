"""Every work by the name of the guide that sets it up: what the demo can mount."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from readings import BadInputError
from simulator.spec import BenchSpec
from simulator.work import Work, away, round_spec
from simulator.work_axis import AxisByTargets
from simulator.work_flat import Centres, Face, Head, HeadByStops, Hung, Jacks, Square
from simulator.work_round import DividingHead, FourJaw, Pair, Plug, Round, SpindleBar

_Make = Callable[[BenchSpec, np.random.Generator], Work]
ROUND_TITLES = {
    "bore": "Bore on the table",
    "bar": "Boss on the table",
}


def as_in_spec(spec: BenchSpec) -> Round:
    """Return the work that a spec describes."""
    if spec.layout == "still":
        return Round(spec, "Bar in the spindle")
    return Round(spec, ROUND_TITLES[spec.surface])


def name_in_spec(spec: BenchSpec) -> str:
    """Return the name of the work that a spec describes, "" where no guide sets it up."""
    return {"bore": "centre-bore", "bar": "centre-boss"}[spec.surface] * (spec.layout == "riding")


def _bore(spec: BenchSpec, rng: np.random.Generator) -> Work:
    return as_in_spec(_anew(round_spec(spec, "riding", "bore"), rng))


def _boss(spec: BenchSpec, rng: np.random.Generator) -> Work:
    return as_in_spec(_anew(round_spec(spec, "riding", "bar"), rng))


def _plug(spec: BenchSpec, rng: np.random.Generator) -> Work:
    return Plug(_anew(round_spec(spec, "riding", "bar"), rng), "Plug on the table")


def _centred_plug(spec: BenchSpec, rng: np.random.Generator) -> Work:
    near = replace(round_spec(spec, "riding", "bar"), offset_mm=(0.001, -0.001), lobe3_mm=0.0)
    return Plug(replace(near, ovality_mm=0.001), "Plug, centred before")


def _stops(held: str, title: str) -> _Make:
    def make(spec: BenchSpec, rng: np.random.Generator) -> Work:
        x_mm, y_mm = away(rng, 0.05, 0.13).tolist()
        plain = round_spec(spec, "orbiting", held, collar=False)
        rough = replace(plain, offset_mm=(x_mm, y_mm))
        work = Round(rough, title, "round")
        work.turns = False
        return work

    return make


def _anew(spec: BenchSpec, rng: np.random.Generator) -> BenchSpec:
    x_mm, y_mm = away(rng, 0.1, 0.5).tolist()
    return replace(spec, offset_mm=(x_mm, y_mm))


WORKS: dict[str, _Make] = {
    "centre-bore": _bore,
    "centre-boss": _boss,
    "centre-plug": _plug,
    "centre-bore-stops": _stops("bore", "Bore on the table, eight stops"),
    "centre-boss-stops": _stops("bar", "Boss on the table, eight stops"),
    "test-bar": lambda spec, rng: SpindleBar(rng),
    "rotation-axis": lambda spec, rng: AxisByTargets(rng),
    "tram-head": lambda spec, rng: Head(rng, spec),
    "tram-head-stops": lambda spec, rng: HeadByStops(rng),
    "face-square": lambda spec, rng: Face(rng),
    "tram-square": lambda spec, rng: Square(rng),
    "between-centres": lambda spec, rng: Centres(rng),
    "level-jacks": lambda spec, rng: Jacks(rng),
    "hung-casting": lambda spec, rng: Hung(rng),
    "four-jaw": lambda spec, rng: FourJaw(rng),
    "dividing-head": lambda spec, rng: DividingHead(rng),
    "second-end": _centred_plug,
    "prove-pair": lambda spec, rng: Pair(rng),
}


def make_work(name: str, spec: BenchSpec, rng: np.random.Generator) -> Work:
    """Return a work by its name, its truth drawn at random.

    Raises
    ------
    BadInputError
        If there is none of that name.
    """
    make = WORKS.get(name)
    if make is None:
        msg = f"The bench cannot mount {name!r}; it can mount {', '.join(WORKS)}."
        raise BadInputError(msg)
    return make(spec, rng)
