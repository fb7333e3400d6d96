"""What the person is told: screen, speech and the agent in the tests read the same Advice."""

from dataclasses import dataclass
from typing import Literal

from readings import Axis, Direction
from setups.measured import Do, VerdictWord

Wanted = Literal["key", "ticks", "sizes", "place", "still", "stop", "turn", "nothing"]
"""What the step waits for: a key, the list's ticks, sizes and a key, a key at a place, a still
stop at a place told, one more still stop anywhere else, a full turn, nothing."""


@dataclass(frozen=True, slots=True)
class Move:
    """One move of one thing along one axis.

    Attributes
    ----------
    what
        What moves: the table, or the stylus on its arm.
    direction
        The operator's word for the way it moves, as in "to the right".
    move_mm
        Signed travel along +axis; 0 where only the needle can tell how far.
    divisions, wheel_turning
        The same on the handwheel, None where the wheel is not known or the travel is not.
    stylus
        Where the stylus stands during the move.
    needle_mm
        The reading to bring the needle to, at the stylus' present angle.
    window_mm
        Half-width about `needle_mm` that counts as there.
    approach
        A sentence: from which side to finish, backlash taken up.
    back_off_mm
        Travel to go back first, before the finish (0: none needed).
    """

    what: Literal["table", "stylus"]
    axis: Axis
    direction: str
    move_mm: float
    divisions: float | None
    wheel_turning: Literal["clockwise", "anticlockwise"] | None
    stylus: Direction
    needle_mm: float
    needle_divisions: float
    window_mm: float
    approach: str
    back_off_mm: float


@dataclass(frozen=True, slots=True)
class Advice:
    """Everything that is said at one moment of a setup.

    Attributes
    ----------
    headline
        Five words or so, legible at three metres.
    detail
        One or two sentences under it.
    say
        What is spoken once when the advice changes.
    wants
        What the step waits for.
    stylus
        Where the stylus should be turned to, None where it does not matter.
    moves, move
        All moves of this round in order, and the index of the one to make now.
    note
        Why the last thing seen was not taken, or "" where all is well.
    verdict
        Of the last finished round, None before.
    todo, todos
        The thing to do now and all of this round, in guides that move no table.
    """

    headline: str
    detail: str
    say: str
    wants: Wanted
    stylus: Direction | None = None
    moves: tuple[Move, ...] = ()
    move: int | None = None
    note: str = ""
    verdict: VerdictWord | None = None
    todo: Do | None = None
    todos: tuple[Do, ...] = ()
    stops_deg: tuple[float, ...] = ()
    """Where stops of an orbit were taken so far, anticlockwise."""
