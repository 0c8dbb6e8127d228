"""Idempotency keys: one effect, one answer, whatever is repeated and whatever fails."""

import itertools
from datetime import timedelta

import pytest

from studio.actions.answers import KEPT, forget_old_answers
from studio.api.once import BadIdempotencyKey, idempotency_key
from studio.models import HistoryEntry, RememberedAnswer
from tests.client import Api
from tests.together import raised, together

pytestmark = pytest.mark.urls("tests.studio.api.example")


def notes(studio):
    return HistoryEntry.objects.filter(studio=studio, subject="note").count()


def test_a_repetition_has_no_second_effect_and_the_same_answer_to_the_byte(api, studio):
    first = api.post("notes/", {"how": "x"}, key="k")
    again = api.post("notes/", {"how": "x"}, key="k")
    assert notes(studio) == 1
    assert (again.status_code, again.content) == (first.status_code, first.content) == (201, first.content)
    for name in ("Location", "ETag", "Content-Type"):
        assert again[name] == first[name]
    assert "Idempotent-Replay" not in first
    assert again["Idempotent-Replay"] == "true"


def test_without_a_key_every_request_has_its_effect(api, studio):
    api.post("notes/")
    api.post("notes/")
    assert notes(studio) == 2
    assert not RememberedAnswer.objects.filter(member__studio=studio).exists()


def test_an_answer_without_a_body_is_repeated_too(api, studio):
    for _ in range(2):
        answer = api.post("notes/", {"how": "nothing"}, key="k")
        assert (answer.status_code, answer.content) == (204, b"")
    assert notes(studio) == 1


@pytest.mark.parametrize(
    ("path", "body", "kind"),
    [
        ("notes/", b'{"how": "y"}', "application/json"),
        ("notes/", b'{"how":  "x"}', "application/json"),
        ("notes/?format=json", b'{"how": "x"}', "application/json"),
        ("notes/", b'{"how": "x"}', "application/json; charset=utf-8"),
        ("keys/", b'{"how": "x"}', "application/json"),
    ],
)
def test_the_key_of_another_request_is_refused(api, studio, path, body, kind):
    api.post("notes/", b'{"how": "x"}', key="k")
    answer = api.post(path, body, key="k", content_type=kind)
    assert answer.status_code == 422
    assert answer.json()["type"] == "/problems/key-reused"
    assert notes(studio) == 1


def test_a_key_belongs_to_its_member(api, api_of, maker, stranger, studio):
    api.post("notes/", {"how": "x"}, key="k")
    assert "Idempotent-Replay" not in api_of(maker).post("notes/", {"how": "x"}, key="k")
    assert "Idempotent-Replay" not in api_of(stranger).post("notes/", {"how": "x"}, key="k")
    assert notes(studio) == 2
    assert notes(stranger.studio) == 1


def test_two_keys_of_one_member_share_what_is_remembered(api, api_of, owner, studio):
    api.post("notes/", {"how": "x"}, key="k")
    assert api_of(owner).post("notes/", {"how": "x"}, key="k")["Idempotent-Replay"] == "true"
    assert notes(studio) == 1


@pytest.mark.parametrize(("how", "status"), [("refuse", 409), ("break", 500), ("answer 409", 409)])
def test_a_failure_leaves_neither_work_nor_mark(api, studio, how, status):
    for _ in range(2):
        answer = api.post("notes/", {"how": how}, key="k")
        assert answer.status_code == status
        assert "Idempotent-Replay" not in answer
    assert notes(studio) == 0
    assert not RememberedAnswer.objects.filter(member__studio=studio).exists()


def test_a_key_that_met_a_failure_may_still_succeed(api, studio):
    api.post("notes/", b"{", key="k")
    assert api.post("notes/", {"how": "x"}, key="k").status_code == 201


@pytest.mark.parametrize(
    ("header", "key"),
    [
        ('"8e03978e-40d5-43e8-bc93-6894a57f9324"', "8e03978e-40d5-43e8-bc93-6894a57f9324"),
        ("8e03978e", "8e03978e"),
        ('"with space"', "with space"),
        (r'"a\"b\\c"', r'a"b\c'),
        (f'"{"x" * 255}"', "x" * 255),
        (None, None),
    ],
)
def test_keys_are_read_as_quoted_texts_or_tokens(rf, header, key):
    request = rf.post("/", headers={} if header is None else {"Idempotency-Key": header})
    assert idempotency_key(request) == key


@pytest.mark.parametrize(
    "header",
    ["", '""', '"', '"a', 'a"', "two words", '"a"b"', '"a\\x"', '"é"', "x" * 256, f'"{"x" * 256}"', '"a";b'],
)
def test_other_keys_are_refused(rf, header):
    with pytest.raises(BadIdempotencyKey):
        idempotency_key(rf.post("/", headers={"Idempotency-Key": header}))


def test_a_key_is_judged_before_anything_is_done(api, studio):
    answer = api.post("notes/", {"how": "x"}, idempotency_key='"')
    assert answer.status_code == 400
    assert notes(studio) == 0


def test_old_answers_are_forgotten_and_their_keys_free_again(api, owner, studio):
    api.post("notes/", {"how": "x"}, key="k")
    mark = RememberedAnswer.objects.get(member=owner)
    forget_old_answers(at=mark.created_at + KEPT)
    assert RememberedAnswer.objects.filter(pk=mark.pk).exists()
    assert forget_old_answers(at=mark.created_at + KEPT + timedelta(seconds=1)) >= 1
    assert not RememberedAnswer.objects.filter(pk=mark.pk).exists()
    api.post("notes/", {"how": "x"}, key="k")
    assert notes(studio) == 2


def test_answers_are_kept_for_more_than_a_day():
    assert timedelta(hours=24) < KEPT


def test_of_many_at_once_with_one_key_one_has_the_effect_and_all_get_its_answer(committed, owner, key_of):
    secret = key_of(owner)
    outcomes = together(*[lambda: Api(secret).post("notes/", {"how": "x"}, key="k")] * 8)
    assert raised(outcomes) == []
    assert {(answer.status_code, answer.content) for answer in outcomes} == {(201, outcomes[0].content)}
    assert sum("Idempotent-Replay" in answer for answer in outcomes) == 7
    assert notes(owner.studio) == 1


def test_with_a_key_each_many_at_once_have_many_effects(committed, owner, key_of):
    secret, names = key_of(owner), itertools.count()
    together(*[lambda: Api(secret).post("notes/", {"how": "x"}, key=f"k{next(names)}")] * 4)
    assert notes(owner.studio) == 4


def test_of_many_at_once_that_all_fail_none_leaves_a_mark(committed, owner, key_of):
    secret = key_of(owner)
    outcomes = together(*[lambda: Api(secret).post("notes/", {"how": "break"}, key="k")] * 4)
    assert [answer.status_code for answer in outcomes] == [500] * 4
    assert notes(owner.studio) == 0
    assert Api(secret).post("notes/", {"how": "x"}, key="k").status_code == 201
