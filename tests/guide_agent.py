"""An agent that does only what `Advice` says, at works on paper; it never sees the truth."""

from readings import Sweep, frozen_array
from setups import (
    CHECKLISTS,
    GUIDES,
    Instrument,
    Next,
    SetupState,
    Sized,
    Still,
    Touched,
    Turned,
    advance,
    advise,
    step_of,
)
from setups.measuring import wanted_place
from setups.state_task import TaskState

DIAL = Instrument("bench", 0.01, 100, (-2.0, 2.0))
POINTS = {"right": 0.0, "back": 90.0, "left": 180.0, "front": 270.0}


def begun(guide, sizes=None, tolerance_mm=None, dial=DIAL):
    what = GUIDES[guide]
    given = {size.key: size.default for size in what.sizes} | (sizes or {})
    return SetupState(
        guide=guide,
        part="Gear-case end 1",
        operation="Bore 52 mm seat",
        tolerance_mm=tolerance_mm or what.default_tolerance_mm,
        diameter_mm=None,
        instrument=dial,
        wheels=(),
        task=TaskState(sizes=tuple(given.items())),
    )


class GuideAgent:
    """Walks one guide."""

    def __init__(self, work, state, at=None, changed=None):
        self.work = work
        self.state = state
        self.at = at or (lambda work, place: None)
        self.changed = changed or (lambda work, key: None)
        self.effects = []
        self.said = []
        self.sense = 1

    def tell(self, event):
        self.state, effects = advance(self.state, event)
        self.effects.extend(effects)

    def act(self):
        state, work = self.state, self.work
        advice, step = advise(state), step_of(state)
        self.said.append(" ".join((advice.headline, advice.detail, advice.say, advice.note)))
        work.time_s += 1.0
        if advice.wants == "ticks":
            for line in CHECKLISTS[step.checklist].lines:
                self.tell(Touched(step.checklist, line.key, "agent", work.time_s))
        elif advice.wants == "sizes":
            for key, value in state.task.sizes:
                self.tell(Sized(key, value, work.time_s))
            self.tell(Next(work.time_s))
        elif advice.wants == "place":
            self.at(work, wanted_place(state))
            self.tell(Still(work.time_s, None, work.reading_mm(), work.noise_mm, True))
        elif advice.todo is not None:
            self.put_right(advice.todo)
        elif advice.wants == "key":
            self.touch_next(step)
        elif advice.wants == "turn":
            self.turn()
        elif advice.wants == "stop":
            stop = work.next_stop()
            self.tell(Still(work.time_s, stop.turn_rad, None, None, True, target=stop))
        else:
            work.turn_to(POINTS[advice.stylus])
            self.tell(Still(work.time_s, work.collar_rad(), None, None, True))

    def put_right(self, todo):
        self.work.do(todo)
        if todo.needle_mm is None:
            self.tell(Next(self.work.time_s))
        else:
            work = self.work
            self.tell(Still(work.time_s, work.collar_rad(), work.reading_mm(), work.noise_mm, True))

    def touch_next(self, step):
        if step.kind == "lock":
            self.work.lock()
        self.changed(self.work, step.key)
        if step.kind in ("prepare", "change"):
            self.work.load()
        self.tell(Next(self.work.time_s))

    def turn(self):
        t, value, collar = self.work.sweep(self.sense).T
        self.sense = -self.sense
        n = len(t)
        sweep = Sweep(
            frozen_array(t),
            frozen_array(value),
            frozen_array([self.work.noise_mm] * n),
            frozen_array(collar),
            frozen_array([0.001] * n),
            None,
        )
        self.tell(Turned(self.work.time_s, sweep))

    def run(self, most=200):
        for _ in range(most):
            if self.state.step == "done":
                return self
            self.act()
        raise AssertionError(f"did not end: {advise(self.state)}")
