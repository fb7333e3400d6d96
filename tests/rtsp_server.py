"""As much of an RTSP server (RFC 2326) as one client needs; ffmpeg makes the RTP packets.

Pictures travel between the answers on the one TCP connection, as `interleaved=0-1` says.
"""

import socket
import threading

from stream_making import CodedStream, free_port

SDP = (
    "v=0\r\no=- 0 0 IN IP4 127.0.0.1\r\ns=camera\r\nc=IN IP4 127.0.0.1\r\nt=0 0\r\n"
    "m=video 0 RTP/AVP 26\r\na=control:track\r\n"
)


class RtspServer:
    """Serves one client at a time what ffmpeg sends to a port of our own."""

    def __init__(self, ffmpeg):
        self._door = socket.create_server(("127.0.0.1", 0))
        self._packets = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._packets.bind(("127.0.0.1", 0))
        self._packets.settimeout(0.5)
        port = self._packets.getsockname()[1]
        output = ["-q:v", "3", "-pix_fmt", "yuvj420p", "-c:v", "mjpeg", "-huffman", "default"]
        to = f"rtp://127.0.0.1:{port}?rtcpport={free_port()}"
        self._stream = CodedStream(ffmpeg, [*output, "-f", "rtp", to])
        self._stopped = threading.Event()
        self.address = f"rtsp://127.0.0.1:{self._door.getsockname()[1]}/live"
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._stopped.set()
        self._stream.stop()
        self._door.close()
        self._packets.close()
        self._thread.join(5)

    def _serve(self):
        try:
            while not self._stopped.is_set():
                client, _ = self._door.accept()
                with client:
                    self._talk(client)
        except OSError:
            return

    def _talk(self, client):
        waiting = b""
        while b"\r\n\r\n" not in waiting or not self._answer(client, waiting):
            if b"\r\n\r\n" in waiting:
                waiting = b""
            more = client.recv(4096)
            if not more:
                return
            waiting += more
        while not self._stopped.is_set():
            try:
                packet = self._packets.recv(65536)
            except TimeoutError:
                continue
            client.sendall(b"$\x00" + len(packet).to_bytes(2, "big") + packet)

    def _answer(self, client, request):
        """Answer a request; True once it was PLAY."""
        lines = request.decode().split("\r\n")
        method = lines[0].split()[0]
        cseq = next(line.split(":")[1] for line in lines if line.lower().startswith("cseq"))
        body = SDP if method == "DESCRIBE" else ""
        more = {
            "OPTIONS": "Public: DESCRIBE, SETUP, PLAY, TEARDOWN\r\n",
            "DESCRIBE": f"Content-Type: application/sdp\r\nContent-Length: {len(body)}\r\n",
            "SETUP": "Session: 1\r\nTransport: RTP/AVP/TCP;unicast;interleaved=0-1\r\n",
            "PLAY": "Session: 1\r\n",
        }.get(method, "")
        client.sendall(f"RTSP/1.0 200 OK\r\nCSeq:{cseq}\r\n{more}\r\n{body}".encode())
        return method == "PLAY"
