"""Claims that nobody weighs for: reported first, then let go, and their owner told."""

import json
from datetime import timedelta

import pytest

from batches.actions.reserving import release_stale_batch, stale_batches
from batches.models import BatchState
from studio.actions.alerts import keep_alerts
from studio.actions.telling import choose_mail
from studio.models import Delivery, Event, MailChoice
from studio.queries.alerts import causes_in, open_alerts

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(bench):
    bench.bottle("linalool 10g")
    return bench.reserve(bench.plan(bench.formula("neat", "linalool 1"), "4"))


def run(bench):
    studio = bench.by.studio
    known = open_alerts(studio)
    return keep_alerts(studio=studio, at=bench.now, known=known, found=causes_in(studio, bench.now))


def test_it_is_reported_three_days_before_the_claims_end(bench, batch):
    bench.later(days=10, hours=23)
    assert run(bench).raised == 0
    bench.later(hours=2)
    assert run(bench).raised == 1
    [alert] = open_alerts(bench.by.studio)
    assert alert.sentence == (
        f"Batch {batch.number}, neat 1, is reserved and was not weighed since 1 March 2026; its claims on 1 lot (4 g) "
        "end on 15 March 2026."
    )
    assert (alert.subject, alert.name, str(alert.due_on)) == ("batch", batch.number, "2026-03-15")


def test_a_weighing_closes_the_alert(bench, batch):
    bench.later(days=12)
    run(bench)
    bench.weigh(batch, 1, "4")
    assert run(bench).closed == 1


@pytest.mark.parametrize(("mail", "mails"), [(MailChoice.DAILY, 1), (MailChoice.NEVER, 0)])
def test_when_they_end_the_alert_is_over_and_the_owner_is_told(bench, batch, mail, mails):
    choose_mail(by=bench.by, mail=mail)
    bench.later(days=12)
    run(bench)
    bench.now += timedelta(days=3)
    [stale] = stale_batches(studio=bench.by.studio, now=bench.now)
    assert release_stale_batch(now=bench.now, batch=stale)
    assert open_alerts(bench.by.studio) == []
    batch.refresh_from_db()
    assert batch.state == BatchState.DRAFT
    told = Event.objects.of(bench.by.studio).filter(topic="claims-released")
    assert Delivery.objects.filter(event__in=told, member=bench.by).count() == told.count() == mails
    for event in told:
        assert f"The claims of batch {batch.number}" in json.loads(event.body)["alerts"][0]["sentence"]
