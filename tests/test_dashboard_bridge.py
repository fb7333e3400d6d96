"""The bridge: what counts as a reading that arrived, and what happens when the service goes."""

import asyncio

from dashboard_stand_in import live

from readings import ServiceError
from stream.messages import Answer, SessionView
from ui.live_bridge import LiveBridge


class Line:
    """A link whose words are handed in."""

    def __init__(self, words=(), fails=None):
        self.words, self.fails, self.closed, self.sent = list(words), fails, False, []

    async def subscribe(self, *topics):
        for word in self.words:
            yield word
        await asyncio.sleep(3600)

    async def command(self, name, **args):
        self.sent.append((name, args))
        if self.fails:
            raise self.fails
        return Answer(ok=True, said="done")

    def close(self):
        self.closed = True


def readings(*indices):
    return [("reading", live(i), None) for i in indices]


def after(words, ask, clock=lambda: 10.0):
    async def story():
        bridge = LiveBridge(lambda: Line(words), clock)
        task = asyncio.create_task(bridge.run())
        await asyncio.sleep(0.05)
        try:
            result = ask(bridge)
            return await result if asyncio.iscoroutine(result) else result
        finally:
            task.cancel()

    return asyncio.run(story())


def test_a_kept_reading_that_is_sent_again_has_not_arrived():
    assert after(readings(7), LiveBridge.reading_age_s) is None
    assert after(readings(7, 7, 7), LiveBridge.reading_age_s) is None
    assert after(readings(7, 8), LiveBridge.reading_age_s) == 0.0


def test_the_newest_state_is_kept_for_the_pages():
    words = [("state", SessionView(4, title="old"), None), ("state", SessionView(5), None)]
    assert after(words, lambda bridge: bridge.view) == SessionView(5)


def test_bodies_may_come_as_plain_json():
    words = [("state", {"revision": 9, "title": "from JSON"}, None)]
    assert after(words, lambda bridge: bridge.view).title == "from JSON"


def test_an_unknown_command_never_reaches_the_service():
    answer = after([], lambda bridge: bridge.command("format", {}))
    assert not answer.ok
    assert "no command 'format'" in answer.said


def test_a_service_that_is_away_is_told_and_found_again():
    lines = [None, Line(readings(1, 2), ServiceError("it does not answer"))]

    def connect():
        line = lines.pop(0)
        if line is None:
            raise ServiceError("no service runs")
        return line

    async def story():
        bridge = LiveBridge(connect, lambda: 0.0)
        task = asyncio.create_task(bridge.run())
        await asyncio.sleep(0.05)
        away = await bridge.command("next", {})
        await asyncio.sleep(0.6)
        there = await bridge.command("next", {})
        linked = bridge.linked
        task.cancel()
        return away, there, linked

    away, there, linked = asyncio.run(story())
    assert not away.ok
    assert "away" in away.said
    assert not there.ok
    assert there.said == "it does not answer"
    assert linked


def test_from_another_thread_a_command_waits_for_its_answer():
    async def story():
        line = Line(readings(1))
        bridge = LiveBridge(lambda: line, lambda: 0.0)
        assert not bridge.command_now("next").ok
        task = asyncio.create_task(bridge.run())
        await asyncio.sleep(0.05)
        answer = await asyncio.to_thread(bridge.command_now, "begin", job="Lock", tolerance_mm=0.01)
        task.cancel()
        return answer, line.sent

    answer, sent = asyncio.run(story())
    assert answer.ok
    assert sent == [("begin", {"job": "Lock", "tolerance_mm": 0.01})]
