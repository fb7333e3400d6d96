"""How far a guide other than centring has come."""

from dataclasses import dataclass

from readings import Sweep
from setups.measured import Measured, Run, Seen
from sweeps import CentringResult


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """One turn each way, as swept and combined (None on a face), taken at one step.

    Its angles are the stylus' (or the work's) own.
    """

    step: str
    sweeps: tuple[Sweep, Sweep]
    combined: CentringResult | None


@dataclass(frozen=True, slots=True)
class TaskState:
    """What was entered, taken in and found; `first` and `pairs` are not kept over a restart."""

    sizes: tuple[tuple[str, float], ...] = ()
    seen: tuple[Seen, ...] = ()
    """Readings at the places of the run in hand."""
    runs: tuple[Run, ...] = ()
    """Finished runs of this round."""
    first: Sweep | None = None
    """First turn of the pair in hand."""
    pairs: tuple[Pair, ...] = ()
    """Finished pairs of turns of this round."""
    todo: int = 0
    """Which of the things to do is in hand."""
    history: tuple[Measured, ...] = ()
    corrections: int = 0

    @property
    def found(self) -> Measured | None:
        """The latest result."""
        return self.history[-1] if self.history else None

    def size(self, key: str) -> float:
        """Return an entered size."""
        return dict(self.sizes)[key]

    def run(self, step: str) -> tuple[Seen, ...]:
        """Return the readings of a finished run."""
        return next(run.seen for run in self.runs if run.step == step)

    def pair(self, step: str) -> Pair:
        """Return a finished pair of turns."""
        return next(pair for pair in self.pairs if pair.step == step)


NO_TASK = TaskState()
"""Nothing entered, taken in or found."""
