"""Messages of the service, version 1: the one place where they are documented.

The service listens with three TCP sockets. On loopback their addresses stand in
``<home>/service.json``; on a network all three want a key (CURVE, see `stream.keys`), and a
client's key file names the addresses. Sizes are bounded by the sockets before anything is
parsed. What cannot be decoded is answered with a sentence or dropped; nothing that comes in is
evaluated, unpickled or used as a path.

Publications (XPUB), multipart ``[topic, header, payload?]``. The header is JSON with ``v``
(this version), ``run`` (one run of the service), ``seq`` (rises by one a topic within a run)
and ``body``. A new subscriber is sent the last value of each topic it asks for, at once; such
a value comes under its old number, so a client leaves out what it has had.

=================== ========================================= =========
topic               body                                      payload
=================== ========================================= =========
preview             `Preview`                                 JPEG
reading             `Live`, one a picture that was read       -
progress            `Progress`, while a turn is captured      -
state               `SessionView`, on every change            -
result              `Result`, once it is committed            -
saved               `Saved`, after each commit of samples     -
signal              `Signal`, a palm, key or command was seen -
bench               the virtual bench's state, demo only      -
health              `Health`, once a second and on a trouble  -
calibration         `CalibrationView`, a camera shown a board -
camera/NAME/preview as preview, of a camera not in use        JPEG
camera/NAME/reading as reading, of a camera not in use        -
=================== ========================================= =========

Commands (ROUTER; clients use DEALER or REQ): one JSON frame `Command`, answered by one
JSON frame `Answer`. A command repeated with the same ``client`` and ``seq`` is answered
again and not done again, over a restart of the service too.

Camera nodes (ROUTER; the node uses DEALER): see `stream.node_messages`.
"""

from dataclasses import dataclass, field
from typing import Any, Literal

from setups import Advice, DegArc, Found, Measured

VERSION = 1

Topic = Literal[
    "preview",
    "reading",
    "progress",
    "state",
    "result",
    "saved",
    "signal",
    "bench",
    "health",
    "calibration",
]

Where = Literal["preview", "reading"]


def camera_topic(camera: str, what: Where) -> str:
    """Return the topic of a camera that is not in use.

    >>> camera_topic("lathe", "preview")
    'camera/lathe/preview'
    """
    return f"camera/{camera}/{what}"


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
    across_mm: float | None = None
    """Where a target is looked at instead of a dial: its place up the still target's paper, in
    mm; `value_mm` is then its place to the right."""
    nose: Literal["fitted", "bare", "cannot see"] = "cannot see"
    """What the camera says of the spindle nose; it ticks nothing."""


@dataclass(frozen=True, slots=True)
class LineView:
    """One line of the list on show."""

    key: str
    text: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class SizeView:
    """One size that is entered by hand."""

    key: str
    label: str
    value: float
    unit: str
    tool: str


@dataclass(frozen=True, slots=True)
class Trace:
    """The latest turns for the polar trace: θ in degrees and reading in mm, thinned."""

    anticlockwise: tuple[tuple[float, float], ...] = ()
    clockwise: tuple[tuple[float, float], ...] = ()
    falls: tuple[DegArc, ...] = ()
    """Where the last turn's reading falls away from the rest: worn, slotted, a hole."""


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
    sizes: tuple[SizeView, ...] = ()
    measured: Measured | None = None
    rounds: tuple[Measured, ...] = ()
    sentences: tuple[str, ...] = ()
    trace: Trace = field(default_factory=Trace)
    left_out: tuple[DegArc, ...] = ()
    """Arcs left out by hand."""
    arcs_offered: bool = False
    """Whether a touch of the trace may leave an arc out, or take one back."""
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
class Progress:
    """How far the turn being captured has come; `kept` of its samples are committed."""

    setup_id: int
    sweep_id: int
    turned_deg: float
    samples: int
    kept: int


@dataclass(frozen=True, slots=True)
class Result:
    """Numbers that are in the book: of a turn, or of a pair of them with its verdict."""

    setup_id: int
    kind: str
    sweep_id: int | None
    body: Any


SignalWord = Literal["next", "begun", "ended", "undone", "nothing"]


@dataclass(frozen=True, slots=True)
class Signal:
    """What a palm before the lens, a typed key or a command did; two tones confirm it."""

    by: str
    did: SignalWord
    said: str
    at_s: float


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that keeps the service from its work: its name and what the person reads."""

    name: str
    sentence: str


@dataclass(frozen=True, slots=True)
class CameraHealth:
    """How one camera is. `skipped` pictures came faster than they could be read."""

    name: str
    state: Literal["live", "lost"]
    frames_per_s: float
    readings_per_s: float
    last_reading_age_s: float | None
    skipped: int = 0
    previews_left_out: int = 0
    in_use: bool = False


@dataclass(frozen=True, slots=True)
class NodeHealth:
    """How a camera node is: what it lost for want of room, and its clock against ours."""

    name: str
    here: bool
    taken: int
    lost: int
    offset_s: float | None
    sigma_offset_s: float | None


@dataclass(frozen=True, slots=True)
class Health:
    """How the service is; camera and rates are those of the camera in use."""

    uptime_s: float
    camera: Literal["live", "lost"]
    frames_per_s: float
    readings_per_s: float
    last_reading_age_s: float | None
    source: str
    troubles: tuple[Trouble, ...] = ()
    cameras: tuple[CameraHealth, ...] = ()
    nodes: tuple[NodeHealth, ...] = ()


CalibrationState = Literal["off", "taking", "working", "judged", "refused", "saved"]


@dataclass(frozen=True, slots=True)
class CalibrationView:
    """How the calibration of the camera in use stands.

    `seen` is what became of the last picture (see `calibration.coverage_gather.Kind`),
    `corners_px` the board's corners in it (pixels of the full picture); `cells` the parts of
    the picture that held corners, row by row, `across` to a row; `tilts` the board's edges
    that were nearer. `numbers` are labels and words of the model that was judged.
    """

    state: CalibrationState = "off"
    camera: str = ""
    index: int = -1
    picture_px: tuple[int, int] = (0, 0)
    corners_px: tuple[tuple[float, float], ...] = ()
    seen: str = ""
    cells: tuple[bool, ...] = ()
    across: int = 0
    tilts: tuple[str, ...] = ()
    taken: int = 0
    least: int = 0
    headline: str = ""
    detail: str = ""
    numbers: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()
    good: bool = False
    saved_to: str = ""


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
    "begin": "start a setup: guide, job, part, operation, tolerance_mm, diameter_mm, sizes, "
    "tolerance_source, machine, datum (words), again_of (the setup it repeats)",
    "plan": "keep a job's plan: job, parts (names), operations (each with name, guide, "
    "tolerance_mm, tolerance_source, datum, diameter_mm, sizes, machine), part_by_part, "
    "after (number of the plan it changes, null for the first)",
    "next": "the person touched next",
    "mark": "a key, pedal or palm: next, or begin and end a turn by hand; again undoes: by",
    "changed": "what (tool, or reload by a page loaded anew): lines of the lists lapse",
    "touch": "the person touched a checklist line: checklist, line, who",
    "nose": "the person says: the spindle nose is bare now, remember this picture",
    "size": "the person entered a size: key, value (mm)",
    "leave-out": "an arc of the wall does not count, or counts again: from_deg, to_deg "
    "(anticlockwise, seen from above), out (false takes it back); the turns at hand are found anew",
    "abandon": "give the setup up; it stays in the book as abandoned",
    "supersede": "a later setup counts in place of a closed one: setup, by, reason",
    "view": "answer with the SessionView",
    "camera": "look through another camera, while no setup runs: name",
    "calibrate": "the camera in use, while no setup runs: do (start, finish, more, save, stop); "
    "start takes pattern, columns, rows, square_mm, ruler_width_mm, ruler_height_mm",
    "bench": "demo only: what hands do at the virtual machine: do (name) and its arguments",
}

COMMANDS_HERE: dict[str, str] = {
    "import": "take a job's archive into the book, while no setup runs: path, on this computer",
}
"""Commands of programs on this computer; the page, which a tablet may show, sends none of them."""
"""Every command by name."""

CHANGING = frozenset({"begin", "plan", "next", "mark", "touch", "size", "leave-out", "abandon"})
"""Commands that change what is in the book: done once even over a restart."""
