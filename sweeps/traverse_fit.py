"""What is fitted to a traverse: a line, smooth form where it shows, retrace and drift."""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from sweeps.fourier import Float
from sweeps.linear import Linear, fit_linear
from sweeps.robust import Fitted

DENSE = 30
"""Readings from which a traverse is taken as continuous, each reading with its own scatter."""
_PER_WAVE = 6
_HIGHEST_FORM = 7
_FORM_COST = 1.3
"""Most by which fitted form may raise the variance of the slope."""
_MIN_BOTH_WAYS = 8
_MOST_OF_IT, _STRAIGHT_ON = 0.8, 1.2
"""A way there or back covers so much of the length, in no more than so many times its own."""
_BIN_COUNT = 40


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Readings along a line: places, readings and sigmas ``(n,)``, in the order taken."""

    place_mm: Float
    value_mm: Float
    sigma_mm: Float
    t_s: Float | None
    u_place_mm: float

    @property
    def middle_mm(self) -> float:
        """Middle of the length."""
        return float(self.place_mm.max() + self.place_mm.min()) / 2

    @property
    def length_mm(self) -> float:
        """From the first place to the last."""
        return float(np.ptp(self.place_mm))

    @property
    def dense(self) -> bool:
        """Whether readings came continuously."""
        return len(self.value_mm) >= DENSE


def turning_point(place_mm: Float) -> int | None:
    """Return the last index of the way there if the line was run there and back, else None."""
    if len(place_mm) < _MIN_BOTH_WAYS:
        return None
    turn = int(np.argmax(np.abs(place_mm - place_mm[0])))
    there, back = place_mm[: turn + 1], place_mm[turn:]
    length = float(np.ptp(place_mm))
    for way in (there, back):
        net = abs(float(way[-1] - way[0]))
        if len(way) < len(place_mm) / 4 or net < _MOST_OF_IT * length:
            return None
        if float(np.abs(np.diff(way)).sum()) > _STRAIGHT_ON * net:
            return None
    return turn


def fit_line(line: Line) -> Fitted[Linear]:
    """Fit level in the middle, slope, and what the readings show of form, retrace and drift.

    Form is fitted as Legendre polynomials, which on evenly run places leave the slope the
    least-squares one; retrace and drift only where the line was run there and back.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the places cannot carry a line.
    """
    names, nuisance = _nuisance(line)
    highest = min(_HIGHEST_FORM, len(line.value_mm) // _PER_WAVE) if line.dense else 1
    plain = np.column_stack([_columns(line, 1), *nuisance])
    best = np.linalg.pinv(plain.T @ plain)[1, 1]
    for order in range(highest, 1, -1):
        columns = np.column_stack([_columns(line, order), *nuisance])
        if np.linalg.pinv(columns.T @ columns)[1, 1] < _FORM_COST * best:
            form = tuple(f"form{k}" for k in range(2, order + 1))
            return _fit(line, columns, ("level", "slope", *form, *names))
    return _fit(line, plain, ("level", "slope", *names))


def _fit(line: Line, columns: Float, names: tuple[str, ...]) -> Fitted[Linear]:
    model = Linear(names, (1,))
    return fit_linear(
        model, columns, line.value_mm, line.sigma_mm, line.u_place_mm, reject=line.dense
    )


def _columns(line: Line, order: int) -> Float:
    """Return ``(n, order + 1)``: one, place from the middle in mm, then Legendre's P2 and up."""
    x = line.place_mm - line.middle_mm
    columns = legendre.legvander(2 * x / line.length_mm, order)
    columns[:, 1] = x
    return np.asarray(columns)


def _nuisance(line: Line) -> tuple[tuple[str, ...], list[Float]]:
    turn = turning_point(line.place_mm)
    if turn is None:
        return (), []
    way = np.where(np.arange(len(line.place_mm)) <= turn, 0.5, -0.5)
    if line.t_s is None or np.ptp(line.t_s) <= 0:
        return ("retrace",), [way]
    drift = (line.t_s - line.t_s.mean()) / np.ptp(line.t_s)
    return ("retrace", "drift"), [way, drift]


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Readings thinned to m places in order, what is no form taken off.

    ``value_mm = mix @ means``, the k means independent with `sigma_mm`.
    """

    place_mm: Float
    value_mm: Float
    mix: Float
    sigma_mm: Float

    def u_mm(self, weights: Float) -> float:
        """Return the standard uncertainty of ``weights @ value_mm`` from scatter."""
        return float(np.sqrt((weights @ self.mix) ** 2 @ self.sigma_mm**2))


def profile_of(line: Line, fit: Fitted[Linear], noise_mm: float | None) -> Profile:
    """Return kept readings as a profile: means of neighbours where there are many.

    `noise_mm` replaces the stated sigmas where the scatter between neighbours is known.
    Means stop half a group short of the ends; the ends are drawn out from the last two.
    """
    value = line.value_mm - _nuisance_part(line, fit)
    order = np.argsort(line.place_mm, kind="stable")
    order = order[fit.kept[order]]
    place, value, sigma = line.place_mm[order], value[order], line.sigma_mm[order]
    if not line.dense:
        return Profile(place, value, np.eye(len(place)), sigma)
    if noise_mm is not None:
        sigma = np.maximum(sigma, noise_mm)
    share = (place - place[0]) / (place[-1] - place[0])
    group = np.minimum((share * _BIN_COUNT).astype(np.intp), _BIN_COUNT - 1)
    _, group, count = np.unique(group, return_inverse=True, return_counts=True)
    means = [np.bincount(group, each) / count for each in (place, value)]
    spread = np.sqrt(np.bincount(group, sigma**2)) / count
    mix = _drawn_out(means[0], float(place[0]), float(place[-1]))
    return Profile(np.r_[place[0], means[0], place[-1]], mix @ means[1], mix, spread)


def _drawn_out(place: Float, near: float, far: float) -> Float:
    """Return ``(k + 2, k)``: the means themselves, before and after them the drawn-out ends."""
    mix = np.vstack([np.zeros(len(place)), np.eye(len(place)), np.zeros(len(place))])
    for row, end, (at, beside) in ((0, near, (0, 1)), (-1, far, (-1, -2))):
        reach = (end - place[at]) / (place[at] - place[beside])
        mix[row, at], mix[row, beside] = 1 + reach, -reach
    return mix


def _nuisance_part(line: Line, fit: Fitted[Linear]) -> Float:
    names, nuisance = _nuisance(line)
    part = np.zeros(len(line.value_mm))
    for name, column in zip(names, nuisance, strict=True):
        part += fit.beta[fit.model.parameters.index(name)] * column
    return part


def noise_between_neighbours_mm(value_mm: Float) -> float:
    """Return the scatter from reading to reading, free of smooth form (third differences)."""
    return float(1.4826 * np.median(np.abs(np.diff(value_mm, 3))) / np.sqrt(20.0))
