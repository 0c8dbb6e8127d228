"""Raising, updating and closing alerts, so that each cause has one for as long as it is there.

Two ways lead here. A verb that knows of a cause raises or closes its alert in its own transaction. The regular run
compares everything that is there with everything that is open. It must have read the open alerts before it looked for
causes: then an alert that a verb raised meanwhile is not among those it may close, and one raised before was raised
with its cause, which the run sees.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from studio.actions.history import record
from studio.actions.outbox import announce
from studio.kernel.causes import Cause, Urgency
from studio.kernel.work import work
from studio.models import Alert, MailChoice, Member, Studio

TOLD_AT_ONCE = 100
"""Alerts in one event; more make more events."""
IN_ONE_MAIL = 40
ROWS_PER_STATEMENT = 1000
SEEN_EVERY = timedelta(hours=1)
TOLD = ("subject", "name", "sentence", "urgency", "due_on", "details")
"""What an alert says of its cause, and what may change while it is open."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What a run did: so many alerts raised, changed and closed."""

    raised: int
    changed: int
    closed: int


def raise_alerts(*, studio: int, at: datetime, causes: Sequence[Cause]) -> None:
    """Raise an alert for each of these causes, or bring the open one up to date. Called inside the verb's work."""
    if not causes:
        return
    with work():
        kinds, keys = {cause.kind for cause in causes}, {cause.key for cause in causes}
        rows = Alert.objects.of(studio).open().filter(kind__in=kinds, key__in=keys)
        known = list(rows.order_by("id"))
        raised, _, worse = _write(studio, at, known, causes)
        _tell(studio, at, raised, worse, [])


def close_alert(*, studio: int, at: datetime, kind: str, key: str) -> None:
    """Close the alert of a cause that a verb has taken away; nothing happens when there is none."""
    with work():
        gone = list(Alert.objects.of(studio).open().filter(kind=kind, key=key).order_by("id"))
        if gone:
            _close(gone, at)
            _tell(studio, at, [], [], gone)


def keep_alerts(
    *, studio: Studio, at: datetime, known: Sequence[Alert], found: Mapping[str, Sequence[Cause]]
) -> Kept:
    """Make the open alerts of the kinds in `found` say exactly what was found; the others are left alone.

    `known` are the open alerts of the studio as they were read before anybody looked for causes.
    """
    with work():
        # One run at a time for a studio. The row is locked so that others may still refer to it.
        Studio.objects.select_for_update(no_key=True).get(pk=studio.pk)
        causes = [cause for kind in found.values() for cause in kind]
        present = {(cause.kind, cause.key) for cause in causes}
        gone = [alert for alert in known if alert.kind in found and (alert.kind, alert.key) not in present]
        raised, changed, worse = _write(studio.pk, at, known, causes)
        closed = _close(gone, at)
        Alert.objects.of(studio).open().filter(kind__in=found, seen_at__lte=at - SEEN_EVERY).update(
            seen_at=at
        )
        _tell(studio.pk, at, raised, worse, gone if closed else [])
    return Kept(len(raised), changed, closed)


def quiet_alert(*, by: Member, at: datetime, alert_id: int, why: str = "") -> Alert:
    """Say that one has seen an alert: it stays open, and no longer calls out. To say so again changes nothing."""
    with work():
        rows = Alert.objects.select_for_update(no_key=True, of=("self",))
        alert: Alert = rows.one(by.studio_id, "alert", id=alert_id)
        if alert.quieted_at is None and alert.closed_at is None:
            alert.quieted_at, alert.quieted_by = at, by
            alert.save(update_fields=["quieted_at", "quieted_by"])
            name = f"{alert.kind} {alert.name}"[:120]
            record(by=by, at=at, subject="alert", name=name, verb="seen", why=why)
    return alert


def _write(
    studio: int, at: datetime, known: Sequence[Alert], causes: Sequence[Cause]
) -> tuple[list[Alert], int, list[Alert]]:
    """The alerts that are new, how many changed, and which of these became more urgent."""
    opened = {(alert.kind, alert.key): alert for alert in known}
    fresh, changed, worse = [], [], []
    for cause in causes:
        alert = opened.get((cause.kind, cause.key))
        if alert is None:
            fresh.append(cause)
        elif differs(alert, cause):
            if cause.urgency < alert.urgency:
                worse.append(alert)
                alert.quieted_at = alert.quieted_by = None
            for field in TOLD:
                setattr(alert, field, getattr(cause, field))
            changed.append(alert)
    Alert.objects.bulk_update(changed, [*TOLD, "quieted_at", "quieted_by"], batch_size=ROWS_PER_STATEMENT)
    return _raise(studio, at, fresh), len(changed), worse


def differs(alert: Alert, cause: Cause) -> bool:
    """Whether an alert says something else than its cause does now."""
    return any(getattr(alert, field) != getattr(cause, field) for field in TOLD)


def _raise(studio: int, at: datetime, causes: Sequence[Cause]) -> list[Alert]:
    """Write new alerts; returns those that nobody else had raised in the same instant."""
    if not causes:
        return []
    together = uuid4()
    Alert.objects.bulk_create(
        (_alert(studio, at, cause, together) for cause in causes), ROWS_PER_STATEMENT, ignore_conflicts=True
    )
    return list(Alert.objects.filter(raised_in=together).order_by("id"))


def _alert(studio: int, at: datetime, cause: Cause, together: Any) -> Alert:
    told = {field: getattr(cause, field) for field in TOLD}
    return Alert(
        studio_id=studio, kind=cause.kind, key=cause.key, since=at, seen_at=at, raised_in=together, **told
    )


def _close(gone: Sequence[Alert], at: datetime) -> int:
    closed = 0
    for some in portions(gone, ROWS_PER_STATEMENT):
        rows = Alert.objects.open().filter(id__in=[alert.pk for alert in some])
        closed += rows.update(closed_at=at)
    return closed


def _tell(
    studio: int, at: datetime, raised: Sequence[Alert], worse: Sequence[Alert], gone: Sequence[Alert]
) -> None:
    """Put into the outbox what changed: to webhooks everything, in portions; to members a mail of what is new."""
    if not (raised or worse or gone):
        return
    name = Studio.objects.values_list("name", flat=True).get(pk=studio)
    for topic, alerts in (("alerts-raised", raised), ("alerts-pressing", worse), ("alerts-closed", gone)):
        announce(studio=studio, at=at, topic=topic, contents=list(_contents(name, alerts)), webhooks=None)
    news = sorted([*raised, *worse], key=lambda alert: (alert.urgency, alert.pk))
    if news:
        announce(
            studio=studio,
            at=at,
            topic="alerts-mail",
            contents=[mail_of(name, news[:IN_ONE_MAIL], len(news))],
            members=_told_at_once(studio),
        )


def _told_at_once(studio: int) -> list[int]:
    members = Member.objects.filter(studio=studio, left_at=None, alert_mail__mail=MailChoice.AT_ONCE)
    return list(members.order_by("id").values_list("id", flat=True))


def _contents(studio: str, alerts: Sequence[Alert]) -> Iterator[dict[str, Any]]:
    for some in portions(alerts, TOLD_AT_ONCE):
        yield {"studio": studio, "alerts": [as_told(alert) for alert in some]}


def portions(alerts: Sequence[Alert], size: int) -> Iterator[Sequence[Alert]]:
    """The alerts in order, so many at a time."""
    for start in range(0, len(alerts), size):
        yield alerts[start : start + size]


def mail_of(studio: str, alerts: Sequence[Alert], count: int) -> dict[str, Any]:
    """What a mail about `count` alerts says, of which the first are told one by one."""
    return {"studio": studio, "count": count, "alerts": [as_told(alert) for alert in alerts]}


def as_told(alert: Alert) -> dict[str, Any]:
    """An alert as those outside read it."""
    return {
        "id": str(alert.pk),
        "kind": alert.kind,
        "subject": alert.subject,
        "name": alert.name,
        "urgency": Urgency(alert.urgency).word,
        "sentence": alert.sentence,
        "due_on": alert.due_on and alert.due_on.isoformat(),
        "since": alert.since.isoformat(),
        "details": alert.details,
    }
