"""What goes wrong with a camera is told within two seconds, in a sentence, and goes by itself.

A real picture of a dial with a camera's noise, read by the real reader, through real processes
and sockets.
"""

import time

import pytest
import stream_faulty
from stream_paper import BEGIN
from stream_process import Forked, carded, end, wait_until

from readings import FLAGS
from stream.client import Client

TOLD_WITHIN_S = 2.0
BACK_WITHIN_S = 10.0


@pytest.fixture(scope="module")
def client(tmp_path_factory, faces_dir):
    """A client of a service that watches a dial, with a setup running."""
    home = tmp_path_factory.mktemp("faulty")
    process = Forked(stream_faulty.run, str(home), str(faces_dir / "dev1"))
    wait_until(lambda: carded(home, process), 60.0)
    with Client(home) as client:
        watch = client.subscribe("reading")
        wait_until(lambda: (one := watch.poll(0.2)) and one.body["value_mm"] is not None, 30.0)
        assert client.command("begin", **BEGIN).ok
        yield client
        assert end(process) == 0


def names(client):
    """The troubles that stand, from the last value of health, and the sentences on show."""
    health = client.subscribe("health")
    one = wait_until(lambda: health.poll(0.1), 3.0)
    health.close()
    view = client.command("view").body
    return [trouble["name"] for trouble in one.body["troubles"]], view["sentences"]


def told_within(client, wanted, began_s):
    """Wait until one of the wanted troubles stands, and check that it was told in time."""
    while True:
        found, sentences = names(client)
        after_s = time.monotonic() - began_s
        if set(found) & wanted:
            assert after_s < TOLD_WITHIN_S + 0.5, f"told after {after_s:.1f} s"
            assert {FLAGS[name].sentence for name in found if name in FLAGS} <= set(sentences)
            return found
        assert after_s < TOLD_WITHIN_S + 3.0, found


@pytest.mark.parametrize(
    ("fault", "wanted"),
    [
        ("gone", "camera gone"),
        ("frozen", "frozen picture"),
        ("black", "black picture"),
        ("focus", "out of focus"),
        ("smeared", "lens smeared"),
        ("size", "wrong size"),
        ("corrupt", "unreadable file"),
    ],
)
def test_a_fault_of_the_camera_is_told_and_goes_by_itself(client, fault, wanted):
    assert names(client)[0] == []
    began_s = time.monotonic()
    client.command("bench", do="fault", kind=fault)
    told_within(client, {wanted}, began_s)
    if fault == "gone":
        assert client.command("view").body["camera_lost"]
    client.command("bench", do="fault", kind="")
    watch = client.subscribe("reading")
    wait_until(lambda: names(client)[0] == [], BACK_WITHIN_S)
    wait_until(lambda: (one := watch.poll(0.2)) and one.body["value_mm"] is not None, 5.0)
    watch.close()
    assert not client.command("view").body["camera_lost"]
    assert client.command("view").body["setup_id"] == 1  # the setup went on all the while
