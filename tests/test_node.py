"""A camera node whose network goes away for a while: every sample arrives once, in order."""

import ctypes
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from math import pi
from pathlib import Path

import numpy as np
import pytest
from network_kit import hears_nothing, key_for, reach_with, three_ports
from paper_mill import PaperMill
from paper_picture import CollarOfPaper, ReadsPaper, draw
from stream_paper import mill_for
from stream_process import FORKS, Forked, kill, prepare_turns, running, wait_until

from readings import DIRECTION_DEG, Frame
from records import BookReader, check_book
from stream.client import Client
from stream.keys import KeyFile, read_private
from stream.node import Node, NodeClock, Shelf
from stream.node_messages import Parcel
from stream.reach import reach_of

FPS = 15.0
CUT_S, LONG_CUT_S = 3.5, 60.0
CLONE_NEWNET = 0x40000000


class NodesMill:
    """Pictures of a mill on paper at a node; hands come through a pipe."""

    name = "lathe"

    def __init__(self, hands):
        self.mill: PaperMill = mill_for(1, x_mm=0.02, y_mm=-0.015)
        self._hands = hands
        self._left_rad, self._rate = 0.0, 1.0
        self._open = True

    def frames(self):
        started, index = time.monotonic(), 0
        while self._open:
            index += 1
            time.sleep(max(0.0, started + index / FPS - time.monotonic()))
            while self._hands.poll():
                self._take_up(*self._hands.recv())
            step = float(np.clip(self._left_rad, -self._rate / FPS, self._rate / FPS))
            self._left_rad -= step
            self.mill.turn_to(self.mill.theta_rad + step, places=1)
            image = draw(self.mill.reading_mm(), self.mill.collar_rad(), grey=60 + index % 90)
            yield Frame(image, started + index / FPS, index, self.name)

    def _take_up(self, do, args):
        if do == "turn":
            self._left_rad = args["degrees"] * pi / 180.0
            self._rate = abs(self._left_rad) / args["seconds"]
        else:
            to = self.mill.nearest(DIRECTION_DEG[args["direction"]])
            self._left_rad, self._rate = to - self.mill.theta_rad, 3.0

    def close(self):
        self._open = False


def node_process(key_file, hands, read_here, namespace):
    """Run a node in a process of its own, in a network namespace where one is named."""
    if namespace:
        handle = os.open(f"/run/netns/{namespace}", os.O_RDONLY)
        assert ctypes.CDLL(None, use_errno=True).setns(handle, CLONE_NEWNET) == 0
    key = read_private(key_file, KeyFile)
    readers = (ReadsPaper(), CollarOfPaper()) if read_here else (None, None)
    node = Node(reach_of(key), key.name, NodesMill(hands), *readers)
    signal.signal(signal.SIGTERM, lambda number, frame: node.stop())
    node.run()
    sys.exit(0)


@dataclass
class Cable:
    """A network namespace and the pair of interfaces that joins it to ours."""

    name: str
    here: str
    address: str

    def set(self, state):
        run("ip", "link", "set", self.here, state)


def run(*command):
    subprocess.run(command, check=True, capture_output=True)


@pytest.fixture
def cable():
    """A namespace joined to ours by a cable that can be cut."""
    number = os.getpid() % 60000
    name, here, there = f"node{number}", f"sh{number}a", f"sh{number}b"
    net = f"10.{100 + number % 100}.{number // 256 % 256}"
    try:
        run("ip", "netns", "add", name)
        run("ip", "link", "add", here, "type", "veth", "peer", "name", there, "netns", name)
    except (OSError, subprocess.CalledProcessError):
        subprocess.run(["ip", "netns", "del", name], check=False, capture_output=True)
        if os.environ.get("CI") == "true" and os.geteuid() == 0:
            pytest.fail("a network namespace cannot be made")
        pytest.skip("a network namespace needs the right to make one")
    try:
        run("ip", "addr", "add", f"{net}.1/24", "dev", here)
        run("ip", "link", "set", here, "up")
        for line in (f"addr add {net}.2/24 dev {there}", f"link set {there} up", "link set lo up"):
            run("ip", "netns", "exec", name, "ip", *line.split())
        yield Cable(name, here, f"{net}.1")
    finally:
        run("ip", "netns", "del", name)


def samples_over_a_cut(home, cable, cut_s, *, read_here):
    """Turn once while the cable is cut for a while; return the turn's samples and the health."""
    port = three_ports()
    prepare_turns(home)
    key_for(home, "lathe", port, cable.address)
    ours, theirs = FORKS.Pipe()
    with running(home, "--network", f"{cable.address}:{port}", "--node", "lathe"):
        node = Forked(node_process, home / "lathe.key", theirs, read_here, cable.name)
        try:
            with Client(home) as client:
                results, health = client.subscribe("result"), client.subscribe("health")
                here = client.subscribe("reading")
                wait_until(lambda: here.poll(0.2))  # the node has come
                ours.send(("turn", {"degrees": 385.0, "seconds": cut_s + 4.0}))
                time.sleep(1.5)
                cable.set("down")
                began_s = time.monotonic()
                wait_until(lambda: told(health, "node away"), 3.5)
                time.sleep(max(0.0, began_s + cut_s - time.monotonic()))
                cable.set("up")
                turn = wait_until(lambda: results.poll(0.2), 30.0).body
                wait_until(lambda: not told(health, "node away"), 5.0)
                last = wait_until(lambda: health.poll(0.2)).body
            node.send_signal(signal.SIGTERM)
            assert node.wait(10) == 0
        finally:
            if node.poll() is None:
                kill(node)
    with BookReader.open(home) as reader:
        sweep = reader.samples(turn["sweep_id"])
    assert check_book(home) == []
    return sweep, last


def told(health, name):
    one = wait_until(lambda: health.poll(0.2), 5.0)
    return any(trouble["name"] == name for trouble in one.body["troubles"])


def check_each_once(sweep, health, cut_s):
    """Samples lie one picture apart, from the first to the last: none missing, none twice."""
    steps = np.diff(sweep.t_s) * FPS
    assert np.allclose(steps, 1.0, atol=0.01)
    assert len(sweep.t_s) > (cut_s + 1.0) * FPS
    node = health["nodes"][0]
    assert (node["name"], node["here"], node["lost"]) == ("lathe", True, 0)
    assert node["sigma_offset_s"] < 0.2
    assert abs(node["offset_s"]) < 5 * node["sigma_offset_s"] + 0.01  # one computer, one clock


@pytest.mark.parametrize(
    "read_here",
    [
        pytest.param(True, id="read on the node", marks=pytest.mark.long),
        pytest.param(False, id="by the service"),
    ],
)
def test_a_node_cut_off_in_a_turn_delivers_every_sample_once(tmp_path, cable, read_here):
    sweep, health = samples_over_a_cut(tmp_path, cable, CUT_S, read_here=read_here)
    check_each_once(sweep, health, CUT_S)


@pytest.mark.long
@pytest.mark.parametrize("read_here", [True, False], ids=["read on the node", "by the service"])
def test_a_node_cut_off_for_a_minute_delivers_every_sample_once(tmp_path, cable, read_here):
    sweep, health = samples_over_a_cut(tmp_path, cable, LONG_CUT_S, read_here=read_here)
    check_each_once(sweep, health, LONG_CUT_S)


# what is kept, and the clocks


def parcel(t_s=0.0):
    return Parcel("lathe", "run", 0, 1, "picture", 0.0, t_s)


def test_what_is_kept_goes_out_in_order_until_it_is_taken():
    shelf = Shelf()
    assert shelf.first == 1
    for i in range(5):
        shelf.put(parcel(float(i)))
    assert [one.parcel.seq for one in shelf.after(0, 3)] == [1, 2, 3]
    shelf.taken(2)
    assert shelf.first == 3
    assert [one.parcel.t_s for one in shelf.after(2, 9)] == [2.0, 3.0, 4.0]
    assert [one.parcel.seq for one in shelf.after(4, 9)] == [5]
    shelf.taken(5)
    assert (shelf.first, len(shelf), shelf.after(5, 9)) == (6, 0, [])


def test_without_room_the_oldest_go_and_are_counted():
    shelf = Shelf(most_bytes=50_000)
    for i in range(20):
        shelf.put(parcel(float(i)), bytes(6000))
    assert 0 < len(shelf) < 6
    assert shelf.lost == 20 - len(shelf)
    assert shelf.first == shelf.lost + 1


def test_the_clocks_offset_comes_from_the_quickest_round_trip_and_its_sigma_holds():
    """True offset 5 s; trips of random length each way: the error stays within its sigma."""
    rng = np.random.default_rng(3)
    off = []
    for _ in range(200):
        clock = NodeClock()
        assert clock.offset(0.0) == (None, None)
        for i in range(20):
            there_s, back_s = rng.exponential(0.01, 2) + 0.001
            sent_s = float(i)
            clock.note(sent_s, sent_s + there_s + 5.0, sent_s + there_s + back_s)
        offset_s, sigma_s = clock.offset(20.0)
        off.append((offset_s - 5.0) / sigma_s)
    assert max(abs(one) for one in off) <= 3**0.5 + 1e-9  # half the trip is the farthest it can be
    assert 0.3 < float(np.std(off)) < 1.2


def test_a_node_without_a_key_is_not_heard(tmp_path):
    port = three_ports()
    key = key_for(tmp_path, "lathe", port)
    with running(tmp_path, "--network", f"127.0.0.1:{port}", "--node", "lathe"):
        assert hears_nothing(reach_with(key, pair=None))
        other = key_for(tmp_path, "tablet", port)  # admitted, but no node that was asked for
        assert Path(tmp_path / "tablet.key").exists()
        process = Forked(node_process, tmp_path / "tablet.key", FORKS.Pipe()[1], True, "")
        try:
            with Client(other) as client:
                watch = client.subscribe("reading")
                assert watch.poll(2.0) is None
        finally:
            kill(process)
