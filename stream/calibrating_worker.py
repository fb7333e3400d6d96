"""The thread that looks for a board in a camera's pictures, and makes the model."""

import logging
import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.boards import Board, LeftOut, View
from calibration.calibrate import Calibration, calibrate
from calibration.coverage_gather import Gathering
from readings import BadInputError, Frame
from stream.calibrating_view import judged_view, refused_view, taking_view
from stream.cameras import Tap
from stream.messages import CalibrationView
from stream.workers import WAIT_S, Worker
from vision.board_find import find_board

LOG = logging.getLogger("sparehand.stream")

BROKE = "Something broke while the model was made; the service's log says what."
NO_PICTURE = (
    "No picture comes from this camera: one that is read on another computer is calibrated "
    "there, with camera calibrate."
)
PATIENCE_S = 3.0
AWAY_S = 0.8
"""A board not seen for so long is away; until then it is on its way."""


class BoardWorker(Worker):
    """Takes views until there are enough or it is told to make the model; then again if wanted.

    Parameters
    ----------
    tap
        The camera's newest picture.
    tell
        Called whenever there is something new to show.
    """

    def __init__(self, tap: Tap, board: Board, camera: str, tell: Callable[[], None]) -> None:
        super().__init__("board")
        self._tap, self._board, self._tell = tap, board, tell
        self._gathering = Gathering()
        self._finish = threading.Event()
        self._more = threading.Event()
        self._empty_s = 0.0
        self._began_s: float | None = None
        self._board_s = float("-inf")
        self.view = taking_view(camera, self._gathering)
        self.found: Calibration | None = None

    def finish(self) -> None:
        """Make the model from the views there are."""
        self._finish.set()

    def more(self) -> None:
        """Take further views, beside those there are."""
        self._more.set()

    def run(self) -> None:
        """Work until stopped."""
        while not self._stopped.is_set():
            if self.view.state == "taking":
                self._take()
            elif self._more.wait(WAIT_S):
                self._begin_again()

    def _begin_again(self) -> None:
        self._more.clear()
        self._finish.clear()
        self.found = None
        self._show(taking_view(self.view.camera, self._gathering))

    def _take(self) -> None:
        if self._finish.is_set():
            self._judge()
            return
        frame = self._tap.take(WAIT_S)
        if frame is None or frame.image is None:
            self._wait_longer()
        elif self._gathering.wants(frame.t_s):
            self._look(frame)

    def _wait_longer(self) -> None:
        self._empty_s += WAIT_S
        if self._empty_s > PATIENCE_S and self.view.detail != NO_PICTURE:
            self._show(replace(self.view, headline="No picture", detail=NO_PICTURE, corners_px=()))

    def _look(self, frame: Frame) -> None:
        assert frame.image is not None
        self._empty_s = 0.0
        if self._began_s is None:
            self._began_s = frame.t_s
        seen = self._seen(frame, frame.image)
        offer = self._gathering.offer(seen, frame.t_s)
        board = seen if isinstance(seen, View) else None
        view = taking_view(self.view.camera, self._gathering, offer, board, frame.index)
        if board is not None:
            self._board_s = frame.t_s
        elif frame.t_s - self._board_s < AWAY_S:  # on its way: the words stay
            view = replace(view, headline=self.view.headline, detail=self.view.detail)
        self._show(view)
        if offer.kind == "taken" and self._gathering.enough:
            self.finish()

    def _seen(self, frame: Frame, image: NDArray[np.uint8]) -> View | LeftOut:
        name = f"{frame.t_s - (self._began_s or 0.0):.1f} s"
        try:
            return find_board(image, self._board, name, quick=True)
        except Exception:  # one picture must not end it: it is logged and left out
            LOG.exception("looking for the board in frame %d failed", frame.index)
            return LeftOut(name, "the board could not be looked for")

    def _judge(self) -> None:
        before = replace(self.view, state="working", headline="Making the model", detail="")
        self._show(replace(before, corners_px=()))
        try:
            found = calibrate(self._gathering.views, left_out=self._gathering.left_out)
        except BadInputError as error:
            self._show(refused_view(before, str(error)))
        except Exception:  # told and logged: the service goes on
            LOG.exception("calibration failed")
            self._show(refused_view(before, BROKE))
        else:
            self.found = found
            self._show(judged_view(before, found, square_mm=self._board.square_mm))

    def _show(self, view: CalibrationView) -> None:
        self.view = view
        self._tell()
