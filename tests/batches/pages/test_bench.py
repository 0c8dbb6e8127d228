"""The bench over plain requests, as the script sends them and as the form alone does."""

import json
import re
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from batches.models import RefusedReading, Weighing
from tests.workbench import assert_everything_holds

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner):
    client = Client()
    client.force_login(owner.person)
    return client


@pytest.fixture
def batch(bench):
    bench.bottle("linalool@10%/ethanol 50g")
    bench.bottle("vanillin@10%/ethanol 50g")
    bench.bottle("ethanol 500g")
    version = bench.formula("accord", "linalool@10% 3", "vanillin@10% 2", "ethanol 5", name="Accord")
    planned = bench.plan(version, "10", balance=bench.balance())
    bench.reserve(planned)
    planned.refresh_from_db()
    return planned


def text(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def lot_of(batch, position):
    return batch.lines.get(position=position).lot


def send(browser, batch, position, weight="", **told):
    """One weighing as the script sends it; the answer's outcome and what it says."""
    sent = {
        "operation": f"bench-{uuid4().hex}",
        "position": position,
        "lot": told.pop("lot", lot_of(batch, position).number),
        "weight": weight,
        **told,
    }
    answer = browser.post(
        f"/batches/{batch.number}/bench/weighings/", sent, headers={"Accept": "application/json"}
    )
    said = json.loads(answer.content)
    return said["outcome"], said


def test_the_bench_opens_at_the_first_line_with_its_lot_target_and_band(browser, batch):
    page = text(browser.get(f"/batches/{batch.number}/bench/"))
    lot = lot_of(batch, 1)
    assert lot.number in page
    assert "3.000 g" in page
    assert "2.940 g to 3.060 g" in page
    assert "local rules and a qualified assessor decide" in page


def test_a_weighing_is_recorded_with_what_the_page_then_shows(browser, batch):
    outcome, answer = send(browser, batch, 1, "3.001")
    assert outcome == "recorded"
    assert 'data-weighed="3.001000"' in answer["live"]
    assert Weighing.objects.get(batch=batch).mass == Decimal("3.001")
    assert_everything_holds()


def test_the_same_operation_sent_again_is_recorded_once(browser, batch):
    sent = {
        "operation": "bench-once",
        "position": 1,
        "lot": lot_of(batch, 1).number,
        "weight": "3",
        "seen": "0",
    }
    for _ in range(3):
        answer = browser.post(
            f"/batches/{batch.number}/bench/weighings/", sent, headers={"Accept": "application/json"}
        )
        assert answer.status_code == 201
    assert Weighing.objects.filter(batch=batch).count() == 1


def test_without_the_script_the_form_records_and_shows_the_bench_again(browser, batch):
    sent = {"operation": "bench-form", "position": 1, "lot": lot_of(batch, 1).number, "weight": "3"}
    answer = browser.post(f"/batches/{batch.number}/bench/weighings/", sent, follow=True)
    assert "3 g are recorded for line 1." in text(answer)
    assert "1 of 3 lines poured" in text(answer)


def test_without_the_script_a_refusal_keeps_what_was_typed(browser, batch):
    sent = {"operation": "bench-form", "position": 1, "lot": lot_of(batch, 1).number, "weight": "0.3"}
    answer = browser.post(f"/batches/{batch.number}/bench/weighings/", sent)
    assert answer.status_code == 409
    assert "a tenth of the 3 g to pour" in text(answer)
    assert 'value="0.3"' in answer.content.decode()
    again = browser.post(f"/batches/{batch.number}/bench/weighings/", {**sent, "again": "0,3"}, follow=True)
    assert "0.3 g are recorded" in text(again)


@pytest.mark.parametrize("weight", ["30", "0.3", "3.2", "2.5"])
def test_a_typed_weight_outside_the_band_is_recorded_only_when_typed_twice(browser, batch, weight):
    outcome, answer = send(browser, batch, 1, weight)
    assert (outcome, answer["code"]) == ("refused", "asked-twice")
    assert send(browser, batch, 1, weight, again="9")[1]["code"] == "unclear-weight"
    assert not Weighing.objects.exists()
    assert send(browser, batch, 1, weight, again=weight)[0] == "recorded"


def test_more_than_the_balance_can_weigh_is_not_recorded_even_when_typed_twice(browser, batch):
    outcome, answer = send(browser, batch, 1, "300", again="300")
    assert outcome == "refused"
    assert "can weigh" in answer["sentence"]
    assert not Weighing.objects.exists()


@pytest.mark.parametrize(
    ("weight", "grams"),
    [("3,001", None), ("3001", None), ("3001 mg", "3.001"), ("3,01", "3.01"), ("0.003 kg", "3")],
)
def test_a_unit_or_comma_never_shifts_what_is_recorded(browser, batch, weight, grams):
    outcome, _ = send(browser, batch, 1, weight)
    assert outcome == ("refused" if grams is None else "recorded")
    assert [w.mass for w in Weighing.objects.filter(batch=batch)] == (
        [] if grams is None else [Decimal(grams)]
    )


def test_a_wrong_lot_stops_with_both_names_and_nothing_recorded(browser, batch):
    wrong, right = lot_of(batch, 2), lot_of(batch, 1)
    outcome, answer = send(browser, batch, 1, "3", lot=wrong.number)
    assert (outcome, answer["code"]) == ("refused", "wrong-lot")
    for lot in (wrong, right):
        assert f"{lot.number} ({lot.title})" in answer["sentence"]
    assert not Weighing.objects.exists()


def test_a_lot_is_confirmed_in_any_spelling_and_by_the_address_of_its_page(browser, batch):
    number = lot_of(batch, 1).number
    for told in (number, number.lower().replace("-", " "), f"https://example.org/lots/{number}/"):
        answer = browser.get(f"/batches/{batch.number}/bench/lot/", {"position": 1, "text": told})
        assert answer.json() == {"outcome": "right", "lot": number}


def test_a_mistyped_lot_asks_what_was_meant(browser, batch):
    number = lot_of(batch, 1).number
    slip = number[:-1] + ("A" if number[-1] != "A" else "B")
    answer = browser.get(f"/batches/{batch.number}/bench/lot/", {"position": 1, "text": slip})
    assert answer.json()["outcome"] == "refused"
    assert number in answer.json()["meant"]
    assert f"Did you mean {number}" in answer.json()["sentence"]


def test_a_lot_past_its_day_asks_for_the_reason_that_the_record_keeps(browser, bench):
    bench.bottle("citral 10g", expires_on=bench.now.date())
    batch = bench.reserve(bench.plan(bench.formula("sharp", "citral 1"), "2"))
    outcome, said = send(browser, batch, 1, "2 g")
    assert (outcome, said["code"]) == ("refused", "lot-expired")
    form = {"operation": "form-1", "position": 1, "lot": lot_of(batch, 1).number, "weight": "2 g"}
    address = f"/batches/{batch.number}/bench/weighings/"
    asked = browser.post(address, form)
    assert (asked.status_code, "Why it is used all the same" in text(asked)) == (409, True)
    assert browser.post(address, {**form, "expired_reason": "smells as it should"}).status_code == 303
    assert Weighing.objects.get(batch=batch).expired_reason == "smells as it should"
    assert "used because: smells as it should" in text(browser.get(f"/batches/{batch.number}/bench/"))


def test_a_reading_of_a_balance_is_kept_with_its_line(browser, batch):
    outcome, _ = send(browser, batch, 1, reading=" S +3.0005 g")
    assert outcome == "recorded"
    weighing = Weighing.objects.get(batch=batch)
    assert (weighing.source, weighing.reading, weighing.mass) == ("balance", "S +3.0005 g", Decimal("3.0005"))


@pytest.mark.parametrize("line", ["SD 3.0 g", "-3.0 g", "3.0 ct", "3.0", "OL"])
def test_an_unfit_reading_is_not_recorded(browser, batch, line):
    outcome, answer = send(browser, batch, 1, reading=line)
    assert (outcome, answer["code"]) == ("refused", "unfit-reading")
    assert not Weighing.objects.exists()


def test_what_the_service_refuses_is_noted_once_however_often_it_is_sent(browser, batch):
    wrong = lot_of(batch, 2).number
    for _ in range(3):
        send(browser, batch, 1, "3", lot=wrong, operation="bench-wrong")
    send(browser, batch, 1, "0.3", operation="bench-far")
    send(browser, batch, 1, "0.3", again="0.3", operation="bench-far")
    send(browser, batch, 1, reading="SD 3.0 g", operation="bench-moving")
    noted = RefusedReading.objects.filter(batch=batch).order_by("id").values_list("kind", "told")
    assert list(noted) == [("wrong lot", wrong), ("outside the band", "0.3"), ("unfit reading", "SD 3.0 g")]
    page = text(browser.get(f"/batches/{batch.number}/"))
    assert "What was refused at the bench" in page
    assert "a tenth of the 3 g to pour" in page


def test_what_the_page_refused_is_noted_and_nonsense_is_answered(browser, batch):
    at = f"/batches/{batch.number}/bench/refused/"
    told = {
        "operation": "r-1",
        "position": 1,
        "kind": "unclear weight",
        "told": "3,001",
        "why": "May be two.",
    }
    for _ in range(2):
        assert browser.post(at, told).json() == {"outcome": "recorded"}
    for wrong in ({"kind": "nonsense"}, {"position": "99999999"}, {"position": "x"}, {"operation": ""}):
        assert browser.post(at, {**told, "operation": "r-2", **wrong}).json()["outcome"] == "refused"
    odd = {"operation": "r-3", "told": "a\0b" + "c" * 300, "why": "x" * 900, "age": "60"}
    assert browser.post(at, {**told, **odd}).json() == {"outcome": "recorded"}
    assert [len(one.told) for one in RefusedReading.objects.order_by("id")] == [5, 200]


@pytest.mark.parametrize(
    ("sent", "kept"), [("scanned", "scanned"), ("typed", "typed"), ("", None), ("x", None)]
)
def test_how_the_lot_was_told_is_kept_and_shown(browser, batch, sent, kept):
    send(browser, batch, 1, "3", lot_told=sent)
    assert Weighing.objects.get(batch=batch).lot_told == kept
    assert (f"lot {kept}" in text(browser.get(f"/batches/{batch.number}/"))) is bool(kept)


def test_two_people_at_the_same_line_are_warned_before_the_second_is_recorded(browser, bench, batch):
    bench.weigh(batch, 1, "1.5")
    outcome, answer = send(browser, batch, 1, "3", seen="0")
    assert (outcome, answer["code"]) == ("refused", "line-moved-on")
    assert "held 0 g when you looked and holds 1.5 g now" in answer["sentence"]
    assert send(browser, batch, 1, "1.5", seen=answer["holds"])[0] == "recorded"


def test_a_weighing_elsewhere_in_the_batch_warns_nobody(browser, bench, batch):
    bench.weigh(batch, 2, "2")
    assert send(browser, batch, 1, "3", seen="0")[0] == "recorded"


def test_the_live_parts_come_only_when_something_happened(browser, bench, batch):
    page = browser.get(f"/batches/{batch.number}/bench/").content.decode()
    edition = re.search(r'data-edition="(\d+)"', page)[1]
    at = f"/batches/{batch.number}/bench/live/"
    assert browser.get(at, {"edition": edition}).status_code == 204
    bench.weigh(batch, 1, "3")
    answer = browser.get(at, {"edition": edition})
    assert answer.status_code == 200
    assert 'data-weighed="3.000000"' in answer.content.decode()


def test_an_overpour_opens_the_ways_on_and_one_is_chosen(browser, bench, batch):
    bench.weigh(batch, 1, "3.5")
    page = browser.get(f"/batches/{batch.number}/bench/")
    assert "Too much was poured: how to go on" in text(page)
    assert "Enlarge it just enough" in text(page)
    answer = browser.post(
        f"/batches/{batch.number}/bench/way-on/", {"way": "enlarge-fully", "once": uuid4().hex}, follow=True
    )
    assert "Enlarge the batch until nothing is too much:" in text(answer)
    batch.refresh_from_db()
    assert batch.lines.get(position=3).target > 5


def test_after_keeping_on_the_ways_step_back(browser, bench, batch):
    bench.weigh(batch, 1, "3.5")
    browser.post(f"/batches/{batch.number}/bench/way-on/", {"way": "keep-going", "once": uuid4().hex})
    page = text(browser.get(f"/batches/{batch.number}/bench/"))
    assert "An overpour was settled" in page
    assert "Too much was poured: how to go on" not in page


def test_an_entry_is_struck_through_with_a_reason_and_stays_readable(browser, bench, batch):
    weighing = bench.weigh(batch, 1, "0.3")
    at = f"/batches/{batch.number}/bench/weighings/{weighing.pk}/strike/"
    assert "Strike 0.300" in text(browser.get(at))
    assert browser.post(at, {"slip": "other", "why": "", "once": uuid4().hex}).status_code == 422
    page = text(
        browser.post(at, {"slip": "mistyped", "why": "3.0 was meant", "once": uuid4().hex}, follow=True)
    )
    assert "Struck through" in page
    assert "The weight was mistyped: 3.0 was meant" in page
    assert "0.300 g" in page


def test_closing_asks_why_lines_are_left_out_and_which_strength_holds(browser, bench, batch):
    bench.weigh(batch, 1, "3")
    at = f"/batches/{batch.number}/bench/close/"
    assert "Not weighed at all: line 2" in text(browser.get(at))
    told = {"title": "Half an accord", "once": uuid4().hex}
    assert browser.post(at, told).status_code == 422
    answer = browser.post(at, {**told, "left_out_reason": "a trial"}, follow=True)
    if answer.status_code == 422:
        assert "Decide" in text(answer)
        answer = browser.post(
            at,
            {
                **told,
                "left_out_reason": "a trial",
                "strength_decision": "declare actual",
                "strength_reason": "as weighed",
            },
            follow=True,
        )
    assert "Closed." in text(answer)
    assert "Draw off a vial" in text(answer)
    batch.refresh_from_db()
    assert batch.made.title == "Half an accord"
    assert_everything_holds()


def test_keys_for_gloves_are_kept_by_the_browser(browser, batch):
    at = f"/batches/{batch.number}/bench/"
    assert "gloved" not in browser.get(at).content.decode().split("<main")[1][:400]
    assert (
        'class="bench gloved"' in browser.post(f"{at}gloves/", {"gloves": "on"}, follow=True).content.decode()
    )
    assert 'class="bench gloved"' in browser.get(at).content.decode()
    assert (
        'class="bench gloved"'
        not in browser.post(f"{at}gloves/", {"gloves": "off"}, follow=True).content.decode()
    )


def test_a_draft_says_that_it_is_not_reserved(browser, bench):
    bench.bottle("linalool 50g")
    bench.bottle("ethanol 50g")
    batch = bench.plan_stock("linalool@10%/ethanol 10g")
    assert "Not reserved yet" in text(browser.get(f"/batches/{batch.number}/bench/"))
    assert send(browser, batch, 1, "1")[1]["code"] == "wrong-state"


def test_a_reader_watches_and_does_not_weigh(batch, reader):
    client = Client()
    client.force_login(reader.person)
    assert "you can watch, not weigh" in text(client.get(f"/batches/{batch.number}/bench/"))
    assert client.post(f"/batches/{batch.number}/bench/weighings/", {}).status_code == 403


def test_another_studio_finds_no_such_batch(batch, stranger):
    client = Client()
    client.force_login(stranger.person)
    for tail in ("", "live/", "close/"):
        assert client.get(f"/batches/{batch.number}/bench/{tail}").status_code == 404


def test_the_number_of_statements_does_not_grow_with_the_batch(browser, bench):
    def statements(lines):
        names = [f"odorant {letter}" for letter in "abcdefghij"[:lines]]
        for name in names:
            bench.bottle(f"{name} 50g")
        version = bench.formula(f"of-{lines}", *[f"{name} 1" for name in names])
        batch = bench.plan(version, str(lines))
        bench.reserve(batch)
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert browser.get(f"/batches/{batch.number}/bench/").status_code == 200
        return len(seen)

    assert statements(2) == statements(10)
