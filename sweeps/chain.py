"""The second end true to the first: coaxiality and parallelism before anything is cut.

The first bore is held over a plug, its end face down, and the second is bored from above.
Every link between the two axes is a shift (the plug's clearance, the lock) or a lean (the
end face, a pair of rollers, an angle plate, the Z travel). A lean works over the height
from where the first bore is located to the second seat. All are "what it adds to the second
axis seen from the first", +X right, +Y to the back, leans of the upper end.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sweeps.budget import BudgetLine, Verdict, combine
from sweeps.drawn import DRAWS, MonteCarlo, summarise
from sweeps.fourier import Float
from sweeps.radial import predicted_verdict, radial_quantile, widened
from sweeps.result import SweepFailure
from sweeps.spreads import Spread

Kind = Literal["shift", "lean"]
ORDER = ("x", "y", "lean x", "lean y")
"""Order of the chain's values and covariance."""


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """One link: a shift in mm or a lean in rad, what is known of it and what is not.

    `arm_from_mm` is the height from which a lean works, where it is not the one at which
    the first bore is located.
    """

    name: str
    kind: Kind
    spread: Spread
    value: tuple[float, float] = (0.0, 0.0)
    arm_from_mm: float | None = None

    def arms(self, at_mm: float, located_mm: float) -> float:
        """Return the factor from this link to the place of the axis at a height."""
        start = located_mm if self.arm_from_mm is None else self.arm_from_mm
        return 1.0 if self.kind == "shift" else at_mm - start


@dataclass(frozen=True, slots=True)
class Weight:
    """One link's share of the variance of the place at the seat's worse end, and of the lean."""

    name: str
    u_place_mm: float
    place_share: float
    lean_share: float


@dataclass(frozen=True, slots=True, eq=False)
class ChainResult:
    """Second axis seen from the first. Lengths in mm, leans in rad, `u_…` k = 1.

    `values` and `covariance` (4, 4) are of `ORDER`, the place at the middle of the seat.
    `coaxiality_mm` and `parallelism_mm` are diameters of zones (ISO 1101): twice the
    offset at the seat's worse end, and the lean times the seat's length. They are what the
    known values make; `…_bound_mm` holds 95 % of what may come, `…_least_mm` what 95 %
    would be if every known value were corrected.
    """

    values: Float
    covariance: Float
    dof_place: float
    dof_lean: float
    coaxiality_mm: float
    coaxiality_bound_mm: float
    coaxiality_least_mm: float
    parallelism_mm: float
    parallelism_bound_mm: float
    parallelism_least_mm: float
    weights: tuple[Weight, ...]
    """The heaviest in place first."""
    worse_end_mm: float
    place: Float
    """(2,): of the second axis at the worse end."""
    place_covariance: Float
    seat_mm: tuple[float, float]
    located_mm: float
    links: tuple[Link, ...]
    message: str

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def heaviest(self) -> str:
        """The link that weighs most in the second axis' place."""
        return self.weights[0].name

    def judge_coaxiality(self, tolerance_mm: float) -> Verdict:
        """Judge the zone's diameter that is to come against a tolerance."""
        found = predicted_verdict(
            self.place, self.place_covariance, tolerance_mm / 2, self.dof_place
        )
        return Verdict(found.word, 2 * found.guard_mm, 2 * found.least_provable_mm)

    def judge_parallelism(self, tolerance_mm: float) -> Verdict:
        """Judge the lean over the seat's length against a tolerance (a zone's diameter)."""
        length = abs(self.seat_mm[1] - self.seat_mm[0])
        lean, covariance = self.values[2:] * length, self.covariance[2:, 2:] * length**2
        return predicted_verdict(lean, covariance, tolerance_mm, self.dof_lean)

    def draw(self, rng: np.random.Generator, draws: int = DRAWS) -> tuple[MonteCarlo, MonteCarlo]:
        """Return coaxiality and parallelism by drawing every link: the second road.

        Coaxiality is twice the larger offset of both ends of the seat.
        """
        ends, lean = np.zeros((2, draws, 2)), np.zeros((draws, 2))
        for link in self.links:
            drawn = np.array(link.value) + link.spread.draw(rng, draws)
            for end, at in zip(ends, self.seat_mm, strict=True):
                end += link.arms(at, self.located_mm) * drawn
            if link.kind == "lean":
                lean += drawn
        length = abs(self.seat_mm[1] - self.seat_mm[0])
        coaxial = 2 * np.max(np.linalg.norm(ends, axis=2), axis=0)
        return summarise(coaxial), summarise(length * np.linalg.norm(lean, axis=1))


def second_end(
    chain: Sequence[Link | SweepFailure],
    seat_mm: tuple[float, float],
    *,
    located_mm: float = 0.0,
) -> ChainResult | SweepFailure:
    """Return what the second bore will be to the first if it is cut now.

    Parameters
    ----------
    chain
        Everything that stands between the two axes; taken as independent.
    seat_mm
        Heights of both ends of the second seat, along the axis.
    located_mm
        Height at which the first bore is located (the middle of the plug's hold).

    Returns
    -------
    ChainResult or SweepFailure
        A failure without links, with a seat of no length, where a value is not a finite
        number, or where a link was a failure (handed on).
    """
    for link in chain:
        if isinstance(link, SweepFailure):
            return link
    links = [link for link in chain if isinstance(link, Link)]
    reason = _unusable(links, seat_mm, located_mm)
    if reason is not None:
        return SweepFailure(reason)
    middle = sum(seat_mm) / 2
    values = sum((_at(link, middle, located_mm)[0] for link in links), np.zeros(4))
    covariance = sum((_at(link, middle, located_mm)[1] for link in links), np.zeros((4, 4)))
    places = [_place(links, end, located_mm) for end in seat_mm]
    bounds = [radial_quantile(0.95, p, widened(c, dof)) for p, c, dof in places]
    worse = int(np.argmax(bounds))
    place, wide, dof_place = places[worse]
    dof_lean = _dof(links, [link.kind == "lean" for link in links])
    length = abs(seat_mm[1] - seat_mm[0])
    lean_wide = widened(covariance[2:, 2:], dof_lean)
    nothing = np.zeros(2)
    return ChainResult(
        values=values,
        covariance=covariance,
        dof_place=dof_place,
        dof_lean=dof_lean,
        coaxiality_mm=2 * max(float(np.hypot(*p)) for p, _, _ in places),
        coaxiality_bound_mm=2 * bounds[worse],
        coaxiality_least_mm=2 * radial_quantile(0.95, nothing, widened(wide, dof_place)),
        parallelism_mm=length * float(np.hypot(*values[2:])),
        parallelism_bound_mm=length * radial_quantile(0.95, values[2:], lean_wide),
        parallelism_least_mm=length * radial_quantile(0.95, nothing, lean_wide),
        weights=_weights(links, seat_mm[worse], located_mm),
        worse_end_mm=seat_mm[worse],
        place=place,
        place_covariance=wide,
        seat_mm=seat_mm,
        located_mm=located_mm,
        links=tuple(links),
        message=f"{len(links)} links, seat {min(seat_mm):g} to {max(seat_mm):g} mm",
    )


def _unusable(links: Sequence[Link], seat_mm: tuple[float, float], located_mm: float) -> str | None:
    if not links:
        return "A chain needs one link or more."
    if not np.isfinite([*seat_mm, located_mm]).all():
        return "A height of the seat is not a number."
    if seat_mm[0] == seat_mm[1]:
        return "The second seat has no length."
    for link in links:
        arm = 0.0 if link.arm_from_mm is None else link.arm_from_mm
        if not (
            np.isfinite([*link.value, arm]).all() and np.isfinite(link.spread.covariance).all()
        ):
            return f"The link {link.name!r} holds something that is not a number."
        if np.linalg.eigvalsh(link.spread.covariance)[0] < -1e-15:
            return f"The link {link.name!r} has a covariance that cannot be."
    return None


def _at(link: Link, at_mm: float, located_mm: float) -> tuple[Float, Float]:
    """Return one link's part of (x, y, lean x, lean y) at a height, and its covariance."""
    arm = link.arms(at_mm, located_mm)
    spread = np.vstack([arm * np.eye(2), (link.kind == "lean") * np.eye(2)])
    return spread @ np.array(link.value), spread @ link.spread.covariance @ spread.T


def _place(links: Sequence[Link], at_mm: float, located_mm: float) -> tuple[Float, Float, float]:
    parts = [_at(link, at_mm, located_mm) for link in links]
    dof = _dof(links, [link.arms(at_mm, located_mm) for link in links])
    return (
        np.asarray(sum(value[:2] for value, _ in parts)),
        np.asarray(sum(covariance[:2, :2] for _, covariance in parts)),
        dof,
    )


def _dof(links: Sequence[Link], factors: Sequence[float]) -> float:
    """Return effective degrees of freedom of the traces (Welch-Satterthwaite)."""
    lines = [
        BudgetLine(
            link.name, abs(f) * float(np.trace(link.spread.covariance)) ** 0.5, link.spread.dof
        )
        for link, f in zip(links, factors, strict=True)
    ]
    return combine(lines).dof


def _weights(links: Sequence[Link], at_mm: float, located_mm: float) -> tuple[Weight, ...]:
    variance = [float(np.trace(link.spread.covariance)) for link in links]
    place = [v * link.arms(at_mm, located_mm) ** 2 for v, link in zip(variance, links, strict=True)]
    lean = [v * (link.kind == "lean") for v, link in zip(variance, links, strict=True)]
    all_place, all_lean = sum(place) or 1.0, sum(lean) or 1.0
    found = [
        Weight(link.name, (p / 2) ** 0.5, p / all_place, t / all_lean)
        for link, p, t in zip(links, place, lean, strict=True)
    ]
    return tuple(sorted(found, key=lambda one: -one.place_share))
