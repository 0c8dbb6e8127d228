"""A real web server on this machine that takes webhooks, and keeps what it got."""

import hashlib
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

HERE = "127.0.0.0/8"
"""What the operator has to allow for it to be reached."""


@dataclass
class Receiver:
    """What arrived, as headers and body; `answers` are the statuses to give, the last one for ever."""

    url: str = ""
    got: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    answers: list[int] = field(default_factory=lambda: [204])
    arrived: threading.Condition = field(default_factory=threading.Condition)

    def take(self, headers: dict[str, str], body: bytes) -> int:
        with self.arrived:
            self.got.append((headers, body))
            self.arrived.notify_all()
            return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]

    def wait_until(self, enough: Callable[[], bool], seconds: float) -> bool:
        """Wait for what arrives until it is enough; False when the time is over first."""
        with self.arrived:
            return self.arrived.wait_for(enough, timeout=seconds)

    @property
    def events(self) -> list[str]:
        """The ids of what arrived, repeats included."""
        with self.arrived:
            return [headers["Stillroom-Event"] for headers, _ in self.got]


@contextmanager
def receiving() -> Iterator[Receiver]:
    """A receiver that listens as long as it is used."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(receiver.take(dict(self.headers), body))
            self.send_header("Location", f"{receiver.url}elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args: Any) -> None:
            """Silence."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    receiver.url = f"http://127.0.0.1:{server.server_port}/"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()


def signed_by(secret: str, headers: dict[str, str], body: bytes) -> bool:
    """Whether one of the signatures was made with this secret: HMAC as RFC 2104 writes it down, step by step."""
    key = secret.encode()
    key = hashlib.sha256(key).digest() if len(key) > 64 else key
    key = key.ljust(64, b"\0")
    inner = hashlib.sha256(bytes(byte ^ 0x36 for byte in key))
    inner.update(headers["Stillroom-Timestamp"].encode() + b"." + body)
    whole = hashlib.sha256(bytes(byte ^ 0x5C for byte in key) + inner.digest())
    return f"sha256={whole.hexdigest()}" in headers["Stillroom-Signature"].split(", ")
