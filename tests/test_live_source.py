"""A live camera over a real HTTP MJPEG stream, served by ffmpeg on loopback."""

import os
import shutil
import socket
import subprocess
import time

import cv2
import numpy as np
import pytest

from readings import BadInputError, SourceError
from ui.home import Home
from ui.service_process import cameras_service
from vision.live_source import LiveSource, is_live


def free_port():
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return sock.getsockname()[1]


@pytest.fixture
def ffmpeg():
    program = shutil.which("ffmpeg")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ffmpeg is missing")
        pytest.skip("ffmpeg is not installed")
    return program


def serve(ffmpeg, picture, port):
    command = [ffmpeg, "-loglevel", "quiet", "-re", "-loop", "1", "-i", str(picture), "-r", "15"]
    return subprocess.Popen(
        [*command, "-q:v", "3", "-f", "mpjpeg", "-listen", "1", f"http://127.0.0.1:{port}/video"],
        stdin=subprocess.DEVNULL,
    )


def first_frames(source, count):
    """Frames of the stream once the server answers; it may take a moment to listen."""
    for _ in range(40):
        try:
            got = []
            for frame in source.frames():
                got.append(frame)
                if len(got) == count:
                    return got
        except SourceError:
            time.sleep(0.1)
    pytest.fail("the stream never came")


def test_a_stream_is_read_and_opened_again_when_it_comes_back(ffmpeg, tmp_path):
    grey = np.full((120, 160, 3), 90, np.uint8)
    picture, port = tmp_path / "still.png", free_port()
    cv2.imwrite(str(picture), grey)
    source = LiveSource(f"http://127.0.0.1:{port}/video", time.monotonic)
    for _ in range(2):
        server = serve(ffmpeg, picture, port)
        try:
            frames = first_frames(source, 5)
        finally:
            server.kill()
            server.wait()
        times = [frame.t_s for frame in frames]
        assert times == sorted(times)
        assert abs(float(frames[-1].image.mean()) - 90) < 3
        assert not frames[-1].image.flags.writeable
    assert frames[0].index > 0, "frames count on over a reopening"


def test_a_camera_that_is_not_there_is_a_sentence():
    with pytest.raises(SourceError, match="cannot be opened: check its cable"):
        next(LiveSource("97", time.monotonic).frames())


def test_run_takes_cameras_only(tmp_path):
    assert is_live("rtsp://127.0.0.1/x")
    assert not is_live("folder/0")
    with pytest.raises(BadInputError, match="read or sweep"):
        cameras_service(Home(tmp_path), ["sweep.mp4"], ["dial"], [])
