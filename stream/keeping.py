"""What a restarted service needs to go on with the setup it was in."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import msgspec
import numpy as np

from setups import SetupState, after_restart
from setups.checklists import LAPSE_AFTER_S
from stream.messages import Trace

SESSION_KEY = "session"
KEEP_ACTIVE_S = 30.0
"""How far the kept time of the last activity may be behind."""

RESTARTED = "The service was started again: what was half done is done anew."


@dataclass(frozen=True, slots=True)
class Kept:
    """The live setup as it stands in the book's scratch.

    `at_s` is the session's time and `at_utc` the wall's when it was kept: a restarted
    service has another clock, and the time between must count against the checklists.
    """

    state: SetupState
    setup_id: int
    job: str
    revision: int
    at_s: float
    at_utc: datetime
    finished: bool = False
    trace: Trace = field(default_factory=Trace)

    def encode(self) -> bytes:
        """Return this as bytes; turns in hand are not kept, they are turned again."""
        state = self.state
        fine = replace(state.fine, first=None, sweeps=())
        task = replace(state.task, first=None, pairs=())
        bare = replace(state, fine=fine, task=task, camera_lost=False)
        return msgspec.msgpack.encode(replace(self, state=bare))

    def tells_more_than(self, other: "Kept") -> bool:
        """Whether a restart from `other` would lose something that this tells."""
        if abs(self.state.active_s - other.state.active_s) > KEEP_ACTIVE_S:
            return True
        return self._timeless() != other._timeless()

    def _timeless(self) -> "Kept":
        state = replace(self.state, active_s=0.0, revision=0)
        return replace(self, state=state, revision=0, at_s=0.0, at_utc=datetime.min)

    @classmethod
    def decode(cls, content: bytes) -> "Kept | None":
        """Return what was kept; None where another version kept it in another form."""
        try:
            return msgspec.msgpack.decode(content, type=cls, dec_hook=_no_array)
        except msgspec.MsgspecError:
            return None


def _no_array(kind: type, value: object) -> object:
    """Refuse what only a first turn would hold."""
    msg = f"a kept state holds no {kind}: {value!r}"
    raise ValueError(msg)


def taken_up(kept: Kept, now_s: float, now_utc: datetime) -> SetupState:
    """Return the kept state on the present clock, told what happened.

    Ticks keep their age in wall time; where the wall's clock went back, they lapse.
    """
    passed_s = (now_utc.astimezone(UTC) - kept.at_utc).total_seconds()
    if passed_s < 0:
        passed_s = LAPSE_AFTER_S
    shift_s = now_s - passed_s - kept.at_s
    state = kept.state
    ticks = tuple(replace(tick, at_s=tick.at_s + shift_s) for tick in state.ticks)
    aged = replace(state, ticks=ticks, active_s=state.active_s + shift_s)
    return after_restart(aged, RESTARTED)


def from_numpy(value: object) -> object:
    """Return a numpy scalar or array as plain data, for msgspec's `enc_hook`."""
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    msg = f"a {type(value).__name__} cannot be written down"
    raise TypeError(msg)


_LEFT_OUT = ("residuals_mm", "kept", "model")
"""Of a sweep's result: one number a sample, found again from the samples themselves."""


def result_body(result: object) -> dict[str, Any]:
    """Return a result (a frozen dataclass, arrays allowed) as the JSON object that is kept."""
    body: dict[str, Any] = msgspec.to_builtins(result, enc_hook=from_numpy)
    return {name: value for name, value in body.items() if name not in _LEFT_OUT}


def plain(value: object) -> Mapping[str, Any]:
    """Return a dataclass as plain data."""
    return msgspec.to_builtins(value, enc_hook=from_numpy)  # type: ignore[no-any-return]
