"""The state of one setup, what happens to it, and what it asks to be done.

All frozen and plain, so that msgspec writes the state to JSON and a restarted
service resumes it.
"""

from dataclasses import dataclass
from math import cos, sin
from typing import Literal

from calibration.handwheels import Handwheel
from readings import Axis, Direction, Sweep
from setups.checklists import Change, ShopLine, Tick
from setups.measured import Measured, Run, TargetStop, VerdictWord
from setups.state_task import NO_TASK, TaskState
from sweeps import CentringResult, SweepResult, Trend

DegArc = tuple[int, int]
"""From, to in whole degrees of θ within [0, 360), anticlockwise: (350, 10) runs through zero."""
Zone = Literal["inside", "low", "high", "unknown"]
"""Where a reading stands in the dial's travel: low is off the work, high is at its end."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """The dial as the guide needs to know it."""

    name: str
    graduation_mm: float
    marks_per_turn: int
    travel_mm: tuple[float, float] | None
    tip_radius_mm: float = 1.0
    u_by_span_mm: tuple[tuple[float, float], ...] = ()
    """(span, u): standard uncertainty of the dial itself on half the swing of a sweep that
    swings no further than the span; spans rise. Empty while the dial is unchecked."""

    def u_dial_mm(self, span_mm: float) -> float | None:
        """Return the dial's own uncertainty on half a swing; None where nothing is known."""
        return next((u for span, u in self.u_by_span_mm if span_mm <= span), None)


@dataclass(frozen=True, slots=True)
class CollarZero:
    """What the two pointing marks told: θ = sense · (collar angle - zero)."""

    right_rad: float
    zero_rad: float | None = None
    sense: Literal[-1, 1] | None = None


@dataclass(frozen=True, slots=True)
class Rough:
    """Where rough centring stands on one axis: the readings at its two stops, and the goal."""

    axis: Axis = "y"
    stop: Direction = "back"
    near_mm: float | None = None
    """Reading at the axis' positive stop (back or right)."""
    far_mm: float | None = None
    """Reading at the negative stop (front or left)."""
    goal_mm: float | None = None
    seen_mm: float | None = None
    """The reading last seen at this stop while a goal stands."""
    what: Literal["table", "stylus"] = "table"
    final: bool = False
    tries: int = 0


@dataclass(frozen=True, slots=True)
class Found:
    """The numbers of one pair of turns, as they are shown, spoken and kept."""

    offset_x_mm: float
    offset_y_mm: float
    u_x_mm: float
    u_y_mm: float
    eccentricity_mm: float
    u_eccentricity_mm: float
    u_dial_mm: float | None
    mean_mm: float
    lobes: tuple[tuple[int, float, float], ...]
    """(order, a_n, b_n) of the reading for orders 2 and up, mm."""
    sideways_mm: float
    ovality_mm: float | None
    tir_mm: float
    return_mm: float | None
    verdict: VerdictWord
    guard_mm: float
    least_provable_mm: float
    locked: bool
    flags: tuple[str, ...] = ()
    left_out: tuple[DegArc, ...] = ()
    """Arcs that a person left out by hand."""

    def shape_mm(self, theta_rad: float) -> float:
        """Mean plus orders two and up of the reading at θ (mm)."""
        return self.mean_mm + sum(
            a * cos(n * theta_rad) + b * sin(n * theta_rad) for n, a, b in self.lobes
        )


@dataclass(frozen=True, slots=True)
class Fine:
    """The fine loop: the first turn of a pair, the moves of the round, how many rounds."""

    first: SweepResult | None = None
    axes: tuple[Axis, ...] = ()
    move: int = 0
    remaining_mm: float | None = None
    """Signed table travel still to go at the move in hand, from the needle."""
    corrections: int = 0
    sweeps: tuple[Sweep, ...] = ()
    """The turns in hand, in θ, whole: the first of a pair, or both from which the moves come;
    not kept over a restart."""


@dataclass(frozen=True, slots=True)
class SetupState:
    """One setup, whole."""

    guide: str
    part: str
    operation: str
    tolerance_mm: float
    diameter_mm: float | None
    instrument: Instrument
    wheels: tuple[Handwheel, ...]
    step: str = "prepare"
    revision: int = 0
    active_s: float = 0.0
    ticks: tuple[Tick, ...] = ()
    collar: CollarZero | None = None
    rough: Rough = Rough()
    fine: Fine = Fine()
    task: TaskState = NO_TASK
    history: tuple[Found, ...] = ()
    note: str = ""
    camera_lost: bool = False
    shop_lines: tuple[ShopLine, ...] = ()
    resume: str = ""
    """The step to go on with once a list that lapsed on the way is touched again."""
    left_out: tuple[DegArc, ...] = ()
    """Arcs that a person left out by hand, of every turn until they are taken back."""

    @property
    def found(self) -> Found | None:
        """The latest numbers."""
        return self.history[-1] if self.history else None

    def theta_rad(self, collar_rad: float) -> float | None:
        """Return the stylus angle θ for a collar angle, None before both pointing marks."""
        mark = self.collar
        if mark is None or mark.zero_rad is None or mark.sense is None:
            return None
        return mark.sense * (collar_rad - mark.zero_rad)


# What happens to a setup


@dataclass(frozen=True, slots=True)
class Next:
    """The person touched next (a button, any typed key)."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Sized:
    """The person entered a size."""

    key: str
    value: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Touched:
    """The person touched one line of a list."""

    checklist: str
    line: str
    who: str
    at_s: float


@dataclass(frozen=True, slots=True)
class Still:
    """Needle and collar stood still long enough.

    `moved` tells whether anything moved since the step was entered; `trend` how the
    needle moved last, None where it is not known. `value_mm` is None where the dial
    could not be read, `collar_rad` None where no collar is in sight.
    """

    at_s: float
    collar_rad: float | None
    value_mm: float | None
    sigma_mm: float | None
    moved: bool
    trend: Trend | None = None
    target: TargetStop | None = None
    """Where a turning target stands, in guides that look at targets."""


@dataclass(frozen=True, slots=True, eq=False)
class Turned:
    """A full turn was captured; its angles are the collar's own."""

    at_s: float
    sweep: Sweep


@dataclass(frozen=True, slots=True)
class Void:
    """What was being captured is void, and why (a flag's name)."""

    at_s: float
    flag: str


@dataclass(frozen=True, slots=True)
class CameraLost:
    """No picture any more."""

    at_s: float


@dataclass(frozen=True, slots=True)
class CameraBack:
    """Pictures again."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Changed:
    """A person or a page says that something changed which the lists hang on."""

    what: Change
    at_s: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A person leaves an arc out of what counts, or takes it back (`out` False)."""

    arc: DegArc
    out: bool
    at_s: float


@dataclass(frozen=True, slots=True)
class Clock:
    """Time passed."""

    at_s: float


Event = (
    Next
    | Sized
    | Touched
    | Still
    | Turned
    | Void
    | LeftOut
    | CameraLost
    | CameraBack
    | Changed
    | Clock
)


# What a setup asks to be done


@dataclass(frozen=True, slots=True)
class KeepTick:
    """Put a touch of a checklist line on record."""

    tick: Tick
    ticked: bool


@dataclass(frozen=True, slots=True, eq=False)
class KeepTurn:
    """The turn just captured was taken, or was void."""

    purpose: Literal["turns", "check"]
    result: SweepResult | None
    reason: str
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class KeepResult:
    """Numbers of a pair of turns, to be kept with a photo; `again`: found anew without one."""

    found: Found
    result: CentringResult
    again: bool = False


@dataclass(frozen=True, slots=True)
class KeepMeasured:
    """What a round of another guide found, with the readings at its places."""

    task: str
    measured: Measured
    runs: tuple[Run, ...]


@dataclass(frozen=True, slots=True)
class Finish:
    """The setup is finished: put it in the book."""

    found: Found | Measured


Effect = KeepTick | KeepTurn | KeepResult | KeepMeasured | Finish
