"""A camera on the network, played by ffmpeg: pictures that carry the time they were drawn at."""

import contextlib
import socket
import subprocess
import threading
import time

import numpy as np

BITS, SIDE_PX = 32, 16
WIDTH, HEIGHT = BITS // 2 * SIDE_PX, 4 * SIDE_PX
FPS = 20


def free_port():
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return sock.getsockname()[1]


def coded(now_s):
    """A picture whose two rows of squares are the bits of the time in ms."""
    ms = int(now_s * 1000) & 0xFFFFFFFF
    bits = np.array([(ms >> k) & 1 for k in range(BITS)], np.uint8).reshape(2, -1) * 200 + 25
    squares = np.kron(bits, np.ones((SIDE_PX, SIDE_PX), np.uint8))
    return np.repeat(np.vstack([squares, np.full_like(squares, 25)])[:, :, None], 3, axis=2)


def decoded_s(image):
    """The time in a picture, in seconds."""
    half = SIDE_PX // 2
    bits = image[half : 2 * SIDE_PX : SIDE_PX, half::SIDE_PX, 1].ravel() > 125
    return sum(int(bit) << k for k, bit in enumerate(bits)) / 1000.0


class CodedStream:
    """ffmpeg serving what is drawn now (of a time in s), until it is stopped."""

    def __init__(self, ffmpeg, output, draw=coded, size=(WIDTH, HEIGHT)):
        self._picture = draw
        shape = f"{size[0]}x{size[1]}"
        raw = ["-f", "rawvideo", "-pix_fmt", "bgr24", "-s", shape, "-r", str(FPS)]
        command = [ffmpeg, "-loglevel", "quiet", *raw, "-i", "pipe:0", *output]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE)
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._draw, daemon=True)
        self._thread.start()

    def _draw(self):
        due = time.monotonic()
        while not self._stopped.is_set():
            try:
                self.process.stdin.write(self._picture(time.monotonic()).tobytes())
                self.process.stdin.flush()
            except (OSError, ValueError):
                return
            due = max(due + 1 / FPS, time.monotonic())
            time.sleep(max(0.0, due - time.monotonic()))

    def stop(self):
        self._stopped.set()
        self.process.kill()
        self.process.wait()
        self._thread.join(5)
        with contextlib.suppress(OSError):
            self.process.stdin.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()


def mjpeg_stream(ffmpeg, port, **how):
    output = ["-q:v", "2", "-pix_fmt", "yuvj444p", "-f", "mpjpeg", "-flush_packets", "1"]
    return CodedStream(ffmpeg, [*output, "-listen", "1", f"http://127.0.0.1:{port}/video"], **how)
