"""Alerts: one for each cause for as long as it is there, raised once, brought up to date, closed by itself."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from studio.actions.alerts import close_alert, keep_alerts, quiet_alert, raise_alerts
from studio.actions.webhooks import add_webhook
from studio.kernel.causes import Cause, Urgency
from studio.models import Alert, Event
from studio.queries.alerts import open_alerts
from tests.together import raised, together


def cause(key="1", *, kind="leak", urgency=Urgency.SOON, sentence="It leaks 3 g a day.", **more):
    return Cause(
        kind=kind, key=key, subject="lot", name=f"lot {key}", sentence=sentence, urgency=urgency, **more
    )


def run(studio, at, *causes, kinds=("leak",)):
    """A regular run that finds these causes."""
    found = {kind: [one for one in causes if one.kind == kind] for kind in kinds}
    return keep_alerts(studio=studio, at=at, known=open_alerts(studio), found=found)


@pytest.fixture
def told(owner, at):
    """Somebody is told, so that events are written."""
    return add_webhook(by=owner, at=at, url="https://hooks.example.org/")[0]


def topics(studio):
    return list(Event.objects.of(studio).order_by("id").values_list("topic", flat=True))


def test_a_cause_raises_one_alert_and_the_next_run_none(studio, at, told):
    assert run(studio, at, cause()).raised == 1
    assert run(studio, at + timedelta(days=1), cause()).raised == 0
    [alert] = open_alerts(studio)
    assert (alert.since, alert.seen_at) == (at, at + timedelta(days=1))
    assert topics(studio) == ["alerts-raised"]


def test_an_alert_closes_by_itself_and_a_cause_that_comes_back_is_a_new_one(studio, at, told):
    run(studio, at, cause("1"), cause("2"))
    assert run(studio, at, cause("2")).closed == 1
    assert [alert.key for alert in open_alerts(studio)] == ["2"]
    assert run(studio, at, cause("1"), cause("2")).raised == 1
    assert Alert.objects.of(studio).count() == 3
    assert topics(studio) == ["alerts-raised", "alerts-closed", "alerts-raised"]


def test_what_changed_is_said_anew_without_another_alert(studio, at, told):
    run(studio, at, cause())
    kept = run(studio, at, cause(sentence="It leaks 4 g a day.", details={"rate": "4"}))
    assert (kept.raised, kept.changed) == (0, 1)
    [alert] = open_alerts(studio)
    assert (alert.sentence, alert.details) == ("It leaks 4 g a day.", {"rate": "4"})
    assert topics(studio) == ["alerts-raised"]


def test_one_that_becomes_more_urgent_calls_out_again_also_when_it_was_seen(studio, at, told, owner):
    run(studio, at, cause())
    [alert] = open_alerts(studio)
    quiet_alert(by=owner, at=at, alert_id=alert.pk)
    assert Alert.objects.of(studio).loud().count() == 0
    run(studio, at, cause(urgency=Urgency.LATER))
    assert Alert.objects.of(studio).loud().count() == 0
    run(studio, at, cause(urgency=Urgency.NOW))
    assert Alert.objects.of(studio).loud().count() == 1
    assert topics(studio) == ["alerts-raised", "alerts-pressing"]


def test_a_kind_that_was_not_looked_for_is_left_alone(studio, at, told):
    run(studio, at, cause(), cause(kind="rust"), kinds=("leak", "rust"))
    assert run(studio, at, kinds=("leak",)).closed == 1
    assert [alert.kind for alert in open_alerts(studio)] == ["rust"]


def test_an_alert_that_a_verb_raised_while_a_run_was_looking_is_not_closed_by_it(studio, at, told):
    known = open_alerts(studio)
    raise_alerts(studio=studio.pk, at=at, causes=[cause()])
    keep_alerts(studio=studio, at=at, known=known, found={"leak": []})
    assert [alert.key for alert in open_alerts(studio)] == ["1"]


def test_an_alert_that_a_verb_closed_while_a_run_was_looking_stays_closed(studio, at, told):
    raise_alerts(studio=studio.pk, at=at, causes=[cause()])
    known = open_alerts(studio)
    close_alert(studio=studio.pk, at=at, kind="leak", key="1")
    keep_alerts(studio=studio, at=at, known=known, found={"leak": [cause()]})
    assert open_alerts(studio) == []


def test_work_that_is_rolled_back_raises_nothing_and_tells_nobody(studio, at, told):
    with transaction.atomic():
        raise_alerts(studio=studio.pk, at=at, causes=[cause()])
        transaction.set_rollback(True)
    assert (open_alerts(studio), topics(studio)) == ([], [])


def test_nobody_is_told_where_nobody_listens(studio, at):
    run(studio, at, cause())
    assert topics(studio) == []


def test_another_studio_has_its_own_alert_of_the_same_cause(studio, stranger, at, told):
    run(studio, at, cause())
    run(stranger.studio, at, cause())
    assert run(stranger.studio, at).closed == 1
    assert len(open_alerts(studio)) == 1


def statements(work):
    with CaptureQueriesContext(connection) as captured:
        kept = work()
    return kept, len(captured)


def test_five_thousand_causes_make_five_thousand_alerts_in_one_run_and_none_the_second_night(
    studio, at, told
):
    """Goal P11: at most twenty statements for a thousand alerts."""
    causes = [cause(str(number)) for number in range(5000)]
    first, many = statements(lambda: run(studio, at, *causes))
    assert first.raised == Alert.objects.of(studio).open().count() == 5000
    assert many <= 5 * 20
    second, few = statements(lambda: run(studio, at + timedelta(days=1), *causes))
    assert (second.raised, second.changed, second.closed) == (0, 0, 0)
    assert few <= 6
    assert Event.objects.of(studio).count() == 50
    last, closing = statements(lambda: run(studio, at))
    assert last.closed == 5000
    assert closing <= 5 * 20


@pytest.mark.usefixtures("committed")
def test_two_runs_at_once_raise_one_alert_and_tell_of_it_once(owner, at):
    studio = owner.studio
    add_webhook(by=owner, at=at, url="https://hooks.example.org/")
    outcomes = together(*[lambda: run(studio, at, cause())] * 4)
    assert raised(outcomes) == []
    assert sum(kept.raised for kept in outcomes) == 1
    assert topics(studio) == ["alerts-raised"]


@pytest.mark.usefixtures("committed")
def test_a_verb_and_a_run_at_once_raise_one_alert(owner, at):
    studio = owner.studio
    add_webhook(by=owner, at=at, url="https://hooks.example.org/")
    verb = lambda: raise_alerts(studio=studio.pk, at=at, causes=[cause()])  # noqa: E731
    assert raised(together(verb, lambda: run(studio, at, cause()), verb)) == []
    assert len(open_alerts(studio)) == 1
    assert topics(studio) == ["alerts-raised"]
