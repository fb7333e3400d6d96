"""Whether it all goes under the spindle, and a tool can be changed with the table locked.

All heights stand on the table. The stack from below: parallels or rollers, work; from
above, out of the spindle's nose: holder and tool. Daylight is the room between nose and
table. With knee and slides locked only the quill moves, from its retracted nose downwards.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, isfinite
from typing import Literal

from sweeps.budget import BudgetLine, Verdict, combine, verdict_between
from sweeps.result import SweepFailure


@dataclass(frozen=True, slots=True)
class Height:
    """One thing in the stack: its height in mm and standard uncertainty."""

    name: str
    mm: float
    u_mm: float = 0.0
    dof: float = inf


@dataclass(frozen=True, slots=True)
class Machine:
    """Least and most room between retracted nose and table, and the quill's stroke, in mm."""

    least_mm: float
    most_mm: float
    quill_mm: float = 0.0
    u_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Tool:
    """One tool as it stands out of the nose, in mm.

    `out_mm` is holder and tool together; `release_mm` the drop it takes to come out (taper
    or shank); `depth_mm` how far below the work's top it must reach (0: the top itself).
    """

    name: str
    out_mm: float
    release_mm: float = 0.0
    depth_mm: float = 0.0
    u_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Daylight:
    """Room left over the stack with the table at its lowest; below zero it does not go."""

    left_mm: float
    u_mm: float
    dof: float
    stack_mm: float
    budget: tuple[BudgetLine, ...]

    def __bool__(self) -> Literal[True]:
        return True

    def judge(self, clearance_mm: float = 0.0) -> Verdict:
        """Judge whether this much room is left: "inside" it goes, "outside" it does not."""
        return verdict_between(self.left_mm, self.u_mm, (clearance_mm, inf), self.dof)


def daylight(
    machine: Machine, below: Sequence[Height], above: Sequence[Height]
) -> Daylight | SweepFailure:
    """Return the room left when the stack stands under the nose.

    Parameters
    ----------
    machine
        What it has.
    below
        Parallels, rollers, work: what stands on the table.
    above
        Holder and tool: what hangs from the nose.

    Returns
    -------
    Daylight or SweepFailure
        ``most - Σ heights``; a failure for nothing to stack, heights below zero or not
        numbers, or a machine whose most is under its least.
    """
    stack = [*below, *above]
    reason = _no_machine(machine) or _no_stack(stack)
    if reason is not None:
        return SweepFailure(reason)
    total = sum(height.mm for height in stack)
    budget = (
        BudgetLine("machine", machine.u_mm),
        *(BudgetLine(height.name, height.u_mm, height.dof) for height in stack),
    )
    whole = combine(budget)
    return Daylight(machine.most_mm - total, whole.u_mm, whole.dof, total, budget)


def _no_machine(machine: Machine) -> str | None:
    sizes = (machine.least_mm, machine.most_mm, machine.quill_mm, machine.u_mm)
    if not all(isfinite(size) and size >= 0 for size in sizes):
        return "A size of the machine is below zero or not a number."
    if machine.most_mm <= machine.least_mm:
        return "The machine's most room must be more than its least."
    return None


def _no_stack(stack: Sequence[Height]) -> str | None:
    if not stack:
        return "There is nothing to stack."
    for height in stack:
        if not (isfinite(height.mm) and height.mm >= 0 and height.u_mm >= 0):
            return f"The height of {height.name!r} is below zero or not a number."
    return None


@dataclass(frozen=True, slots=True)
class LockedTable:
    """Whether one locked height serves every tool; heights of the nose over the table, in mm.

    `low_mm` to `high_mm` are the heights at which the table may be locked: low enough for
    every tool to come out, high enough for each to reach. `spare_mm` is their difference;
    below zero no height serves, by that much. `u_mm` is of `spare_mm` (k = 1); `longest`
    and `shortest` are the tools (or "machine") that set the two ends.
    """

    low_mm: float
    high_mm: float
    spare_mm: float
    u_mm: float
    longest: str
    shortest: str

    def __bool__(self) -> Literal[True]:
        return True

    @property
    def lock_at_mm(self) -> float | None:
        """The middle of the heights that serve, None where none does."""
        return (self.low_mm + self.high_mm) / 2 if self.spare_mm >= 0 else None

    def judge(self) -> Verdict:
        """Judge whether tools can be changed with the table locked."""
        return verdict_between(self.spare_mm, self.u_mm, (0.0, inf))


def locked_table(
    machine: Machine,
    below: Sequence[Height],
    tools: Sequence[Tool],
    *,
    clearance_mm: float = 1.0,
) -> LockedTable | SweepFailure:
    """Return at which heights the table can be locked and every tool changed and used.

    Retracted, each tool must clear the work's top by `clearance_mm` once it has dropped by
    its release: ``nose >= top + out + release + clearance``. At full stroke it must reach
    its depth: ``nose - stroke <= top + out - depth``. Both within what the machine has.

    Returns
    -------
    LockedTable or SweepFailure
        A failure for no tools, sizes below zero or not numbers, or what `daylight` refuses.
    """
    reason = _no_machine(machine) or _no_stack(below) or _no_tools(tools, clearance_mm)
    if reason is not None:
        return SweepFailure(reason)
    top = sum(height.mm for height in below)
    lows = [(top + t.out_mm + t.release_mm + clearance_mm, t.name, t.u_mm) for t in tools]
    highs = [(top + t.out_mm - t.depth_mm + machine.quill_mm, t.name, t.u_mm) for t in tools]
    low = max([*lows, (machine.least_mm, "machine", machine.u_mm)])
    high = min([*highs, (machine.most_mm, "machine", machine.u_mm)])
    u_mm = hypot(low[2], high[2]) if low[1] != high[1] else 0.0
    if (low[1] == "machine") != (high[1] == "machine"):
        u_mm = hypot(u_mm, *(height.u_mm for height in below))
    return LockedTable(low[0], high[0], high[0] - low[0], u_mm, low[1], high[1])


def _no_tools(tools: Sequence[Tool], clearance_mm: float) -> str | None:
    if not tools:
        return "There is no tool to change."
    if not (isfinite(clearance_mm) and clearance_mm >= 0):
        return "The clearance is below zero or not a number."
    for tool in tools:
        sizes = (tool.out_mm, tool.release_mm, tool.depth_mm, tool.u_mm)
        if not all(isfinite(size) and size >= 0 for size in sizes):
            return f"A size of {tool.name!r} is below zero or not a number."
    return None
