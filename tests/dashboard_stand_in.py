"""A small real service for the dashboard's tests: ZeroMQ sockets, the messages' own format.

It publishes what it is told to and notes the commands that come; there is no camera,
no session and no book behind it.
"""

import os
import threading
import time
from pathlib import Path

import msgspec
import zmq

from setups import Advice, Move
from stream.card import Card, put_card, take_card_away
from stream.messages import (
    VERSION,
    Answer,
    Command,
    Health,
    Live,
    Overlay,
    Preview,
    SessionView,
)

JPEG = b"\xff\xd8\xff\xe0 a picture"


def live(index, value_mm=0.1, **changes):
    fields = {
        "t_s": index / 30.0,
        "index": index,
        "value_mm": value_mm,
        "divisions": None if value_mm is None else value_mm / 0.01,
        "sigma_mm": 0.0001,
        "flags": (),
        "sentences": (),
        "theta_deg": 0.0,
        "collar_deg": 0.0,
        "moving": False,
        "turned_deg": None,
        "samples": 0,
        "target_mm": None,
        "target_divisions": None,
        "window_mm": None,
        "overlay": Overlay(),
    }
    return Live(**{**fields, **changes})


def moving_view(axis="x", revision=3):
    """A bore being centred: the table to be moved along `axis`, stylus on that axis."""
    move = Move(
        what="table",
        axis=axis,
        direction="right",
        move_mm=0.05,
        divisions=2.5,
        wheel_turning="clockwise",
        stylus="right" if axis == "x" else "back",
        needle_mm=0.05,
        needle_divisions=5.0,
        window_mm=0.001,
        approach="Finish moving right.",
        back_off_mm=0.0,
    )
    advice = Advice("Table right 0.050 mm", "detail", "say", "still", "right", (move,), 0)
    return SessionView(
        revision, guide="centre-bore", title="Centre", step="moves", kind="moves", advice=advice
    )


class StandIn:
    """One service in `home`; publishes readings and previews by itself while `talking`."""

    def __init__(self, home: Path, view=None):
        self.home = home
        self.view = view or SessionView(1)
        self.commands = []
        self.talking = True
        self.index = 0
        self._seq = 0
        self._ending = threading.Event()
        self._context = zmq.Context()
        self._out = self._context.socket(zmq.XPUB)
        self._out.setsockopt(zmq.XPUB_VERBOSE, 1)
        self._door = self._context.socket(zmq.ROUTER)
        for socket in (self._out, self._door):
            socket.setsockopt(zmq.LINGER, 0)
            socket.bind("tcp://127.0.0.1:*")
        self.card = Card(
            self._out.getsockopt_string(zmq.LAST_ENDPOINT),
            self._door.getsockopt_string(zmq.LAST_ENDPOINT),
            os.getpid(),
            "0",
            "2026-11-25T09:00:00+00:00",
        )
        self._kept = {}
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()
        put_card(home, self.card)

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()

    def close(self):
        """Go away; may be called twice."""
        if self._ending.is_set():
            return
        self._ending.set()
        self._thread.join(5)
        take_card_away(self.home, self.card)
        self._context.destroy(0)

    def _publish(self, topic, body, payload=None):
        self._seq += 1
        header = msgspec.json.encode({"v": VERSION, "seq": self._seq, "body": body})
        parts = [topic.encode(), header, *([payload] if payload else [])]
        self._kept[topic] = parts
        self._out.send_multipart(parts)

    def _work(self):
        shown, health_s = None, 0.0
        while not self._ending.is_set():
            while self._out.poll(0):
                self._welcome(self._out.recv())
            while self._door.poll(0):
                self._answer(*self._door.recv_multipart())
            if self.view is not shown:
                shown = self.view
                self._publish("state", shown)
            if time.monotonic() - health_s > 0.5:
                health_s = time.monotonic()
                self._publish("health", Health(1.0, "live", 30.0, 30.0, 0.0, "stand-in"))
            if self.talking:
                self.index += 1
                self._publish("reading", live(self.index))
                self._publish("preview", Preview(0.0, self.index, 8, 8, 16), JPEG)
            time.sleep(0.02)

    def _welcome(self, message):
        if message[:1] == b"\x01":
            for parts in self._kept.values():
                if parts[0].startswith(message[1:]):
                    self._out.send_multipart(parts)

    def _answer(self, who, *frames):
        command = msgspec.json.decode(frames[-1], type=Command)
        self.commands.append(command)
        answer = Answer(ok=True, said=f"did {command.name}", seq=command.seq)
        self._door.send_multipart([who, *frames[:-1], msgspec.json.encode(answer)])
