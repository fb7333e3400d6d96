"""A job's plan: parts in a batch, operations in order, and what comes next. Pure data."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from setups.guide import Guide

CellState = Literal["not yet", "in hand", "done"]
"""Of one operation on one part; `done` is finished in the book, whatever its verdict."""

Place = tuple[str, str]
"""A part's name and an operation's: one cell of the grid."""


@dataclass(frozen=True, slots=True)
class PlannedOperation:
    """One operation of a job, with all that a setup of it is begun with.

    `datum` says in words what the part is held and measured from; of `sizes` (key, value in
    the size's own unit) those that are not given are as usual.
    """

    name: str
    guide: str
    tolerance_mm: float
    datum: str = ""
    tolerance_source: str = ""
    diameter_mm: float | None = None
    machine: str = ""
    sizes: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class JobPlan:
    """Parts and operations of one job, each in its order.

    The batch goes through one operation after another, or, `part_by_part`, each part through
    all of them.
    """

    job: str
    parts: tuple[str, ...]
    operations: tuple[PlannedOperation, ...]
    part_by_part: bool = False

    def operation(self, name: str | None) -> PlannedOperation | None:
        """Return the operation of this name, None where there is none."""
        return next((one for one in self.operations if one.name == name), None)

    def places(self) -> Iterator[Place]:
        """Yield every part and operation, in the order in which they are done."""
        names = [operation.name for operation in self.operations]
        if self.part_by_part:
            yield from ((part, name) for part in self.parts for name in names)
        else:
            yield from ((part, name) for name in names for part in self.parts)


def next_place(plan: JobPlan, states: Mapping[Place, CellState]) -> Place | None:
    """Return the first place at which nothing was begun yet, None where there is none.

    What is finished without being inside is not offered again by itself: a bore that is cut
    does not become true by measuring it once more. It is shown as it is.
    """
    return next((at for at in plan.places() if states.get(at, "not yet") == "not yet"), None)


def parts_by_count(pattern: str, count: int) -> tuple[str, ...]:
    """Return the names of a batch's parts; `{}` in the pattern holds the number.

    >>> parts_by_count("Casting {}", 2), parts_by_count("End", 2)
    (('Casting 1', 'Casting 2'), ('End 1', 'End 2'))
    """
    held = pattern if "{}" in pattern else f"{pattern} {{}}"
    return tuple(held.replace("{}", str(number)) for number in range(1, count + 1))


_PAIR = (
    ("First seat", "centre-bore", "machined back face"),
    ("Plug", "centre-plug", "plug clamped to the table"),
    ("Second seat", "second-end", "first seat over the plug"),
    ("Proof", "prove-pair", "first seat"),
)


def pair_operations(guides: Mapping[str, Guide]) -> tuple[PlannedOperation, ...]:
    """Return the operations of two seats on one axis, each as its guide has it by itself."""
    return tuple(
        PlannedOperation(name, key, guides[key].default_tolerance_mm, datum)
        for name, key, datum in _PAIR
    )
