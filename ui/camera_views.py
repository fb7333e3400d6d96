"""Views of a board from photos, a film or a live camera, and what is said meanwhile."""

import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field

from calibration.boards import Board, LeftOut, View
from calibration.camera_settings import CameraState
from calibration.coverage_gather import Gathering, Offer
from readings import BadInputError, Frame, FrameSource, SourceError
from ui.output import tell
from vision.board_find import find_board
from vision.live_source import LiveSource
from vision.sources import PictureSource, open_source

NOTHING_NEW_S = 60.0
"""Nobody shows the camera a new view for so long: it is made from what there is."""
LOST_S = 10.0
"""A live camera may be away for so long."""
AGAIN_S = 0.5
SAY_AGAIN_S = 3.0


@dataclass(slots=True)
class Views:
    """What some sources gave."""

    views: list[View] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    state: CameraState | None = None
    """What a live camera's driver said of itself."""

    def take(self, gathering: Gathering) -> None:
        """Take what was gathered from one source."""
        self.views += gathering.views
        self.left_out += gathering.left_out


def views_of(sources: list[str], board: Board) -> Views:
    """Return the views of all photos and films.

    Raises
    ------
    SourceError
        If one cannot be opened.
    """
    found = Views()
    for name in sources:
        source = open_source(name)
        try:
            if isinstance(source, PictureSource):
                _from_photos(source, board, found)
            else:
                gathering = Gathering()
                for frame in source.frames():
                    if gathering.wants(frame.t_s):
                        _offer(gathering, frame, board, f"{frame.t_s:.1f} s")
                found.take(gathering)
        finally:
            source.close()
    return found


def _from_photos(source: FrameSource, board: Board, found: Views) -> None:
    """Take every photo: whoever took them chose them."""
    for frame in source.frames():
        seen = _seen(frame, board, frame.name or f"frame {frame.index}")
        if isinstance(seen, View):
            found.views.append(seen)
        else:
            found.left_out.append(seen)


def _seen(frame: Frame, board: Board, label: str, *, quick: bool = False) -> View | LeftOut:
    if frame.image is None:
        return LeftOut(label, "cannot be decoded as a picture")
    return find_board(frame.image, board, label, quick=quick)


def _offer(gathering: Gathering, frame: Frame, board: Board, label: str) -> Offer:
    return gathering.offer(_seen(frame, board, label, quick=True), frame.t_s)


def live_views(
    source: LiveSource, board: Board, clock: Callable[[], float] = time.monotonic
) -> Views:
    """Return the views that a live camera was shown; ends by itself, or by Ctrl-C.

    Raises
    ------
    SourceError
        If it cannot be opened, or went away before there was any view.
    """
    gathering, said = Gathering(), _Saying(clock)
    began_s = news_s = clock()
    with suppress(KeyboardInterrupt):
        for frame in _kept_open(source, clock):
            said.begin()
            if not gathering.wants(frame.t_s):
                continue
            offer = _offer(gathering, frame, board, f"{frame.t_s - began_s:.1f} s")
            said.tell(offer, gathering)
            if offer.kind == "taken":
                news_s = clock()
            if gathering.enough:
                tell("That is enough.")
                break
            if clock() - news_s > NOTHING_NEW_S:
                tell(f"No new view for {NOTHING_NEW_S:.0f} s: going on with what there is.")
                break
    found = Views(state=source.state)
    found.take(gathering)
    return found


def _kept_open(source: LiveSource, clock: Callable[[], float]) -> Iterator[Frame]:
    """Yield a camera's frames, over its going away and coming back.

    Raises
    ------
    SourceError
        If it cannot be opened at first, or stays away.
    """
    seen_s: float | None = None
    try:
        while True:
            try:
                for frame in source.frames():
                    seen_s = clock()
                    yield frame
            except SourceError:
                if seen_s is None:
                    raise
            if seen_s is None or clock() - seen_s > LOST_S:
                msg = (
                    f"{source.name} gives no picture any more: check its cable or address and "
                    "begin again."
                )
                raise SourceError(msg)
            time.sleep(AGAIN_S)
    finally:
        source.close()


class _Saying:
    """Says what was taken and what is still missing; the same again only after a while."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._said, self._said_s = "", float("-inf")

    def begin(self) -> None:
        """Say what to do, once there is a picture."""
        if not self._said:
            self._say(
                "Show the camera the board, and hold it still in many places and tilts. "
                "Ctrl-C ends it.",
                at_once=True,
            )

    def tell(self, offer: Offer, gathering: Gathering) -> None:
        """Say what became of a picture."""
        if offer.kind == "taken":
            self._say(_progress(gathering), at_once=True)
        elif offer.kind == "moving":
            self._say("Hold it still.")
        elif offer.kind == "unseen":
            self._say(f"{offer.words[0].upper()}{offer.words[1:]}.")
        elif offer.kind == "same":
            self._say(f"This is taken. {_next(gathering)}")

    def _say(self, words: str, *, at_once: bool = False) -> None:
        now_s = self._clock()
        if at_once or (words != self._said and now_s - self._said_s > SAY_AGAIN_S):
            self._said, self._said_s = words, now_s
            tell(words)


def _progress(gathering: Gathering) -> str:
    count, share = len(gathering.views), gathering.coverage.share
    return f"{count} view(s), {share:.0%} of the picture. {_next(gathering)}"


def _next(gathering: Gathering) -> str:
    missing = gathering.coverage.missing_in_short
    return f"Still missing: {missing}." if missing else "Any place and tilt not shown yet helps."


def demand_one_camera(sources: list[str], live: list[str]) -> None:
    """Refuse a live camera beside other sources.

    Raises
    ------
    BadInputError
        If there are others.
    """
    if live and len(sources) > 1:
        msg = (
            f"{len(sources)} sources were given with a live camera among them: a model is of one "
            f"camera; give {live[0]} alone, or photos or a film."
        )
        raise BadInputError(msg)
