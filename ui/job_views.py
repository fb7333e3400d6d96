"""What the Job page shows, as text: made here once, so that the page itself formats nothing."""

from typing import Any, TypeGuard

from readings import format_length
from records.job_board import Board, Cell
from records.pair_told import BEFORE, PairTold, pair_told, proves_a_pair
from records.report.verdict import Verdict
from setups import GUIDES
from setups.jobs import PlannedOperation
from ui.job_command import done_words

Json = dict[str, Any]
PAIR_HEAD = {"name": "The pair", "small": "second seat to first: coaxial within (zone diameter)"}
DIAL_NOT_CHECKED = "dial not checked"
LONGEST_NUMBER = 12


def board_shown(board: Board, *, running: bool) -> Json:
    """Return what the grid is drawn from.

    `running` is whether a setup is under way, of this job or not: then none is begun.
    """
    plan = board.kept.plan
    pair = proves_a_pair(plan)
    return {
        "job": plan.job,
        "progress": f"{done_words(board)}." if board.cells else "No operation is planned yet.",
        "begin": _begin(board, running=running),
        "free": not running,
        "heads": [*(_head(one) for one in plan.operations), *([PAIR_HEAD] if pair else [])],
        "rows": [
            _row(board, part, pair_told(board, part) if pair else None) for part in plan.parts
        ],
        "beyond": _beyond(board),
    }


def _begin(board: Board, *, running: bool) -> Json:
    """Return the one big touch: what it does (`wish`, "" for nothing), and its words."""
    in_hand = board.in_hand
    if in_hand is not None and running:
        return {
            "wish": "setup",
            "headline": f"In hand: {in_hand.part}",
            "detail": f"{in_hand.operation.name}. Touch to see its step.",
        }
    cell = board.next
    if running:
        return {
            "wish": "",
            "headline": "Another setup is under way",
            "detail": "Finish it or give it up on the Setup page; then this job is continued.",
        }
    if cell is None:
        return {
            "wish": "",
            "headline": "Nothing is next",
            "detail": "Every place of the plan was begun."
            if board.cells
            else "Add an operation below.",
        }
    return {
        "wish": "begin",
        "part": cell.part,
        "operation": cell.operation.name,
        "headline": f"Begin: {cell.part}",
        "detail": f"{cell.operation.name}, {_wanted(cell.operation)}",
    }


def _wanted(operation: PlannedOperation) -> str:
    guide = GUIDES.get(operation.guide)
    words = "off centre" if guide is None else guide.tolerance_words
    within = format_length(operation.tolerance_mm)
    return f"{words} {within}" if "within" in words else f"{words} within {within}"


def _head(operation: PlannedOperation) -> Json:
    datum = f"; datum: {operation.datum}" if operation.datum else ""
    return {"name": operation.name, "small": f"{_wanted(operation)}{datum}"}


def _row(board: Board, part: str, told: PairTold | None) -> Json:
    following = board.next
    return {
        "part": part,
        "cells": [_cell(cell, told, is_next=cell is following) for cell in board.on(part)],
        "pair": [] if told is None else _pair(told),
    }


def _cell(cell: Cell, told: PairTold | None, *, is_next: bool) -> Json:
    state = "next" if is_next else cell.state
    shown: Json = {
        "part": cell.part,
        "operation": cell.operation.name,
        "state": state,
        "word": state,
        "done": cell.done_id,
        **dict.fromkeys(("number", "spread", "remark"), ""),
    }
    if cell.state == "done" and cell.verdict is not None:
        shown |= _done(cell, cell.verdict, told)
        what = f"{cell.verdict.short}: {cell.verdict.value}, setup {cell.done_id}"
        if _tells_beforehand(told, cell):
            what = f"{cell.verdict.short}: {told.before}, setup {cell.done_id}"
            what = "; ".join(words for words in (what, told.known, told.weighs) if words)
    else:
        what = state if cell.setup_id is None else f"{state}, setup {cell.setup_id}"
    return {**shown, "what": f"{cell.part}, {cell.operation.name}. {what[:1].upper()}{what[1:]}."}


def _tells_beforehand(told: PairTold | None, cell: Cell) -> TypeGuard[PairTold]:
    """Whether a place's number is the zone that is to come."""
    return told is not None and cell.operation.guide == BEFORE and bool(told.before)


def _done(cell: Cell, verdict: Verdict, told: PairTold | None) -> Json:
    """Return how a finished place looks: the verdict's word, the number and its spread."""
    word = verdict.word or "none"
    if _tells_beforehand(told, cell):
        number, spread = _split(told.before)  # a zone that holds 95 %: it has no spread of its own
    else:
        number, spread = _number(verdict.value, cell)
    held = None if cell.looser_mm is None else f"held to {format_length(cell.looser_mm)}"
    remarks = [DIAL_NOT_CHECKED if verdict.dial_left_out else None, held]
    return {
        "state": word,
        "word": "no verdict" if word == "none" else word if word == "inside" else word.upper(),
        "number": number,
        "spread": spread,
        "remark": "; ".join(remark for remark in remarks if remark),
    }


def _split(zone: str) -> tuple[str, str]:
    """Return a zone's size, and the share that it holds."""
    size, _, share = zone.partition(" (")
    return size, _together(f"({share}")


def _together(text: str) -> str:
    """Return a spread that is broken before its brackets only."""
    return text.replace(" ", "\u00a0").replace("\u00a0(", " (")


def _number(value: str, cell: Cell) -> tuple[str, str]:
    """Split what was judged into the number and its spread; the column tells of what it is."""
    guide = GUIDES.get(cell.operation.guide)
    told = value if guide is None else value.removeprefix(guide.tolerance_words).strip()
    number, plus_minus, spread = told.partition(" ± ")
    if plus_minus:
        return f"{number} mm", _together(f"± {spread}")
    return (told, "") if len(told) <= LONGEST_NUMBER else ("", told)


def _pair(told: PairTold) -> list[Json]:
    """Return what stands at the end of a part's row: told before boring, and proven."""
    size, share = _split(told.before) if told.before else ("", "")
    number, _, spread = told.after.partition(" ± ")
    return [
        {
            "label": "before boring",
            "number": size,
            "spread": share,
            "remark": told.known or told.lacking_before,
        },
        {
            "label": "proven",
            "number": f"{number} mm" if told.after else "",
            "spread": _together(f"± {spread}") if told.after else "",
            "remark": "; ".join(
                words for words in (told.surely, told.compared, told.lacking_after) if words
            ),
        },
    ]


def _beyond(board: Board) -> str:
    if not board.outside:
        return ""
    one = board.outside == 1
    return (
        f"{board.outside} setup{'' if one else 's'} of this job in the book "
        f"belong{'s' if one else ''} to no place of the plan: see Records."
    )
