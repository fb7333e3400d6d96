"""Messages of the service, version 1: the one place where they are documented.

Two loopback TCP sockets; their addresses stand in ``<home>/service.json``.

Publications (XPUB), multipart ``[topic, header, payload?]``. The header is JSON with
``v`` (this version), ``seq`` (rises by one a topic) and ``body``. A new subscriber is
sent the last value of each topic it asks for.

======== ======================================= =========
topic    body                                    payload
======== ======================================= =========
preview  `Preview`                               JPEG
reading  `Live`, one a picture that was read     -
state    `SessionView`, on every change          -
saved    `Saved`, after each commit of samples   -
bench    the virtual bench's state, demo only    -
health   `Health`, once a second                 -
======== ======================================= =========

Commands (ROUTER; clients use DEALER or REQ): one JSON frame `Command`, answered by one
JSON frame `Answer`. A command repeated with the same ``client`` and ``seq`` is answered
again and not done again.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

from setups import Advice, Found

VERSION = 1

Topic = Literal["preview", "reading", "state", "saved", "bench", "health"]


@dataclass(frozen=True, slots=True)
class Preview:
    """The header of a picture: its own size, and the full picture's width (0: not told)."""

    t_s: float
    index: int
    width: int
    height: int
    picture_width: int = 0


@dataclass(frozen=True, slots=True)
class Overlay:
    """What was recognised, in pixels of the full picture, for drawing over it."""

    outline_px: tuple[tuple[float, float], ...] = ()
    needle_px: tuple[tuple[float, float], ...] = ()
    zero_px: tuple[float, float] | None = None
    markers_px: tuple[tuple[tuple[float, float], ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Live:
    """What the last picture said.

    `value_mm`, `divisions` (signed, of the dial) and `sigma_mm` are None where the
    reading was refused; `flags` are names, `sentences` what the person reads.
    `target_mm` and `window_mm` stand while the needle is to be brought to a reading.
    `turned_deg` is how much of the wanted turn is covered, None where none is wanted.
    """

    t_s: float
    index: int
    value_mm: float | None
    divisions: float | None
    sigma_mm: float | None
    flags: tuple[str, ...]
    sentences: tuple[str, ...]
    theta_deg: float | None
    collar_deg: float | None
    moving: bool
    turned_deg: float | None
    samples: int
    target_mm: float | None
    target_divisions: float | None
    window_mm: float | None
    overlay: Overlay


@dataclass(frozen=True, slots=True)
class LineView:
    """One line of the list on show."""

    key: str
    text: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class Trace:
    """The latest turns for the polar trace: θ in degrees and reading in mm, thinned."""

    anticlockwise: tuple[tuple[float, float], ...] = ()
    clockwise: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class SessionView:
    """Everything a page needs to draw the live setup; the same for every dashboard.

    `guide` is None while no setup is running.
    """

    revision: int
    guide: str | None = None
    title: str = ""
    setup_id: int | None = None
    job: str = ""
    part: str = ""
    operation: str = ""
    tolerance_mm: float | None = None
    diameter_mm: float | None = None
    instrument: str = ""
    graduation_mm: float | None = None
    marks_per_turn: int | None = None
    travel_mm: tuple[float, float] | None = None
    step: str = ""
    kind: str = ""
    step_number: int = 0
    steps: int = 0
    advice: Advice | None = None
    checklist: str | None = None
    lines: tuple[LineView, ...] = ()
    caution: str = ""
    found: Found | None = None
    history: tuple[Found, ...] = ()
    sentences: tuple[str, ...] = ()
    trace: Trace = field(default_factory=Trace)
    camera_lost: bool = False
    finished: bool = False


@dataclass(frozen=True, slots=True)
class Saved:
    """Samples of the sweep being captured that are committed: nothing can lose them."""

    setup_id: int
    sweep_id: int
    samples: int
    complete: bool


@dataclass(frozen=True, slots=True)
class Health:
    """How the service is."""

    uptime_s: float
    camera: Literal["live", "lost"]
    frames_per_s: float
    readings_per_s: float
    last_reading_age_s: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Command:
    """A command: its name, its arguments, who sent it and the sender's running number."""

    name: str
    args: dict[str, Any] = field(default_factory=dict)
    client: str = ""
    seq: int = 0
    v: int = VERSION


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a command: done, or a sentence why not; `body` where one was asked for."""

    ok: bool
    said: str = ""
    body: Any = None
    seq: int = 0
    v: int = VERSION


COMMANDS: dict[str, str] = {
    "begin": "start a setup: guide, job, part, operation, tolerance_mm, diameter_mm",
    "next": "the person touched next",
    "touch": "the person touched a checklist line: checklist, line, who",
    "abandon": "give the setup up; it stays in the book as abandoned",
    "view": "answer with the SessionView",
    "bench": "demo only: what hands do at the virtual machine: do (name) and its arguments",
}
"""Every command by name."""
