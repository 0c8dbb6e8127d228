"""Figures of the whole service, for whoever watches over it: the outbox, the jobs, the alerts."""

from datetime import datetime

from django.db.models import BooleanField, Count, ExpressionWrapper, Min, Q

from studio.kernel.causes import Urgency
from studio.models import Alert, Delivery, DeliveryState, JobRun

Figures = list[tuple[str, str, str, dict[str, float]]]


def figures_of_the_service(now: datetime) -> Figures:
    """Name, meaning, label, and values by that label. Three statements."""
    waiting = {"mail": 0.0, "webhook": 0.0}
    oldest = {"mail": 0.0, "webhook": 0.0}
    by_mail = ExpressionWrapper(Q(webhook=None), output_field=BooleanField())
    rows = (
        Delivery.objects.filter(state=DeliveryState.WAITING)
        .order_by()
        .annotate(by_mail=by_mail)
        .values("by_mail")
    )
    for row in rows.annotate(count=Count("pk"), first=Min("made_at")):
        way = "mail" if row["by_mail"] else "webhook"
        waiting[way], oldest[way] = row["count"], (now - row["first"]).total_seconds()
    alerts = {urgency.word: 0.0 for urgency in Urgency}
    counted = Alert.objects.open().order_by().values("urgency").annotate(count=Count("pk"))
    alerts |= {Urgency(row["urgency"]).word: row["count"] for row in counted}
    runs = list(JobRun.objects.order_by("id"))
    ages = {run.name: (now - run.finished_at).total_seconds() for run in runs if run.finished_at}
    failing = {run.name: float(_fails(run)) for run in runs}
    return [
        ("stillroom_outbox_waiting", "Deliveries that wait to be sent.", "way", waiting),
        ("stillroom_outbox_oldest_seconds", "Age of the oldest of them.", "way", oldest),
        ("stillroom_alerts_open", "Open alerts.", "urgency", alerts),
        ("stillroom_job_age_seconds", "Time since a scheduled job last succeeded.", "job", ages),
        ("stillroom_job_failing", "1 while the last run of a job failed.", "job", failing),
    ]


def _fails(run: JobRun) -> bool:
    return run.failed_at is not None and (run.finished_at is None or run.failed_at > run.finished_at)
