"""Checks of what a command carries: what was got, what is allowed, what to do."""

from collections.abc import Mapping
from math import isfinite
from typing import Any, Literal

from calibration.handwheels import Handwheel
from readings import BadInputError
from setups import CHECKLISTS, GUIDES, Guide, Instrument, SetupState, ShopLine, SizeAsked
from setups.state_task import TaskState
from stream.ledger import SetupCard

LONGEST_NAME = 200
LARGEST_MM = 10_000.0


def begin_order(
    args: Mapping[str, Any],
    instrument: Instrument,
    wheels: tuple[Handwheel, ...],
    shop_lines: tuple[ShopLine, ...] = (),
) -> tuple[SetupCard, SetupState]:
    """Return what a `begin` asks for, as it goes on record and as the machine's first state.

    Raises
    ------
    BadInputError
        If the guide is unknown, a name is missing, or a length is none.
    """
    guide = guide_named(args.get("guide", next(iter(GUIDES))))
    tolerance = length_of("tolerance_mm", args.get("tolerance_mm", guide.default_tolerance_mm))
    diameter = args.get("diameter_mm")
    diameter = None if diameter is None else length_of("diameter_mm", diameter)
    if diameter is not None and diameter <= 2 * instrument.tip_radius_mm:
        msg = (
            f"diameter_mm is {diameter:g}, smaller than the stylus tip: measure the bore "
            "roughly and give its diameter in mm."
        )
        raise BadInputError(msg)
    job, part, operation = (name_of(args, what) for what in ("job", "part", "operation"))
    state = SetupState(
        guide=guide.key,
        part=part,
        operation=operation,
        tolerance_mm=tolerance,
        diameter_mm=diameter,
        instrument=instrument,
        wheels=wheels,
        step=guide.steps[0].key,
        task=TaskState(sizes=sizes_of(guide, args.get("sizes"))),
        shop_lines=shop_lines,
    )
    settings: dict[str, Any] = {
        "tolerance_mm": tolerance,
        "diameter_mm": diameter,
        "surface": guide.surface,
        "sizes": dict(state.task.sizes),
    }
    datum = name_or_none(args, "datum")
    if datum is not None:
        settings["datum"] = datum
    if shop_lines:
        settings["shop_lines"] = [[line.checklist, line.text] for line in shop_lines]
    card = SetupCard(
        job,
        part,
        operation,
        guide.key,
        guide.title,
        tolerance,
        settings,
        tolerance_source=name_or_none(args, "tolerance_source"),
        machine=name_or_none(args, "machine"),
        again_of=number_or_none(args, "again_of"),
    )
    return card, state


def guide_named(key: object) -> Guide:
    """Return a guide by its key; refuse what is none."""
    if isinstance(key, str) and key in GUIDES:
        return GUIDES[key]
    msg = f"There is no guide {short(key)}; there are {', '.join(GUIDES)}."
    raise BadInputError(msg)


def sizes_of(guide: Guide, given: object) -> tuple[tuple[str, float], ...]:
    """Return every size that a guide asks for: as given, else as is usual.

    Raises
    ------
    BadInputError
        If the guide asks for no such size, or it cannot be.
    """
    sizes = {} if given is None else given
    known = {size.key: size for size in guide.sizes}
    if not isinstance(sizes, Mapping) or not set(sizes) <= set(known):
        asked = ", ".join(known) or "none"
        msg = f"sizes is {short(sizes)}: {guide.title} asks for {asked}, each in mm."
        raise BadInputError(msg)
    return tuple((key, _size(size, sizes.get(key, size.default))) for key, size in known.items())


def _size(asked: SizeAsked, value: object) -> float:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if number and asked.low <= value <= asked.high:  # type: ignore[operator]
        return float(value)  # type: ignore[arg-type]
    msg = (
        f"{asked.label} is {short(value)}: give {asked.low:g} to {asked.high:g} {asked.unit}, "
        f"measured with a {asked.tool}."
    )
    raise BadInputError(msg)


def size_order(guide: Guide, args: Mapping[str, Any]) -> tuple[str, float]:
    """Return the key and the value of a `size`.

    Raises
    ------
    BadInputError
        If the guide asks for no such size, or it cannot be.
    """
    asked = next((size for size in guide.sizes if size.key == args.get("key")), None)
    if asked is None:
        known = ", ".join(size.key for size in guide.sizes) or "none"
        msg = f"There is no size {short(args.get('key'))}; this guide asks for {known}."
        raise BadInputError(msg)
    return asked.key, _size(asked, args.get("value"))


def mark_order(args: Mapping[str, Any]) -> str:
    """Return what a `mark` came from: a key, a palm, a pedal.

    Raises
    ------
    BadInputError
        If that is no name.
    """
    return name_of({"by": "key", **args}, "by")


def change_order(args: Mapping[str, Any]) -> Literal["tool", "reload"]:
    """Return what a `changed` says: a tool was changed, or a page was loaded anew.

    Raises
    ------
    BadInputError
        If it says anything else.
    """
    what = args.get("what")
    if what == "tool":
        return "tool"
    if what == "reload":
        return "reload"
    msg = f"what is {short(what)}: a person says tool, a page that was loaded anew says reload."
    raise BadInputError(msg)


def touch_order(args: Mapping[str, Any]) -> tuple[str, str, str]:
    """Return the list, the line and the person of a `touch`.

    Raises
    ------
    BadInputError
        If there is no such list or no name.
    """
    checklist = args.get("checklist")
    if not isinstance(checklist, str) or checklist not in CHECKLISTS:
        msg = f"There is no list {checklist!r}; there are {', '.join(CHECKLISTS)}."
        raise BadInputError(msg)
    who = name_of({"who": "the machinist", **args}, "who")
    return checklist, name_of(args, "line"), who


def supersede_order(args: Mapping[str, Any]) -> tuple[int, int, str]:
    """Return the setup of a `supersede`, the later one that counts, and why.

    Raises
    ------
    BadInputError
        If a number is none, or no reason is given.
    """
    setup_id, by_id = (number_or_none(args, what) for what in ("setup", "by"))
    if setup_id is None or by_id is None:
        msg = "A supersede needs setup and by, two setups' numbers: see `records list`."
        raise BadInputError(msg)
    return setup_id, by_id, name_of(args, "reason")


def superseded_words(setup_id: int, by_id: int) -> str:
    """Say that a setup no longer counts."""
    return f"Setup {setup_id} stays in the book and no longer counts: setup {by_id} does."


def name_of(args: Mapping[str, Any], what: str) -> str:
    """Return a name of what is asked for, its spaces made single; refuse what is none."""
    value = args.get(what)
    if isinstance(value, str) and 0 < len(value.strip()) <= LONGEST_NAME:
        return " ".join(value.split())
    msg = f"{what} is {short(value)}: give it a name of 1 to {LONGEST_NAME} characters."
    raise BadInputError(msg)


def name_or_none(args: Mapping[str, Any], what: str) -> str | None:
    """Return a name that may be left out; refuse what is none."""
    return None if args.get(what) in (None, "") else name_of(args, what)


def number_or_none(args: Mapping[str, Any], what: str) -> int | None:
    """Return a number of a record that may be left out; refuse what is none."""
    value = args.get(what)
    if value is None or (isinstance(value, int) and not isinstance(value, bool)):
        return value
    msg = f"{what} is {short(value)}: give the number of a record: `records list` shows them."
    raise BadInputError(msg)


def length_of(what: str, value: object) -> float:
    """Return a length in mm above 0; refuse what is none."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if number and isfinite(value) and 0 < value <= LARGEST_MM:  # type: ignore[arg-type,operator]
        return float(value)  # type: ignore[arg-type]
    msg = f"{what} is {short(value)}: give a length in mm above 0 and up to {LARGEST_MM:g}."
    raise BadInputError(msg)


def short(value: object) -> str:
    """Return what was got, as it is quoted in a sentence."""
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."
