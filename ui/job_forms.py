"""Forms of the Job page: a job planned, and its plan changed. The only place of it to type at."""

from dataclasses import replace

import streamlit as st

from records.job_board import Board
from setups import GUIDES, Guide
from setups.jobs import JobPlan, PlannedOperation, pair_operations, parts_by_count
from ui.asking import ask
from ui.job_command import with_operation
from ui.job_orders import plan_args

JOB, PATTERN, PARTS = "Lock paddle winding gear", "Gear-case end {}", 4
"""What the form holds at first, so that the demo needs no typing."""
PAIR, NOTHING = "A pair of seats on one axis: four operations", "No operation yet"
NEW = "a new one"
AT_END = "at the end"


def new_form(known: list[str]) -> None:
    """Ask for a job's name, its parts by count, and what it begins with."""
    with st.form("new-job", border=False):
        name = st.text_input("Job", "" if JOB in known else JOB, key="new-job-name")
        pattern_in, count_in = st.columns([2, 1])
        pattern = pattern_in.text_input(
            "Its parts are called ({} holds the number)", PATTERN, key="new-job-pattern"
        )
        count = count_in.number_input("How many parts", 1, 100, PARTS, key="new-job-count")
        begins = st.radio("It begins with", [PAIR, NOTHING], key="new-job-begins")
        by_part = st.toggle("Each part through all its operations", key="new-job-by-part")
        if not st.form_submit_button("Plan this job", type="primary", width="stretch"):
            return
    operations = pair_operations(GUIDES) if begins == PAIR else ()
    plan = JobPlan(name, parts_by_count(pattern, int(count)), operations, by_part)
    _keep(plan, None)


def _keep(plan: JobPlan, after: int | None) -> None:
    if ask("plan", **plan_args(plan, after)):
        st.rerun()


def change_form(board: Board) -> None:
    """Change operations, parts and order; what is in the book stays there."""
    plan, after = board.kept.plan, board.kept.id
    names = [operation.name for operation in plan.operations]
    which = st.selectbox("Operation", [*names, NEW], key=f"operation-{after}")
    known = plan.operation(which)
    keys = list(GUIDES)
    guide = GUIDES[
        st.selectbox(
            "Its guide",
            keys,
            index=keys.index(known.guide) if known is not None and known.guide in keys else 0,
            format_func=lambda key: GUIDES[key].title,
            key=f"guide-{after}-{which}",
        )
    ]
    _operation_form(plan, after, known, guide)
    if known is not None and st.button(f"Take it out: {known.name}", key=f"out-{after}-{which}"):
        left = tuple(one for one in plan.operations if one.name != known.name)
        _keep(replace(plan, operations=left), after)
    _parts_form(plan, after)


def _operation_form(
    plan: JobPlan, after: int, known: PlannedOperation | None, guide: Guide
) -> None:
    same = known if known is not None and known.guide == guide.key else None
    key = f"{after}-{known.name if known else ''}-{guide.key}"
    with st.form(f"operation-form-{key}", border=False):
        name = st.text_input("Its name", known.name if known else "", key=f"name-{key}")
        datum = st.text_input("Datum", known.datum if known else "", key=f"datum-{key}")
        left, right = st.columns(2)
        tolerance_mm = left.number_input(
            f"Tolerance: {guide.tolerance_words}, within (mm)",
            0.001,
            1.0,
            same.tolerance_mm if same else guide.default_tolerance_mm,
            0.001,
            format="%.3f",
            key=f"tolerance-{key}",
        )
        source = right.text_input(
            "Where the tolerance comes from", known.tolerance_source if known else "",
            key=f"source-{key}",
        )  # fmt: skip
        machine = left.text_input("Machine", known.machine if known else "", key=f"machine-{key}")
        diameter = None
        if guide.task == "centre":
            diameter = right.number_input(
                "Diameter of the seat (mm), where it is known", 5.0, 1000.0,
                same.diameter_mm if same else None, 0.5, key=f"diameter-{key}",
            )  # fmt: skip
        sizes = _sizes(guide, same, key)
        others = [one.name for one in plan.operations if known is None or one.name != known.name]
        place = st.selectbox("It comes before", ["as it is" if known else AT_END, *others])
        if not st.form_submit_button("Keep this operation", width="stretch"):
            return
    operation = PlannedOperation(
        name, guide.key, tolerance_mm, datum, source, diameter, machine, sizes
    )
    if known is not None:  # under its new name in the old one's place
        renamed = (operation if one.name == known.name else one for one in plan.operations)
        plan = replace(plan, operations=tuple(renamed))
    _keep(with_operation(plan, operation, place if place in others else None), after)


def _sizes(guide: Guide, known: PlannedOperation | None, key: str) -> tuple[tuple[str, float], ...]:
    """Ask for the guide's sizes; what is left empty is asked for at each part."""
    given = dict(known.sizes) if known is not None else {}
    found = {}
    columns = st.columns(2)
    for n, size in enumerate(guide.sizes):
        value = columns[n % 2].number_input(
            f"{size.label} ({size.unit}), left empty: asked at each part", size.low, size.high,
            given.get(size.key), format="%.3f", key=f"size-{key}-{size.key}",
        )  # fmt: skip
        if value is not None:
            found[size.key] = value
    return tuple(found.items())


def _parts_form(plan: JobPlan, after: int) -> None:
    with st.form(f"parts-{after}", border=False):
        parts = st.text_area(
            "Parts, one a line", "\n".join(plan.parts), height=200, key=f"parts-in-{after}"
        )
        by_part = st.toggle(
            "Each part through all its operations", plan.part_by_part, key=f"by-part-{after}"
        )
        if not st.form_submit_button("Keep these parts", width="stretch"):
            return
    named = tuple(line.strip() for line in parts.splitlines() if line.strip())
    _keep(replace(plan, parts=named, part_by_part=by_part), after)
