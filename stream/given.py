"""What a session is given: how it tells, what it sees, what its setups are made with."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from calibration.handwheels import Handwheel
from readings import CollarAngle, Frame, Reading
from setups import Instrument, ShopLine
from stream.messages import Topic
from vision.target_pair import TargetPair


class Publish(Protocol):
    """How the session tells what happened."""

    def __call__(self, topic: Topic, body: object, payload: bytes | None = None) -> None:
        """Publish `body` under `topic`."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One picture with what was read in it."""

    frame: Frame
    reading: Reading
    collar: CollarAngle | None
    pair: TargetPair | None = None
    """The two targets, in a guide that looks at targets; its turn is the collar's."""
    at_targets: bool = False


@dataclass(frozen=True, slots=True)
class Tools:
    """What the setups of this service are made with.

    `snapshots` go on record with each setup: dial, camera, collar as they are known. `shop_lines`
    stand at the end of its checklists.
    """

    instrument: Instrument
    wheels: tuple[Handwheel, ...] = ()
    snapshots: Mapping[str, Mapping[str, Any]] | None = None
    source: str = ""
    shop_lines: tuple[ShopLine, ...] = ()
