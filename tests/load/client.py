"""A client of mixed work over HTTP that keeps what it was told was done, and goes on asking until it is told.

It behaves as clients do: it sends the same twice at once, sends again what was answered long ago, and repeats under the
same key whatever got no answer.
"""

import http.client
import json
import random
import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from threading import Thread
from typing import Any

PATIENCE_SECONDS = 120.0
TWICE, LATE = 0.05, 0.05
EXPECTED = {"/problems/shortage"}
"""What may be refused: there is not enough left of a wanted lot."""


@dataclass
class Told:
    """What happened to a client: what was acknowledged by its marker, how long answers took, and what was wrong."""

    vials: dict[str, str] = field(default_factory=dict)
    bottles: set[str] = field(default_factory=set)
    batches: dict[str, str] = field(default_factory=dict)
    weighings: set[str] = field(default_factory=set)
    closed: set[str] = field(default_factory=set)
    took: dict[str, list[float]] = field(default_factory=dict)
    refused: Counter[str] = field(default_factory=Counter)
    cut_off: int = 0
    broken: Counter[int] = field(default_factory=Counter)
    repeats: int = 0
    wrong: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Work:
    """Where the service is, who asks it, and what there is to work on."""

    port: int
    secret: str
    cookie: str
    wanted: tuple[str, ...]
    material: str
    formula: str


class Client(Thread):
    """Works until `until` (monotonic seconds) or until it is told to stop; then `told` says what became of it."""

    def __init__(self, work: Work, name: str, until: float) -> None:
        super().__init__(daemon=True)
        self.work, self.marker, self.until = work, name, until
        self.rng = random.Random(name)
        self.told = Told()
        self.connections: dict[int, http.client.HTTPConnection] = {}
        self.answered: list[tuple[str, bytes, str, bytes]] = []
        self.count = 0
        self.stopping = False

    def run(self) -> None:
        jobs: list[tuple[Callable[[], None], int]] = [
            (self.read, 55), (self.draw_off, 15), (self.receive, 10), (self.make, 8), (self.look, 12),
        ]  # fmt: skip
        weights = [weight for _, weight in jobs]
        while time.monotonic() < self.until and not self.stopping:
            [(job, _)] = self.rng.choices(jobs, weights)
            try:
                job()
            except Exception as error:  # a client that dies would only look idle
                self.told.wrong.append(f"{job.__name__}: {error!r}")

    # What a client does

    def read(self) -> None:
        lot = self.rng.choice(self.work.wanted)
        path = self.rng.choice([
            "lots/?limit=50", f"lots/{lot}/", f"lots/{lot}/trace/?direction=forward", "batches/?limit=20", "movements/?limit=20",
        ])  # fmt: skip
        self.get("read", f"/api/v1/{path}", {"Authorization": f"Bearer {self.work.secret}"})

    def look(self) -> None:
        self.get("page", self.rng.choice(["/", "/shelf/", "/batches/"]), {"Cookie": self.work.cookie})

    def draw_off(self) -> None:
        marker, mass = self.mark(), f"0.{self.rng.randint(1, 999999):06d}"
        lot = self.rng.choice(self.work.wanted)
        if self.post("draw off", f"lots/{lot}/draw-off/", {"mass": mass, "title": marker}, marker):
            self.told.vials[marker] = mass

    def receive(self) -> None:
        marker = self.mark()
        body = {"material": self.work.material, "mass": "30", "supplier_lot": marker}
        if self.post("receive", "bottles/", body, marker):
            self.told.bottles.add(marker)

    def make(self) -> None:
        """A batch from draft to sealed record."""
        marker = self.mark()
        body = {"formula": self.work.formula, "mass": "2", "title": marker, "reserve": True}
        batch = self.post("plan and reserve", "batches/", body, marker)
        if not batch:
            return
        number = batch["batch"]["number"]
        self.told.batches[marker] = number
        for line in batch["lines"]:
            named = self.mark()
            reading = {
                "position": line["position"],
                "lot": line["lot"],
                "mass": line["target"],
                "operation": named,
            }
            if self.post("weigh", f"batches/{number}/weighings/", {"weighings": [reading]}, named):
                self.told.weighings.add(named)
        if self.post("close", f"batches/{number}/close/", {}, self.mark()):
            self.told.closed.add(number)

    # How it asks

    def mark(self) -> str:
        self.count += 1
        return f"{self.marker}-{self.count}"

    def get(self, what: str, path: str, headers: Mapping[str, str]) -> None:
        status, told = self.until_told(what, "GET", path, b"", headers)
        if status != 200:
            self.told.wrong.append(f"GET {path} answers {status}: {told[:200]!r}")

    def post(self, what: str, path: str, body: Any, key: str) -> Any:
        """What the service answered, None when it refused."""
        sent = json.dumps(body).encode()
        status, told = self.until_told(what, "POST", f"/api/v1/{path}", sent, self.headers(key))
        if status in (200, 201):
            self.answered.append((path, sent, key, told))
            self.again()
            return json.loads(told)
        kind = json.loads(told).get("type", "")
        self.told.refused[kind] += 1
        if kind not in EXPECTED:
            self.told.wrong.append(f"POST {path} {sent!r} answers {status}: {told[:300]!r}")
        return None

    def again(self) -> None:
        """Now and then something that was answered before comes once more, late and out of order."""
        if self.rng.random() > LATE:
            return
        path, sent, key, first = self.rng.choice(self.answered)
        self.told.repeats += 1
        _, told = self.until_told("again", "POST", f"/api/v1/{path}", sent, self.headers(key))
        if told != first:
            self.told.wrong.append(f"POST {path} again answers {told[:200]!r} after {first[:200]!r}")

    def headers(self, key: str) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self.work.secret}",
            "Content-Type": "application/json",
            "Idempotency-Key": f'"{key}"',
        }

    def until_told(
        self, what: str, method: str, path: str, body: bytes, headers: Mapping[str, str]
    ) -> tuple[int, bytes]:
        """The first answer that is none of a breakdown."""
        patience = time.monotonic() + PATIENCE_SECONDS
        twice = method == "POST" and self.rng.random() < TWICE
        while True:
            started = time.monotonic()
            try:
                if twice:
                    self.told.repeats += 1
                    self.send(1, method, path, body, headers)
                self.send(0, method, path, body, headers)
                status, told = self.receive_from(0)
                if twice:
                    self.receive_from(1)
            except (OSError, http.client.HTTPException):
                self.drop()
                self.told.cut_off += 1
            else:
                if status < 500:
                    self.told.took.setdefault(what, []).append(time.monotonic() - started)
                    return status, told
                self.told.broken[status] += 1
            if time.monotonic() > patience:
                raise TimeoutError(f"{method} {path} was not answered")
            time.sleep(0.05 + 0.2 * self.rng.random())

    def send(self, line: int, method: str, path: str, body: bytes, headers: Mapping[str, str]) -> None:
        if line not in self.connections:
            self.connections[line] = http.client.HTTPConnection("127.0.0.1", self.work.port, timeout=60)
        self.connections[line].request(method, path, body or None, dict(headers))

    def receive_from(self, line: int) -> tuple[int, bytes]:
        answer = self.connections[line].getresponse()
        return answer.status, answer.read()

    def drop(self) -> None:
        for connection in self.connections.values():
            connection.close()
        self.connections.clear()
