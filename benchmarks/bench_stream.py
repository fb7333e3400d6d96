"""The running service on a 1280 x 720 video: losses, latency, memory, cores, idle cost.

Run as ``python benchmarks/bench_stream.py [--quick]``. Each part is a service in a process of
its own over a recording of the virtual bench (JPEG, decoded as a camera's), and one subscriber
in this process. Sizes: 30 pictures a second for 10 minutes (quick 24 s), two cameras at 15 for
2 minutes (quick 8 s), a camera at three times what the reader manages for 20 s (quick 6 s),
idle 20 s each (quick 5 s). Latency runs from the grab, before the picture is decoded, to the
reading in the subscriber's hands; its goal is a multiple of decode time plus a bare PUB/SUB
round trip between two processes, measured beside the same run: the same quantile of both, since
a busy machine holds up either. Ends with a line a goal:
measure, value, goal; exits 1 where one is missed.
"""

import argparse
import json
import os
import statistics
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
import zmq

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import stream_camera

from stream.card import read_card
from stream.client import Client, Intake

GOAL_DROPS, GOAL_GROWTH_MB, GOAL_LATENCY = 0.001, 5.0, 4.0
GOAL_NO_CAMERA, GOAL_STILL, GOAL_PAGE = 3.0, 10.0, 60.0
TICKS = os.sysconf("SC_CLK_TCK")
SETTLE_S = 4.0


def cpu_s(pid):
    """CPU seconds a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def resident_mb(pid):
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1000 for line in lines if line.startswith("VmRSS"))


@contextmanager
def service(folder, kind="video", cameras=1, fps=30.0):
    """A running service; yields its home and process number."""
    with stream_camera.new_home() as home:
        arguments = (home, str(folder), kind, cameras, fps)
        process = stream_camera.FORKS.Process(target=stream_camera.serve, args=arguments)
        process.start()
        try:
            until = time.monotonic() + 120.0
            while not (Path(home) / "service.json").exists():
                assert process.is_alive(), "the service ended"
                assert time.monotonic() < until, "the service did not start"
                time.sleep(0.05)
            yield Path(home), process.pid
        finally:
            process.terminate()
            process.join(15)


def echo(addresses):
    """Answer every message of one socket on another: the other end of a round trip."""
    context = zmq.Context()
    ears, mouth = context.socket(zmq.SUB), context.socket(zmq.PUB)
    ears.setsockopt(zmq.SUBSCRIBE, b"")
    mouth.bind("tcp://127.0.0.1:*")
    addresses.send(mouth.getsockopt_string(zmq.LAST_ENDPOINT))
    ears.connect(addresses.recv())
    while True:
        mouth.send_multipart(ears.recv_multipart())


@contextmanager
def round_trips():
    """Yields a function that times one bare PUB/SUB round trip to another process (s)."""
    ours, theirs = stream_camera.FORKS.Pipe()
    process = stream_camera.FORKS.Process(target=echo, args=(theirs,), daemon=True)
    process.start()
    context = zmq.Context()
    mouth, ears = context.socket(zmq.PUB), context.socket(zmq.SUB)
    mouth.bind("tcp://127.0.0.1:*")
    ears.setsockopt(zmq.SUBSCRIBE, b"")
    ears.connect(ours.recv())
    ours.send(mouth.getsockopt_string(zmq.LAST_ENDPOINT))
    message = [b"reading", bytes(1500)]

    def trip():
        began = time.perf_counter()
        mouth.send_multipart(message)
        assert ears.poll(5000)
        ears.recv_multipart()
        return time.perf_counter() - began

    until = time.monotonic() + 10.0
    while time.monotonic() < until:  # until both have found each other
        mouth.send_multipart(message)
        if ears.poll(50):
            break
    while ears.poll(100):
        ears.recv_multipart()
    try:
        yield trip
    finally:
        process.terminate()
        context.destroy(0)


class Watch:
    """One subscriber of everything, which notes what came and when."""

    def __init__(self, home, cameras=1):
        self._context = zmq.Context()
        self._socket = self._context.socket(zmq.SUB)
        self._socket.setsockopt(zmq.RCVHWM, 100_000)
        self._socket.setsockopt(zmq.SUBSCRIBE, b"")
        self._socket.connect(read_card(home).publications)
        self._intake = Intake()
        self.indices = {}
        self.latencies, self.previews, self.refused, self.health = [], 0, 0, {}

    def listen(self, seconds):
        """Note what comes for some seconds."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if self._socket.poll(20):
                self._note(self._intake.open(self._socket.recv_multipart()), time.monotonic())

    def _note(self, one, now_s):
        if one is None:
            return
        kind = one.topic.rsplit("/", 1)[-1]
        if kind == "reading":
            self.indices.setdefault(one.topic, []).append(one.body["index"])
            self.latencies.append(now_s - one.body["t_s"])
            self.refused += one.body["value_mm"] is None
        elif kind == "preview":
            self.previews += 1
        elif kind == "health":
            self.health = one.body

    def forget(self):
        self.indices, self.latencies, self.previews, self.refused = {}, [], 0, 0

    def lost(self):
        """Pictures between the first and the last reading of which there is none."""
        return sum(i[-1] - i[0] + 1 - len(i) for i in self.indices.values())

    def close(self):
        self._context.destroy(0)


class Reference(threading.Thread):
    """Decodes one picture and makes one bare round trip, ten times a second, beside a run."""

    def __init__(self, folder):
        super().__init__(daemon=True)
        self._jpeg = np.fromfile(folder / "000.jpg", np.uint8)
        self._ended, self.ready = threading.Event(), threading.Event()
        self.decodes, self.trips = [], []

    def run(self):
        cv2.setNumThreads(1)
        with round_trips() as trip:
            self.ready.set()
            while not self._ended.wait(0.1):
                began = time.perf_counter()
                cv2.imdecode(self._jpeg, cv2.IMREAD_COLOR)
                self.decodes.append(time.perf_counter() - began)
                self.trips.append(trip())

    def end(self):
        self._ended.set()
        self.join(10)
        return np.array(self.decodes), np.array(self.trips)


def streamed(folder, cameras, fps, seconds, settle_s):
    """Run cameras for some seconds; print what came, return the goals' measures."""
    with service(folder, "video", cameras, fps) as (home, pid):
        watch = Watch(home)
        reference = Reference(folder)
        reference.start()
        reference.ready.wait(60)
        watch.listen(settle_s)
        watch.forget()
        memory, cpu, began = resident_mb(pid), cpu_s(pid), time.monotonic()
        watch.listen(seconds)
        took = time.monotonic() - began
        cores = (cpu_s(pid) - cpu) / took
        growth = resident_mb(pid) - memory
        decodes, trips = reference.end()
        watch.close()
    offered = sum(i[-1] - i[0] + 1 for i in watch.indices.values())
    drops = max(0.0, 1.0 - watch.previews / max(1, offered))
    half, q95 = (1e3 * float(np.quantile(watch.latencies, q)) for q in (0.5, 0.95))
    same = [1e3 * float(np.quantile(decodes + trips, q)) for q in (0.5, 0.95)]
    label = f"{cameras} x {fps:.0f}/s"
    print(
        f"{label:<10}{offered:8d}{watch.lost():6d}{watch.refused:9d}{drops:9.2%}{growth:8.1f}"
        f"{half:9.1f}{q95:9.1f}{same[0]:10.1f}{same[1]:10.1f}{cores:8.2f}"
    )
    return [
        (f"lost samples, {label}", watch.lost(), 0),
        (f"preview drops, {label}", drops, GOAL_DROPS),
        (f"memory growth MB, {label}", growth, GOAL_GROWTH_MB),
        (f"latency over decode + trip (95 %), {label}", q95 / same[1], GOAL_LATENCY),
        (f"latency over decode + trip (median), {label}", half / same[0], GOAL_LATENCY),
    ]


def overloaded(folder, seconds):
    """Offer three times what can be read: previews give way, readings go on at full rate."""
    with service(folder, "ready", 1, 30.0) as (home, _):
        watch = Watch(home)
        watch.listen(SETTLE_S)
        alone = 1.0 / max(1e-3, statistics.median(watch.latencies))
        watch.close()
    fps = min(400.0, 3.0 * alone)
    with service(folder, "ready", 1, fps) as (home, _):
        watch = Watch(home)
        watch.listen(SETTLE_S)
        watch.forget()
        began = time.monotonic()
        watch.listen(seconds)
        took = time.monotonic() - began
        camera = watch.health["cameras"][0]
        watch.close()
    readings = sum(len(i) for i in watch.indices.values())
    in_order = all(i == sorted(set(i)) for i in watch.indices.values())
    print(
        f"\noverload: {fps:.0f} pictures/s offered, {readings / took:.0f} read/s, "
        f"{watch.previews / took:.1f} previews/s, skipped {camera['skipped']}, "
        f"previews left out {camera['previews_left_out']}"
    )
    return [
        ("overload: readings out of order", 0 if in_order else 1, 0),
        ("overload: 30/s over readings/s", 30.0 / max(1e-9, readings / took), 1.0),
        ("overload: previews/s over readings/s", watch.previews / max(1, readings), 1.0),
    ]


def share_of_a_core(pid, seconds):
    before, began = cpu_s(pid), time.monotonic()
    time.sleep(seconds)
    return 100.0 * (cpu_s(pid) - before) / (time.monotonic() - began)


def idle(folder, seconds):
    """What it costs to do nothing, and what a page costs."""
    shares = {}
    for kind in ("gone", "still", "bench"):
        with service(folder, kind) as (_, pid):
            time.sleep(SETTLE_S)
            shares[kind] = share_of_a_core(pid, seconds)
    print("\nidle, % of one core")
    for kind, words in (
        ("gone", "no camera open"),
        ("still", "camera open, nobody looks"),
        ("bench", "bench at rest"),
    ):
        print(f"  {words:<28}{shares[kind]:6.1f}")
    return [
        ("idle %, no camera", shares["gone"], GOAL_NO_CAMERA),
        ("idle %, camera open", shares["still"], GOAL_STILL),
        ("idle %, bench at rest", shares["bench"], GOAL_STILL),
    ]


def page(folder, seconds):
    """One dashboard with a live picture: its own share and what it adds to the service's."""
    from websockets.sync.client import connect

    with service(folder, "video", 1, 30.0) as (home, pid):
        with Client(home) as client:
            assert client.command(
                "begin", job="Lock paddle winding gear", part="Gear-case end 1", operation="Bore"
            ).ok  # a setup runs: every picture is read, watched or not
        time.sleep(SETTLE_S)
        alone = share_of_a_core(pid, seconds)
        ours, theirs = stream_camera.FORKS.Pipe()
        process = stream_camera.FORKS.Process(
            target=stream_camera.dashboard, args=(str(home), theirs)
        )
        process.start()
        address = ours.recv().split()[-1].rstrip("/").replace("http", "ws", 1) + "/live"
        try:
            line = opened(connect, address)
            pictures = drawn(line, SETTLE_S)
            before = (cpu_s(pid), cpu_s(process.pid), time.monotonic())
            pictures = drawn(line, seconds)
            took = time.monotonic() - before[2]
            service_share = 100.0 * (cpu_s(pid) - before[0]) / took
            own = 100.0 * (cpu_s(process.pid) - before[1]) / took
            line.close()
        finally:
            process.terminate()
            process.join(10)
    added = max(0.0, service_share - alone)
    print(
        f"\none page, {pictures / took:.1f} pictures/s: dashboard {own:.1f} %, "
        f"service {alone:.1f} -> {service_share:.1f} % of one core"
    )
    return [("one dashboard with picture, % of one core", own + added, GOAL_PAGE)]


def opened(connect, address):
    until = time.monotonic() + 60.0
    while True:
        try:
            return connect(address, max_size=None, close_timeout=1)
        except OSError:
            assert time.monotonic() < until, "the dashboard did not start"
            time.sleep(0.2)


def drawn(line, seconds):
    """Take pictures as a page does, saying which were drawn; return how many came."""
    until, index, count = time.monotonic() + seconds, 0, 0
    while time.monotonic() < until:
        said = line.recv(timeout=10)
        if isinstance(said, bytes):
            count += 1
            line.send(json.dumps({"seen": index}))
        elif said.startswith('{"topic":"preview"'):
            index = json.loads(said)["body"]["index"]
    return count


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    goals = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        stream_camera.record(folder, np.random.default_rng(5))
        print(
            f"{'':<10}{'pictures':>8}{'lost':>6}{'refused':>9}{'drops':>9}{'MB':>8}"
            f"{'50% ms':>9}{'95% ms':>9}{'dec+trip':>10}{'95%':>10}{'cores':>8}"
        )
        settle = 10.0 if quick else 60.0
        goals += streamed(folder, 1, 30.0, 14.0 if quick else 540.0, settle)
        goals += streamed(folder, 2, 15.0, 8.0 if quick else 120.0, SETTLE_S)
        goals += overloaded(folder, 5.0 if quick else 20.0)
        goals += idle(folder, 4.0 if quick else 20.0)
        goals += page(folder, 5.0 if quick else 20.0)
    print()
    missed = 0
    for measure, value, goal in goals:
        missed += value > goal
        print(f"{measure:<48}{value:10.4f}{goal:10.4f}{'' if value <= goal else '  MISSED'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
