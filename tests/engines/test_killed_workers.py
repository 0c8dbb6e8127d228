"""Workers killed in the middle of jobs, and a broker that goes away: nothing is lost, repeats carry the id they had.

On PostgreSQL these are Celery workers with a Redis of their own; on SQLite, where a service has no broker, the process is
the one that works off the schedule in its thread. STILLROOM_KILLS says how often somebody is killed (3 by default; 500 for
the long form).
"""

import hashlib
import os
import random
import signal
import time
import urllib.request
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from celery import Celery
from django.db import transaction
from django.utils import timezone

from batches.actions.documents import ask_for
from batches.calc.label_layout import LabelLayout
from batches.models import Document, DocumentState
from batches.queries.wanted_papers import wanted_labels
from inventory.models import Lot
from studio.actions.outbox import announce
from studio.actions.webhooks import add_webhook
from studio.models import Alert, Delivery, DeliveryState, Event, Member
from tests.engines.services import Running, own_redis, scheduler, thread_of_jobs, wait_for, web, worker
from tests.receiver import Receiver, receiving
from tests.workbench import Workbench

pytestmark = pytest.mark.usefixtures("committed")
KILLS = int(os.environ.get("STILLROOM_KILLS") or 3)
EACH = 8
ON_POSTGRESQL = os.environ.get("DATABASE_URL", "").startswith("postgres")
PATIENCE = 120.0
LOOK_AFTER, DELIVER, MAKE = "studio.jobs.look_after", "studio.jobs.deliver", "batches.jobs.make_document"


@pytest.fixture
def receiver(settings: Any) -> Iterator[Receiver]:
    settings.WEBHOOKS_WITHIN = ()
    with receiving() as there:
        yield there


@pytest.fixture
def told(owner: Member, receiver: Receiver, at: Any, settings: Any) -> Receiver:
    from studio.kernel.outward import networks

    settings.WEBHOOKS_WITHIN = networks("127.0.0.0/8")
    add_webhook(by=owner, at=at, url=receiver.url)
    return receiver


def tell(owner: Member, *, kept: bool) -> str:
    """Write an event that was kept, or one whose work was rolled back; returns its id."""
    with transaction.atomic():
        [event] = announce(
            studio=owner.studio_id, at=timezone.now(), topic="trial", contents=[{"n": 1}], webhooks=None
        )
        if not kept:
            transaction.set_rollback(True)
    return str(event.uuid)


def pass_over(owner: Member) -> None:
    """Let the time pass that those who died had for sending or making, and that a receiver was left to rest."""
    waiting = Delivery.objects.of(owner.studio).filter(state=DeliveryState.WAITING)
    waiting.update(leased_until=timezone.now() - timedelta(seconds=1), due_at=timezone.now())
    Document.objects.of(owner.studio).filter(state=DocumentState.MAKING).update(not_before=timezone.now())


class Workers:
    """Who works in this test, and how they are told to."""

    def __init__(self, start: Callable[[], Running], nudge: Callable[[str, int | None], None]) -> None:
        self.start, self.nudge = start, nudge


@pytest.fixture(params=["workers"] if ON_POSTGRESQL else ["thread"])
def workers(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Workers]:
    if request.param == "thread":
        yield Workers(partial(thread_of_jobs, tmp_path / "jobs.log"), lambda job, about: None)
        return
    with own_redis(tmp_path) as redis:
        sender = Celery(broker=redis.url)

        def nudge(job: str, about: int | None) -> None:
            sender.send_task(job, args=[] if about is None else [about])

        yield Workers(partial(worker, redis.url, tmp_path / "worker.log"), nudge)


def kill_one(running: Running, rng: random.Random) -> None:
    """The whole worker, or only a process of its pool while it works."""
    children = running.children
    if children and rng.random() < 0.5:
        os.kill(rng.choice(children), signal.SIGKILL)
    running.kill()


def test_every_event_arrives_under_one_id_however_often_its_sender_is_killed(
    owner: Member, told: Receiver, workers: Workers, bench: Workbench
) -> None:
    rng = random.Random(7)
    lots = [bench.bottle("citral 5g", expires_on=bench.now.date()) for _ in range(20)]
    kept, undone = set(), set()
    for _ in range(KILLS):
        kept |= {tell(owner, kept=True) for _ in range(EACH)}
        undone.add(tell(owner, kept=False))
        pass_over(owner)
        running = workers.start()
        for job, studio in ((LOOK_AFTER, owner.studio_id), (DELIVER, None), (DELIVER, None)):
            workers.nudge(job, studio)
        enough = len(told.events) + rng.randint(1, EACH - 1)
        assert told.wait_until(lambda enough=enough: len(told.got) >= enough, PATIENCE)
        kill_one(running, rng)
    finish(owner, told, workers, kept)
    arrived = told.events
    assert kept <= set(arrived)
    assert not undone & set(arrived)
    bodies = {(headers["Stillroom-Event"], body) for headers, body in told.got}
    assert len(bodies) == len(set(arrived)), "an event came twice and said something else"
    assert len(arrived) - len(set(arrived)) <= 2 * KILLS
    assert not Delivery.objects.of(owner.studio).exclude(state=DeliveryState.TAKEN).exists()
    raised = Alert.objects.of(owner.studio).filter(kind="expiring")
    assert sorted(raised.values_list("name", flat=True)) == sorted(lot.number for lot in lots)
    assert {str(uuid) for uuid in Event.objects.of(owner.studio).values_list("uuid", flat=True)} == set(
        arrived
    )


def finish(owner: Member, told: Receiver, workers: Workers, kept: set[str]) -> None:
    """Let the last one work until everything is done."""
    pass_over(owner)
    running = workers.start()

    def done() -> bool:
        for job, studio in ((LOOK_AFTER, owner.studio_id), (DELIVER, None)):
            workers.nudge(job, studio)
        waiting = Delivery.objects.of(owner.studio).exclude(state=DeliveryState.TAKEN).exists()
        raised = Alert.objects.of(owner.studio).filter(kind="expiring").exists()
        return kept <= set(told.events) and raised and not waiting

    try:
        wait_for(done, PATIENCE)
    finally:
        running.end()


def test_a_paper_is_made_once_however_often_its_maker_is_killed(
    owner: Member, workers: Workers, bench: Workbench
) -> None:
    rng = random.Random(8)
    papers = max(1, KILLS // 3)
    numbers = [bench.bottle("citral 5g").number for _ in range(30 + papers)]
    for first in range(papers):
        wanted = wanted_labels(studio=owner.studio, numbers=numbers[first:], layout=LabelLayout())
        asked = ask_for(by=owner, now=timezone.now(), wanted=wanted)
        running = workers.start()
        workers.nudge(MAKE, asked.pk)
        wait_for(lambda pk=asked.pk: state_of(pk) == DocumentState.MAKING, PATIENCE)
        time.sleep(rng.random() / 2)
        kill_one(running, rng)
        pass_over(owner)
        running = workers.start()
        workers.nudge(MAKE, asked.pk)
        wait_for(lambda pk=asked.pk: state_of(pk) == DocumentState.MADE, PATIENCE)
        running.end()
        assert ask_for(by=owner, now=timezone.now(), wanted=wanted).pk == asked.pk
        asked.refresh_from_db()
        assert bytes(asked.result).startswith(b"%PDF-")
        assert hashlib.sha256(asked.result).hexdigest() == asked.sha256
    assert Document.objects.of(owner.studio).count() == papers


def state_of(document: int) -> str:
    return Document.objects.values_list("state", flat=True).get(pk=document)


@pytest.mark.parametrize("broker", ["redis"] if ON_POSTGRESQL else [])
def test_while_the_broker_is_away_the_service_answers_and_afterwards_the_jobs_catch_up(
    owner: Member, told: Receiver, bench: Workbench, key_of: Callable[..., str], tmp_path: Path, broker: str
) -> None:
    lots = [bench.bottle("oakmoss 5g") for _ in range(3)]
    secret = key_of(owner)
    with own_redis(tmp_path) as redis, web(redis.url, tmp_path) as address:
        running = [worker(redis.url, tmp_path / "worker.log"), scheduler(redis.url, tmp_path)]
        try:
            assert hold(address, secret, lots[0]) == 200
            assert told.wait_until(lambda: len(told.got) >= 1, PATIENCE)
            redis.stop()
            began = timezone.now()
            assert [hold(address, secret, lots[1]) for _ in range(5)] == [200] * 5
            assert timezone.now() - began < timedelta(seconds=20)
            redis.start()
            assert hold(address, secret, lots[2]) == 200
            assert told.wait_until(
                lambda: len({headers["Stillroom-Event"] for headers, _ in told.got}) >= 3, PATIENCE
            )
        finally:
            for one in running:
                one.end()
    assert Lot.objects.of(owner.studio).filter(held_at__isnull=False).count() == 3


def hold(address: str, secret: str, lot: Lot) -> int:
    request = urllib.request.Request(
        f"{address}/api/v1/lots/{lot.number}/hold/",
        data=b'{"why": "smells of phenol"}',
        headers={"Authorization": f"Bearer {secret}", "Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=20) as answer:
        return int(answer.status)
