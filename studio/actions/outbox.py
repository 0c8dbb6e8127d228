"""Writing to the outbox: what is to be told, to whom, in the transaction of what it tells about.

Nothing is sent here. The rows are the promise; the job that is started after the commit only makes it quick.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

from django.db import connection

from studio.kernel.background import dispatch
from studio.models import Delivery, Event, Webhook


def announce(
    *,
    studio: int,
    at: datetime,
    topic: str,
    contents: Sequence[Mapping[str, Any]],
    members: Sequence[int] = (),
    webhooks: Sequence[int] | None = (),
) -> list[Event]:
    """One event for each of `contents`, on its way to these members by mail and to these webhooks (None: to all).

    Must be called inside `work()`. Without a receiver nothing is written.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("announce belongs inside the work it tells about.")
    if webhooks is None:
        webhooks = list(
            Webhook.objects.of(studio).filter(ended_at=None).order_by("id").values_list("id", flat=True)
        )
    if not contents or not (members or webhooks):
        return []
    events = Event.objects.bulk_create(_event(studio, at, topic, content) for content in contents)
    common = {"studio_id": studio, "made_at": at, "due_at": at}
    Delivery.objects.bulk_create(
        [Delivery(event=event, member_id=member, **common) for event in events for member in members]
        + [Delivery(event=event, webhook_id=webhook, **common) for event in events for webhook in webhooks]
    )
    dispatch("studio.jobs.deliver")
    return events


def _event(studio: int, at: datetime, topic: str, content: Mapping[str, Any]) -> Event:
    uuid = uuid4()
    return Event(studio_id=studio, uuid=uuid, topic=topic, at=at, body=_written(uuid, topic, at, content))


def _written(uuid: UUID, topic: str, at: datetime, content: Mapping[str, Any]) -> str:
    """The event as its receivers read it; written once, so that every try sends the same bytes."""
    told = {"event": str(uuid), "topic": topic, "at": at.astimezone(UTC).isoformat(), **content}
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"))


def forget_old_events(*, before: datetime) -> int:
    """Delete events that are older and no longer on their way, with their tries; returns how many."""
    old = Event.objects.filter(at__lt=before).exclude(deliveries__ended_at=None)
    return old.delete()[1].get(Event._meta.label, 0)
