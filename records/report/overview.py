"""What the report of a part or of a batch says: setups side by side, predicted beside proven."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from readings import format_length, format_with_uncertainty
from records.plain import Json, minute
from records.quantities import measured_of
from records.report.content import SetupReport, setup_report
from records.report.verdict import STATES
from setups import Measured

PREDICTS, PROVES = "second-end", "prove-pair"
"""The guides that tell coaxiality before the cut, and after it."""

_MOST_SIDES = 4
"""Parts beside one another on paper."""


@dataclass(frozen=True, slots=True)
class Side:
    """The same setup on several parts: a column each; `rows` are (what, its text a part)."""

    title: str
    parts: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    reports: tuple[SetupReport, ...]


@dataclass(frozen=True, slots=True)
class Coaxiality:
    """What was predicted for a part's second seat beside what was proven of it."""

    part: str
    predicted: str
    proven: str
    words: str


@dataclass(frozen=True, slots=True)
class Overview:
    """A part or a batch at a glance, then the setups themselves.

    `lines` are (setup, part, what, day, verdict, value, tolerance) of the setups that count,
    `not_counted` sentences about the others.
    """

    title: str
    subtitle: str
    lines: tuple[tuple[str, ...], ...]
    not_counted: tuple[str, ...]
    coaxiality: tuple[Coaxiality, ...]
    sides: tuple[Side, ...]
    setups: tuple[SetupReport, ...]


LINE_COLUMNS = ("setup", "part", "what", "day", "verdict", "value", "tolerance")


def part_overview(job: str, part: str, setups: Sequence[Json]) -> Overview:
    """Return a part's setups (oldest first, with samples): the list, then each whole."""
    counting, others = _apart(setups)
    reports = tuple(setup_report(setup) for setup in counting)
    return Overview(
        title=part,
        subtitle=job,
        lines=tuple(_line(*both) for both in zip(counting, reports, strict=True)),
        not_counted=tuple(map(_why_not, others)),
        coaxiality=tuple(coaxialities(counting)),
        sides=(),
        setups=reports,
    )


def batch_overview(job: str, setups: Sequence[Json]) -> Overview:
    """Return a job's setups (oldest first, with samples): the list, and the parts side by side."""
    counting, others = _apart(setups)
    reports = tuple(setup_report(setup) for setup in counting)
    return Overview(
        title=job,
        subtitle=f"Parts: {len({s['part'] for s in counting})}, setups that count: {len(counting)}",
        lines=tuple(_line(*both) for both in zip(counting, reports, strict=True)),
        not_counted=tuple(map(_why_not, others)),
        coaxiality=tuple(coaxialities(counting)),
        sides=tuple(_sides(counting, reports)),
        setups=(),
    )


def _apart(setups: Sequence[Json]) -> tuple[list[Json], list[Json]]:
    """Return the setups that count, and those that do not."""
    counting = [s for s in setups if s["state"] == "finished" and s["superseded_by"] is None]
    return counting, [s for s in setups if s not in counting]


def _line(setup: Json, report: SetupReport) -> tuple[str, ...]:
    tolerance = setup["tolerance_mm"]
    return (
        str(setup["id"]),
        setup["part"],
        ": ".join(w for w in (setup["title"], setup["operation"]) if w),
        minute(setup["ended_utc"])[:10],
        report.verdict.short,
        report.verdict.value,
        "not stated" if tolerance is None else format_length(tolerance),
    )


def _why_not(setup: Json) -> str:
    what = f"Setup {setup['id']} ({setup['part']}: {setup['title']})"
    if setup["superseded_by"] is not None:
        return f"{what}: superseded by setup {setup['superseded_by']}."
    return f"{what}: {STATES.get(setup['state'], setup['state'])}."


def coaxialities(setups: Sequence[Json]) -> Iterator[Coaxiality]:
    """Yield each part for which coaxiality was predicted or proven, by its last setups."""
    for part in dict.fromkeys(s["part"] for s in setups):
        of_part = [s for s in setups if s["part"] == part]
        predicted, proven = _last(of_part, PREDICTS), _last(of_part, PROVES)
        if predicted is not None or proven is not None:
            yield _beside(part, predicted, proven)


def _last(setups: Sequence[Json], guide: str) -> Measured | None:
    of_guide = [s for s in setups if s["guide"] == guide]
    found = [measured_of(result) for s in of_guide for result in s["results"]]
    return next((one for one in reversed(found) if one is not None), None)


def _beside(part: str, predicted: Measured | None, proven: Measured | None) -> Coaxiality:
    bound = None if predicted is None else predicted.number("coaxiality_bound").value
    told = "not predicted" if bound is None else f"within {format_length(bound)} (95 % of such)"
    if proven is None:
        return Coaxiality(part, told, "not proven", "The pair has not been proven yet.")
    number = proven.number("coaxiality")
    value = (
        format_length(number.value)
        if number.u is None
        else format_with_uncertainty(number.value, number.u)
    )
    verdict = "" if proven.verdict is None else f"{proven.verdict.capitalize()} the tolerance. "
    if proven.verdict == "cannot tell":
        verdict = "Cannot tell. "
    if bound is None:
        return Coaxiality(part, told, value, verdict.strip())
    held = "within" if number.value <= bound else "beyond"
    return Coaxiality(part, told, value, f"{verdict}The proof is {held} what was predicted.")


def _sides(setups: Sequence[Json], reports: Sequence[SetupReport]) -> Iterator[Side]:
    """Yield the setups of one guide and operation beside one another, a few parts at a time."""
    groups: dict[tuple[str, str | None], dict[str, SetupReport]] = {}
    for setup, report in zip(setups, reports, strict=True):
        of_kind = groups.setdefault((setup["guide"], setup["operation"]), {})
        of_kind[setup["part"]] = report  # the last one of a part counts
    for (_, operation), by_part in groups.items():
        parts = list(by_part)
        for first in range(0, len(parts), _MOST_SIDES):
            some = parts[first : first + _MOST_SIDES]
            yield _side(operation, some, [by_part[part] for part in some])


def _side(operation: str | None, parts: Sequence[str], reports: Sequence[SetupReport]) -> Side:
    title = ": ".join(w for w in (reports[0].title, operation) if w)
    names = dict.fromkeys(name for report in reports for name, _ in report.numbers)
    rows = [
        ("Setup", tuple(str(report.id) for report in reports)),
        ("Verdict", tuple(report.verdict.short for report in reports)),
        ("Tolerance", tuple(report.verdict.tolerance for report in reports)),
        *((name, tuple(dict(r.numbers).get(name, "–") for r in reports)) for name in names),
        ("Checklists", tuple(_lists(report) for report in reports)),
    ]
    return Side(title, tuple(parts), tuple(rows), tuple(reports))


def _lists(report: SetupReport) -> str:
    missing = [shown.title for shown in report.checklists if not shown.completed]
    return "both completed" if not missing else f"not completed: {', '.join(missing)}"
