"""The outbox: what is told to whom, signed how, tried how often, and how a sender that dies does not lose it."""

import json
from datetime import timedelta

import pytest
from django.core import mail
from django.db import transaction

from studio.actions.alerts import raise_alerts
from studio.actions.outbox import announce, forget_old_events
from studio.actions.people import OwnersOnly
from studio.actions.sending import LEASE, TRIED_FOR, pause_after, send_next
from studio.actions.telling import choose_mail, write_digest
from studio.actions.webhooks import (
    OVERLAP,
    TooManyWebhooks,
    WebhookEnded,
    add_webhook,
    end_webhook,
    renew_secret,
    try_webhook,
)
from studio.kernel.causes import Cause, Urgency
from studio.kernel.outward import UnfitAddress, networks
from studio.kernel.work import work
from studio.models import Attempt, Delivery, Event, MailChoice
from tests.receiver import HERE, receiving, signed_by
from tests.together import together


@pytest.fixture
def receiver(settings):
    settings.WEBHOOKS_WITHIN = networks(HERE)
    with receiving() as there:
        yield there


def say(owner, at, *, webhooks=None, members=()):
    with work():
        [event] = announce(
            studio=owner.studio_id,
            at=at,
            topic="trial",
            contents=[{"sentence": "It rains.", "grams": "2.500000"}],
            webhooks=webhooks,
            members=members,
        )
    return event


def raise_one(owner, at, sentence="Lot 26-0001-K leaks."):
    cause = Cause(
        kind="leak", key=sentence, subject="lot", name="26-0001-K", sentence=sentence, urgency=Urgency.NOW
    )
    raise_alerts(studio=owner.studio_id, at=at, causes=[cause])


def test_an_event_arrives_signed_with_its_id_and_its_very_words(db, owner, at, receiver):
    _, secret = add_webhook(by=owner, at=at, url=receiver.url)
    event = say(owner, at)
    assert send_next(at=at).state == "taken"
    [(headers, body)] = receiver.got
    assert signed_by(secret, headers, body)
    assert not signed_by(secret, headers, body + b" ")
    assert not signed_by(secret, {**headers, "Stillroom-Timestamp": "1"}, body)
    assert not signed_by("hook_another", headers, body)
    assert headers["Stillroom-Event"] == str(event.uuid) == json.loads(body)["event"]
    assert headers["Stillroom-Timestamp"] == str(int(at.timestamp()))
    assert body.decode() == event.body
    assert json.loads(body)["grams"] == "2.500000"


def test_what_was_taken_is_not_sent_again(db, owner, at, receiver):
    add_webhook(by=owner, at=at, url=receiver.url)
    say(owner, at)
    assert send_next(at=at) is not None
    assert send_next(at=at + timedelta(days=2)) is None
    assert len(receiver.got) == 1


def test_nothing_is_sent_for_what_was_rolled_back(db, owner, at, receiver):
    add_webhook(by=owner, at=at, url=receiver.url)
    with transaction.atomic():
        say(owner, at)
        transaction.set_rollback(True)
    assert send_next(at=at) is None
    assert receiver.got == []


@pytest.mark.usefixtures("committed")
def test_an_event_belongs_into_the_work_it_tells_about(owner, at):
    with pytest.raises(RuntimeError):
        announce(studio=owner.studio_id, at=at, topic="trial", contents=[{}], webhooks=None)


@pytest.mark.parametrize("status", [500, 404, 301, 307])
def test_a_try_that_fails_is_repeated_under_the_same_id_until_it_is_taken(db, owner, at, receiver, status):
    add_webhook(by=owner, at=at, url=receiver.url)
    say(owner, at)
    receiver.answers = [status, status, 200]
    for attempt in (1, 2):
        failed = send_next(at=at)
        assert failed.state == "waiting"
        assert send_next(at=at + pause_after(attempt) / 2) is None
        at += pause_after(attempt) + timedelta(seconds=1)
    assert send_next(at=at).state == "taken"
    assert len(set(receiver.events)) == 1
    tries = Attempt.objects.filter(delivery__studio=owner.studio).order_by("id")
    assert [one.outcome for one in tries] == [f"It answered {status}."] * 2 + ["It answered 200."]


def test_it_is_tried_for_a_day_with_growing_pauses_and_then_given_up(db, owner, at, receiver):
    add_webhook(by=owner, at=at, url=receiver.url)
    say(owner, at)
    receiver.answers = [503]
    last, now = at, at
    while (delivery := send_next(at=now)) is not None:
        last, now = now, delivery.due_at + timedelta(seconds=1)
        if delivery.state != "waiting":
            break
    assert delivery.state == "given up"
    assert TRIED_FOR - timedelta(hours=2) < last - at <= TRIED_FOR
    assert 20 < len(receiver.got) < 40
    assert pause_after(1) < pause_after(2) < pause_after(5) < pause_after(20) == pause_after(21)


def test_a_receiver_that_fails_rests_and_does_not_hold_up_another(db, owner, at, receiver):
    with receiving() as sound:
        bad, _ = add_webhook(by=owner, at=at, url=receiver.url)
        good, _ = add_webhook(by=owner, at=at, url=sound.url)
        for _ in range(5):
            say(owner, at, webhooks=[bad.pk])
        say(owner, at + timedelta(seconds=1), webhooks=[good.pk])
        receiver.answers = [500]
        now = at + timedelta(seconds=1)
        while send_next(at=now) is not None:
            pass
        assert (len(receiver.got), len(sound.got)) == (1, 1)
        receiver.answers = [200]
        while send_next(at=now + timedelta(minutes=1)) is not None:
            pass
        assert len(set(receiver.events)) == 5


def test_both_secrets_hold_while_they_overlap_and_only_the_new_one_afterwards(db, owner, at, receiver):
    webhook, former = add_webhook(by=owner, at=at, url=receiver.url)
    _, new = renew_secret(by=owner, at=at, webhook_id=webhook.pk)
    assert former != new
    for when in (at, at + OVERLAP):
        say(owner, when)
        send_next(at=when)
    (first, body), (second, later) = receiver.got
    assert signed_by(former, first, body)
    assert signed_by(new, first, body)
    assert signed_by(new, second, later)
    assert not signed_by(former, second, later)


def test_no_secret_stands_in_the_database(db, owner, at, receiver):
    from django.core.serializers import serialize

    webhook, secret = add_webhook(by=owner, at=at, url=receiver.url)
    say(owner, at)
    send_next(at=at)
    rows = serialize("json", [webhook, *Event.objects.all(), *Delivery.objects.all(), *Attempt.objects.all()])
    assert secret.removeprefix("hook_") not in rows


def test_an_address_that_turned_private_is_not_sent_to(db, owner, at, receiver, settings):
    add_webhook(by=owner, at=at, url=receiver.url)
    settings.WEBHOOKS_WITHIN = ()
    say(owner, at)
    assert send_next(at=at).state == "waiting"
    assert receiver.got == []
    assert "https://" in Attempt.objects.get(delivery__studio=owner.studio).outcome


def test_only_owners_add_webhooks_and_only_fit_ones(db, owner, maker, at):
    with pytest.raises(OwnersOnly):
        add_webhook(by=maker, at=at, url="https://hooks.example.org/")
    with pytest.raises(UnfitAddress):
        add_webhook(by=owner, at=at, url="https://10.0.0.1/")
    for _ in range(10):
        add_webhook(by=owner, at=at, url="https://hooks.example.org/")
    with pytest.raises(TooManyWebhooks):
        add_webhook(by=owner, at=at, url="https://hooks.example.org/")


def test_nothing_more_is_sent_to_a_webhook_that_has_ended(db, owner, at, receiver):
    webhook, _ = add_webhook(by=owner, at=at, url=receiver.url)
    try_webhook(by=owner, at=at, webhook_id=webhook.pk)
    end_webhook(by=owner, at=at, webhook_id=webhook.pk)
    assert send_next(at=at).state == "given up"
    assert receiver.got == []
    with pytest.raises(WebhookEnded):
        try_webhook(by=owner, at=at, webhook_id=webhook.pk)


def test_a_sender_that_died_leaves_a_lease_that_runs_out(db, owner, at, receiver, monkeypatch):
    from studio.actions import sending

    add_webhook(by=owner, at=at, url=receiver.url)
    say(owner, at)
    with monkeypatch.context() as dying:
        dying.setattr(sending, "_mark", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            send_next(at=at)
    assert send_next(at=at + LEASE / 2) is None
    assert send_next(at=at + LEASE).state == "taken"
    assert len(receiver.events) == 2
    assert len(set(receiver.events)) == 1


@pytest.mark.usefixtures("committed")
def test_several_senders_at_once_send_each_event_once(owner, at, receiver):
    add_webhook(by=owner, at=at, url=receiver.url)
    events = {str(say(owner, at).uuid) for _ in range(12)}

    def send_all():
        while send_next(at=at) is not None:
            pass

    together(*[send_all] * 4)
    own = [event for event in receiver.events if event in events]
    assert sorted(own) == sorted(events)


def test_who_wants_mail_at_once_gets_one_mail_for_what_is_raised_together(db, owner, maker, reader, at):
    choose_mail(by=maker, mail=MailChoice.AT_ONCE)
    choose_mail(by=reader, mail=MailChoice.NEVER)
    raise_one(owner, at)
    while send_next(at=at) is not None:
        pass
    [sent] = mail.outbox
    assert sent.to == [maker.person.email]
    assert "Lot 26-0001-K leaks." in sent.subject
    assert "Lot 26-0001-K leaks." in sent.body
    event = Event.objects.of(owner.studio).get(topic="alerts-mail")
    assert str(event.uuid) in sent.extra_headers["Message-ID"]


def test_the_daily_mail_comes_once_a_day_and_only_if_something_calls_out(db, owner, at):
    assert not write_digest(member=owner, at=at)
    raise_one(owner, at)
    at += timedelta(days=1)
    assert write_digest(member=owner, at=at)
    assert not write_digest(member=owner, at=at + timedelta(hours=1))
    while send_next(at=at) is not None:
        pass
    [sent] = mail.outbox
    assert "Lot 26-0001-K leaks." in sent.body
    assert write_digest(member=owner, at=at + timedelta(days=1))


def test_a_mail_server_that_is_away_is_tried_again(db, owner, at, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    choose_mail(by=owner, mail=MailChoice.AT_ONCE)
    raise_one(owner, at)
    assert send_next(at=at).state == "waiting"
    assert "did not take it" in Attempt.objects.get(delivery__studio=owner.studio).outcome


def test_a_mail_for_somebody_who_left_is_given_up(db, owner, maker, at):
    from studio.actions.leaving import leave_studio

    choose_mail(by=maker, mail=MailChoice.AT_ONCE)
    raise_one(owner, at)
    leave_studio(by=maker, at=at)
    assert send_next(at=at).state == "given up"
    assert mail.outbox == []


def test_old_events_are_forgotten_unless_they_are_on_their_way(db, owner, at, receiver):
    add_webhook(by=owner, at=at, url=receiver.url)
    say(owner, at)
    send_next(at=at)
    say(owner, at)
    assert forget_old_events(before=at + timedelta(days=30)) == 1
    assert Delivery.objects.of(owner.studio).get().state == "waiting"
