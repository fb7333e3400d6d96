"""Every guide's task by its name: the state of a full round in, what it found out."""

from collections.abc import Callable

from setups.guide import TaskName
from setups.measured import CannotTell, Measured
from setups.state import SetupState
from setups.tasks_held import four_jaws, four_sides
from setups.tasks_orbit import rotation_axis
from setups.tasks_pair import proof_of_pair, second_end_to_come
from setups.tasks_placed import (
    bar_between_centres,
    level_jacks,
    share_on_centres,
    square_reversed,
)
from setups.tasks_stops import centre_by_stops, tram_by_stops
from setups.tasks_turned import bar_runout, square_face, tram_head

TASKS: dict[TaskName, Callable[[SetupState], Measured | CannotTell]] = {
    "tram": tram_head,
    "face": square_face,
    "bar": bar_runout,
    "axis": rotation_axis,
    "jaws": four_jaws,
    "sides": four_sides,
    "between-centres": bar_between_centres,
    "square": square_reversed,
    "jacks": level_jacks,
    "hung": share_on_centres,
    "second-end": second_end_to_come,
    "prove": proof_of_pair,
    "tram-stops": tram_by_stops,
    "centre-stops": centre_by_stops,
}
"""Centring has a loop of its own in `setups.machine`."""
