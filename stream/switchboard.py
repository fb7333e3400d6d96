"""Passes commands on: to the bench, to the cameras, to the calibration, to the session."""

from typing import Any, Protocol, runtime_checkable

from readings import SparehandError
from stream.calibrating import Calibrating
from stream.cameras import Cameras
from stream.given import Tools
from stream.messages import Answer, Command
from stream.office import Office

CALIBRATING = "The camera is being calibrated: save that or give it up first."


@runtime_checkable
class BenchLike(Protocol):
    """A virtual machine: hands can be sent to it."""

    def command(self, do: str, /, **args: object) -> str:
        """Do what hands do; return the sentence that answers."""

    def state(self) -> object:
        """Return what a person at the machine sees: a dataclass with `t_s`."""


class Switchboard:
    """Where each command goes; the same for all clients."""

    def __init__(
        self,
        office: Office,
        cameras: Cameras,
        tools: Tools,
        bench: BenchLike | None,
        calibrating: Calibrating,
    ) -> None:
        self._office, self._cameras = office, cameras
        self._tools, self._bench = tools, bench
        self._calibrating = calibrating

    def do(self, command: Command) -> Answer:
        """Do one command."""
        if command.name == "bench":
            return self._do_bench(dict(command.args))
        if command.name == "camera":
            return self._look_through(command.args.get("name"))
        if command.name == "calibrate":
            camera, running = self._cameras.in_use, self._office.running
            return self._calibrating.do(command.args, camera, running=running)
        if command.name == "begin" and self._calibrating.active:
            return Answer(False, CALIBRATING)
        return self._office.command(command)

    def _do_bench(self, args: dict[str, Any]) -> Answer:
        if self._bench is None:
            return Answer(False, "There is no virtual machine here: that is the demo's only.")
        do = args.pop("do", None)
        if not isinstance(do, str) or "self" in args:
            return Answer(False, "A bench command needs `do`, the name of what hands do.")
        try:
            return Answer(True, self._bench.command(do, **args))
        except SparehandError as error:
            return Answer(False, str(error))

    def _look_through(self, name: object) -> Answer:
        session = self._office.session
        if session is not None and session.running:
            said = "A setup is running: finish it or give it up before another camera is taken."
            return Answer(False, said)
        if self._calibrating.active:
            return Answer(False, CALIBRATING)
        try:
            camera = self._cameras.use(name)
        except SparehandError as error:
            return Answer(False, str(error))
        self._office.use(camera.eyes.tools or self._tools)
        return Answer(True, f"{camera.name} is in use now.")
