"""The engine of `sparehand setup play`: Advice on the terminal, touches to the service."""

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import msgspec

from readings import BadInputError
from stream.client import Client, Subscription
from stream.messages import SessionView
from ui.beside import beside_words

POLL_S = 0.3
WAITS_FOR_A_TOUCH = ("key", "ticks", "sizes", "place")

Ask = Callable[[str], str | None]
Tell = Callable[[str], None]


def ask_at_terminal(question: str) -> str | None:
    """Ask on stderr and return the line typed, None at the end of what is typed."""
    sys.stderr.write(question + " ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    return line.strip() if line else None


def play(folder: Path, order: Mapping[str, Any] | None, ask: Ask, tell: Tell) -> bool:
    """Begin a setup (or go on with the one that runs) and walk it; return whether it ended.

    Raises
    ------
    BadInputError
        If the service refuses the order, or no setup runs to go on with.
    ServiceError
        If no service answers.
    """
    with Client(folder) as client:
        if order is not None:
            answer = client.command("begin", **order)
            if not answer.ok:
                raise BadInputError(answer.said)
        states = client.subscribe("state")
        try:
            return _Player(client, states, ask, tell).walk(folder)
        finally:
            states.close()


class _Player:
    """Shows each new advice once and passes on what is typed."""

    def __init__(self, client: Client, states: Subscription, ask: Ask, tell: Tell) -> None:
        self._client = client
        self._states = states
        self._ask = ask
        self._tell = tell
        self._shown = ""

    def walk(self, folder: Path) -> bool:
        """Walk until the setup is done, or the person leaves; first tell what `folder` knows."""
        view = self._view()
        if view.guide is None:
            msg = "No setup is running: begin one without --resume."
            raise BadInputError(msg)
        beside = "" if view.setup_id is None else beside_words(folder, view.setup_id)
        if beside:
            self._tell(beside)
        while not (view.finished and view.kind == "done"):
            self._show(view)
            wants = view.advice.wants if view.advice else "nothing"
            touches = wants in WAITS_FOR_A_TOUCH or view.kind == "point"
            if touches and not self._touch(view):
                return False
            view = self._next_view(view, wait=not touches)
        self._show(view)
        return True

    def _view(self) -> SessionView:
        return msgspec.convert(self._client.command("view").body, SessionView)

    def _next_view(self, before: SessionView, *, wait: bool) -> SessionView:
        """Return the view as it stands; where a picture is waited for, once it changed."""
        while True:
            self._states.poll(POLL_S)
            view = self._view()
            if not wait or view.revision != before.revision:
                return view

    def _show(self, view: SessionView) -> None:
        advice = view.advice
        if advice is None:
            return
        lines = [advice.headline, advice.detail, f"▸ {advice.note}" if advice.note else ""]
        text = "\n".join(line for line in lines if line)
        if text != self._shown:
            self._shown = text
            self._tell(f"\n[{view.step_number}/{view.steps}] {text}")

    def _touch(self, view: SessionView) -> bool:
        """Pass one touch on; False where the person leaves."""
        if view.checklist:
            return self._tick(view)
        if view.kind == "sizes":
            return self._sizes(view)
        typed = self._ask("Enter: next, q: leave.")
        if typed is None or typed.lower() == "q":
            return False
        self._said(self._client.command("next"))
        return True

    def _tick(self, view: SessionView) -> bool:
        open_lines = [line for line in view.lines if not line.ticked]
        listed = "\n".join(f"  {i}  {line.text}" for i, line in enumerate(open_lines, start=1))
        typed = self._ask(f"{listed}\nNumber of the line that is done (q: leave):")
        if typed is None or typed.lower() == "q":
            return False
        if not (typed.isdigit() and 1 <= int(typed) <= len(open_lines)):
            self._tell(f"'{typed}' is no number of a line: each needs its own.")
            return True
        line = open_lines[int(typed) - 1]
        self._said(self._client.command("touch", checklist=view.checklist, line=line.key))
        return True

    def _sizes(self, view: SessionView) -> bool:
        listed = "\n".join(f"  {s.key} = {s.value:g} {s.unit}  ({s.label})" for s in view.sizes)
        typed = self._ask(f"{listed}\nKEY=VALUE to change one, Enter when right (q: leave):")
        if typed is None or typed.lower() == "q":
            return False
        if not typed:
            self._said(self._client.command("next"))
            return True
        key, _, number = typed.partition("=")
        try:
            value = float(number)
        except ValueError:
            self._tell(f"'{typed}' is no size: type KEY=VALUE.")
            return True
        self._said(self._client.command("size", key=key.strip(), value=value))
        return True

    def _said(self, answer: Any) -> None:  # noqa: ANN401 - an Answer
        if not answer.ok and answer.said:
            self._tell(answer.said)
