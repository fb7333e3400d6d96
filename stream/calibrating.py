"""The calibration of the camera in use: begun, finished and saved by command.

The work is done by a thread of its own; the main loop asks for what is new and publishes it.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from math import isfinite
from typing import Any

from calibration.boards import OUR_BOARD, Board
from calibration.calibrate import LEAST_VIEWS, report
from calibration.camera_settings import CameraState, focus_warning
from calibration.camera_store import CameraStore, Origin, plain_origin
from calibration.sheets import scale_of
from readings import BadInputError
from stream.calibrating_worker import BoardWorker
from stream.cameras import Camera
from stream.messages import Answer, CalibrationView

DO = ("start", "finish", "more", "save", "stop")
JOIN_S = 2.0


class Calibrating:
    """One calibration at a time; all of it belongs to the main loop.

    Parameters
    ----------
    store
        Where models are kept.
    ring
        Wakes the main loop; from any thread.
    now
        The wall's clock in UTC.
    """

    def __init__(
        self, store: CameraStore, ring: Callable[[], None], now: Callable[[], datetime]
    ) -> None:
        self._store, self._ring, self._now = store, ring, now
        self._camera: Camera | None = None
        self._worker: BoardWorker | None = None
        self._view = CalibrationView()
        self._told: CalibrationView | None = None

    @property
    def active(self) -> bool:
        """Whether one is under way."""
        return self._worker is not None

    def news(self) -> CalibrationView | None:
        """Return how it stands where that changed since it was asked last."""
        view = self._view if self._worker is None else self._worker.view
        if view == self._told:
            return None
        self._told = view
        return view

    def do(self, args: Mapping[str, Any], camera: Camera, *, running: bool) -> Answer:
        """Do what a command asks; `running` is whether a setup runs."""
        what = args.get("do")
        try:
            if what == "start":
                return self._start(args, camera, running=running)
            if what == "stop":
                return self._stop()
            if what in DO:
                return self._with(str(what))
        except BadInputError as error:
            return Answer(False, f"{str(error)[0].upper()}{str(error)[1:]}")
        return Answer(False, f"A calibrate command needs `do`: {', '.join(DO)}.")

    def close(self) -> None:
        """End what is under way; nothing is kept of it."""
        worker, self._worker = self._worker, None
        if self._camera is not None:
            self._camera.tap.opened = False
        if worker is not None:
            worker.stop()
            if worker.ident is not None:
                worker.join(JOIN_S)

    def _start(self, args: Mapping[str, Any], camera: Camera, *, running: bool) -> Answer:
        if running:
            return Answer(False, "A setup is running: finish it or give it up, then calibrate.")
        if self._worker is not None:
            return Answer(False, "A calibration is under way: save it or give it up first.")
        board = board_asked(args)
        self._camera = camera
        self._worker = BoardWorker(camera.tap, board, camera.name, self._ring)
        camera.tap.opened = True
        self._worker.start()
        return Answer(True, "Show the camera the board, and hold it still in many places.")

    def _stop(self) -> Answer:
        if self._worker is None and self._view.state != "saved":
            return Answer(False, "No calibration is under way.")
        given_up = self._worker is not None
        self.close()
        self._view = CalibrationView()
        said = "The calibration is given up; nothing was changed." if given_up else ""
        return Answer(True, said)

    def _with(self, what: str) -> Answer:
        worker = self._worker
        if worker is None:
            return Answer(False, "No calibration is under way: start one.")
        state = worker.view.state
        if what == "save":
            return self._save(worker)
        if what == "more":
            if state not in ("judged", "refused"):
                return Answer(False, "Views are being taken already.")
            worker.more()
            return Answer(True, "Show further places and tilts.")
        if state != "taking":
            return Answer(False, "The model is being made or is there: save it, or take more.")
        if worker.view.taken < LEAST_VIEWS:
            said = f"{worker.view.taken} view(s) so far, {LEAST_VIEWS} or more are needed."
            return Answer(False, said)
        worker.finish()
        return Answer(True, "Making the model.")

    def _save(self, worker: BoardWorker) -> Answer:
        found, camera = worker.found, self._camera
        if found is None or camera is None or worker.view.state != "judged":
            return Answer(False, "There is no model yet: finish the views first.")
        if not worker.view.good:
            return Answer(False, f"This model is {found.verdict}: it is not kept. Take it anew.")
        state = getattr(camera.eyes.source, "state", None)
        state = state if isinstance(state, CameraState) else None
        identity = camera.name if state is None else state.identity
        origin = Origin(identity, self._now(), state)
        try:
            path = self._store.keep_model(
                identity, found.camera, report(found) | plain_origin(origin)
            )
        except OSError as error:
            said = f"The model cannot be written ({error.strerror}): make room, and save again."
            return Answer(False, said)
        self._view = replace(
            worker.view,
            state="saved",
            headline="Saved",
            detail=f"Use it from now on with: run --camera {path}. {focus_warning(state)}".strip(),
            saved_to=str(path),
        )
        self.close()
        return Answer(True, f"Saved to {path}.")


def board_asked(args: Mapping[str, Any]) -> Board:
    """Return the board that a command tells; ours where it tells none.

    Raises
    ------
    BadInputError
        If a number is none, or there can be no such board.
    """
    pattern = args.get("pattern", OUR_BOARD.pattern)
    if pattern not in ("charuco", "chessboard"):
        msg = f"the pattern {str(pattern)[:40]!r} is not known: give charuco or chessboard."
        raise BadInputError(msg)
    board = Board(
        pattern,
        int(_number(args, "columns", OUR_BOARD.columns)),
        int(_number(args, "rows", OUR_BOARD.rows)),
        _number(args, "square_mm", OUR_BOARD.square_mm),
    )
    rulers = (_given(args, "ruler_width_mm"), _given(args, "ruler_height_mm"))
    return replace(board, stretch=(scale_of(rulers[0], 0), scale_of(rulers[1], 1)))


def _given(args: Mapping[str, Any], name: str) -> float | None:
    return None if args.get(name) is None else _number(args, name, 0.0)


def _number(args: Mapping[str, Any], name: str, otherwise: float) -> float:
    value = args.get(name, otherwise)
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        msg = f"the board's {name} is {str(value)[:40]!r}: give a number."
        raise BadInputError(msg)
    return float(value)
