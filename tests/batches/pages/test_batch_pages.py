"""Planning batches on their pages, and a batch from draft to sealed record: the same figures as the API, the same rules."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from batches.actions.weighing import strike_weighing
from batches.models import Batch
from studio.pages.tags import grams, mass, percent

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner):
    return signed_in(owner)


def signed_in(member):
    client = Client()
    client.force_login(member.person)
    return client


def text(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("\u00a0", " ").split())


@pytest.fixture
def version(bench):
    """Meadow, written in a 1 % linalool that the shelf has only at 10 %."""
    bench.balance()
    for told in ("linalool 100g", "linalool@10%/ethanol 50g", "vanillin 50g", "ethanol 900g"):
        bench.bottle(told, price=Decimal(9))
    return bench.formula("meadow", "linalool@1%/ethanol 30", "vanillin 3", "ethanol 7", name="Meadow")


def planned(browser, path="/batches/plan/?formula=meadow", **told):
    answer = browser.post(path, {"mass": "20", **told})
    assert answer.status_code == 303, text(answer)
    return Batch.objects.get(number=answer["Location"].split("/")[2])


def test_a_batch_is_planned_with_everything_that_was_chosen(browser, version, bench):
    rough = bench.balance("rough", readability="0.01")
    ethanol = bench.materials["ethanol"]
    batch = planned(
        browser,
        strength="6",
        title="First try",
        vessel_capacity="30",
        balance=str(rough.pk),
        tolerance="3",
        planned_on="2026-04-01",
        note="for Ada",
        **{f"most-{ethanol.pk}": "95"},
    )
    assert (batch.mass, batch.strength, batch.title) == (20, Decimal("0.06"), "First try")
    assert (batch.vessel_capacity, batch.balance, batch.tolerance) == (30, rough, Decimal("0.03"))
    assert (str(batch.planned_on), batch.note) == ("2026-04-01", "for Ada")
    [(solvent, bounds)] = batch.solvent_bounds.items()
    assert (solvent, [Decimal(bound) for bound in bounds]) == (str(ethanol.pk), [0, Decimal("0.95")])


def test_the_plan_stands_beside_the_formula_with_a_sentence_for_every_swap(browser, version, api):
    batch = planned(browser)
    told = api.get(f"batches/{batch.number}/weigh-plan/").json()
    answer = browser.get(f"/batches/{batch.number}/")
    page = text(answer)
    assert "linalool 15.000 g 1 % in ethanol" in page
    assert told["plan"]["moved"] == 1
    assert "1 line from another dilution than written" in page
    for change in told["plan"]["changes"]:
        assert change["sentence"] in page
    for line in told["lines"]:
        assert f"{mass(Decimal(line['target']))} g of {line['lot']}" in page
    assert f"comes to {percent(Decimal(told['plan']['strength']))}".replace("\u00a0", " ") in page
    assert f"{told['batch']['planned_cost'].rstrip('0')} EUR" in page


def test_a_line_is_held_to_a_lot_by_hand_and_let_go_again(browser, version):
    batch = planned(browser)
    page = browser.get(f"/batches/{batch.number}/")
    linalool = page.context["lines"][0]
    neat = next(other.lot for other in linalool.lots if other.lot.strength == 1)
    answer = browser.post(f"/batches/{batch.number}/plan/", {"lot-1": neat.number, "lot-2": "", "lot-x": "y"})
    assert answer.status_code == 303
    page = browser.get(f"/batches/{batch.number}/")
    [pour] = page.context["lines"][0].pours
    assert (pour.line.lot.number, pour.line.target) == (neat.number, Decimal("0.15"))
    assert "chosen by hand" in text(page)
    assert re.search(rf'value="{neat.number}" selected', page.content.decode())
    browser.post(f"/batches/{batch.number}/plan/", {})
    assert "chosen by hand" not in text(browser.get(f"/batches/{batch.number}/"))


def by_hand(browser, batch, **told):
    """Send the grams as the page shows them, some of them changed; `told` maps the name of a material to grams."""
    shown = browser.get(f"/batches/{batch.number}/").context["by_hand"]
    sent = {one.name: one.text for _, fields in shown for one in fields}
    for line, fields in shown:
        if line.written.name in told:
            sent |= {one.name: "" for one in fields} | {fields[0].name: told[line.written.name]}
    knowingly = {"knowingly": "yes"} if told.get("knowingly") else {}
    return browser.post(f"/batches/{batch.number}/plan/", {"do": "by-hand", **sent, **knowingly})


def test_the_grams_as_planned_are_taken_as_they_are_shown(browser, version):
    batch = planned(browser)
    before = list(batch.lines.values_list("lot", "target"))
    assert by_hand(browser, batch).status_code == 303
    batch.refresh_from_db()
    assert batch.explanation["by_hand"]
    assert list(batch.lines.values_list("lot", "target")) == before
    assert "Planned by hand." in text(browser.get(f"/batches/{batch.number}/"))


def test_grams_by_hand_that_break_a_rule_are_told_kept_and_taken_knowingly(browser, version):
    batch = planned(browser)
    vanillin = batch.lines.get(material__name="vanillin")
    other = str(vanillin.target * 2)
    refused = by_hand(browser, batch, vanillin=other)
    assert refused.status_code == 422
    assert "vanillin" in " ".join(refused.context["form"].non_field_errors())
    assert f'value="{other}"' in refused.content.decode()
    assert "I mean it so" in text(refused)
    batch.refresh_from_db()
    assert not batch.explanation["by_hand"]
    assert by_hand(browser, batch, vanillin=other, knowingly=True).status_code == 303
    assert batch.lines.get(material__name="vanillin").target == vanillin.target * 2


def test_more_grams_than_a_lot_has_cannot_be_meant(browser, version):
    batch = planned(browser)
    refused = by_hand(browser, batch, vanillin="4000", knowingly=True)
    assert refused.status_code == 422
    assert "I mean it so" not in text(refused)


@pytest.mark.parametrize("typed", ["two", "1,5", "-1", "0.0000001"])
def test_grams_by_hand_that_are_no_mass_are_told_and_kept(browser, version, typed):
    batch = planned(browser)
    refused = by_hand(browser, batch, vanillin=typed)
    assert refused.status_code == 422
    assert f'value="{typed}"' in refused.content.decode()
    assert "The mass of" in text(refused)


def test_a_lot_past_its_day_needs_a_reason_and_the_reason_stands_on_the_line(browser, version, bench):
    old = bench.bottle("linalool@1%/ethanol 50g", expires_on=bench.now.date().replace(year=2025))
    batch = planned(browser)
    address = f"/batches/{batch.number}/plan/"
    refused = browser.post(address, {"lot-1": f"{old.number} expired"})
    assert refused.status_code == 422
    assert "expired on 2025-03-01" in text(refused)
    assert re.search(rf'value="{old.number} expired" selected', refused.content.decode())
    assert browser.post(address, {"lot-1": f"{old.number} expired", "expired_reason": "smells as it should"})
    assert "past its day smells as it should" in text(browser.get(f"/batches/{batch.number}/"))
    assert browser.post(f"/batches/{batch.number}/reserve/").status_code == 303
    batch.refresh_from_db()
    assert batch.state == "reserved"


def test_what_cannot_be_made_says_why_and_the_remedies_can_be_pressed(browser, version):
    batch = planned(browser, mass="2500")
    page = browser.get(f"/batches/{batch.number}/")
    assert "It cannot be made as things stand" in text(page)
    assert "Reserve everything" not in text(page)
    for reason in batch.explanation["reasons"]:
        assert reason["sentence"] in text(page)
    smaller = next(offer for offer in page.context["remedies"] if offer.figures)
    assert smaller.label == f"Take {grams(Decimal(smaller.figures['mass']))} instead"
    answer = browser.post(f"/batches/{batch.number}/instead/", smaller.figures)
    other = Batch.objects.get(number=answer["Location"].split("/")[2])
    assert other.mass == Decimal(smaller.figures["mass"])
    assert other.explanation["possible"]
    batch.refresh_from_db()
    assert (batch.state, batch.ended_why) == ("void", f"Planned anew as {other.number}.")


def test_a_stock_to_make_opens_the_plan_of_it_filled_in(browser, bench):
    bench.balance()
    for told in ("linalool 100g", "ethanol 900g", "vanillin 50g"):
        bench.bottle(told)
    bench.formula("thin", "linalool@1%/ethanol 5", "vanillin 5", "ethanol 90")
    batch = planned(browser, "/batches/plan/?formula=thin", mass="10")
    offers = browser.get(f"/batches/{batch.number}/").context["remedies"]
    make = next(offer for offer in offers if offer.address.startswith("/batches/plan-stock/"))
    assert make.steps
    form = browser.get(make.address).context["form"]
    told = {name: form[name].value() for name in ("material", "strength", "solvent", "mass")}
    stock = planned(browser, "/batches/plan-stock/", **told)
    assert stock.kind == "stock"
    assert stock.material.name == told["material"]


def test_a_stock_is_planned(browser, version):
    stock = planned(browser, "/batches/plan-stock/", material="linalool", strength="5", solvent="ethanol")
    page = text(browser.get(f"/batches/{stock.number}/"))
    assert "linalool 5 % in ethanol" in page
    assert [line.material.name for line in stock.lines.order_by("position")] == ["linalool", "ethanol"]


@pytest.mark.parametrize(
    ("form", "sentence"),
    [
        ({"mass": "0"}, "must be more than zero"),
        ({"mass": "2,5"}, "Use a point, not a comma."),
        ({"mass": "20", "strength": "120"}, "goes up to 100"),
        ({"mass": "20", "vessel_capacity": "10"}, None),
    ],
)
def test_what_cannot_be_asked_for_is_said_beside_the_field(browser, version, form, sentence):
    answer = browser.post("/batches/plan/?formula=meadow", form)
    if sentence is None:
        assert answer.status_code == 303
        assert "cannot be made as things stand" in text(browser.get(answer["Location"]))
    else:
        assert answer.status_code == 422
        assert sentence in text(answer)
        assert not Batch.objects.exists()


def test_bounds_that_cross_are_refused(browser, version, bench):
    ethanol = bench.materials["ethanol"].pk
    answer = browser.post(
        "/batches/plan/?formula=meadow", {"mass": "20", f"least-{ethanol}": "50", f"most-{ethanol}": "0"}
    )
    assert answer.status_code == 422
    assert "The least share of ethanol is above its greatest." in text(answer)


def test_two_plans_on_the_same_last_grams_are_not_both_reserved(browser, bench):
    bench.balance()
    bench.bottle("vanillin 5g")
    bench.bottle("ethanol 100g")
    bench.formula("sweet", "vanillin 1", "ethanol 4")
    first, second = (planned(browser, "/batches/plan/?formula=sweet", mass="20") for _ in range(2))
    assert browser.post(f"/batches/{first.number}/reserve/").status_code == 303
    answer = browser.post(f"/batches/{second.number}/reserve/")
    assert answer.status_code == 422
    assert "vanillin" in text(answer)
    assert "Reserve everything" in text(answer)
    second.refresh_from_db()
    assert second.state == "draft"


def test_giving_up_needs_a_reason_and_releases_the_claims(browser, version):
    batch = planned(browser)
    browser.post(f"/batches/{batch.number}/reserve/")
    assert browser.post(f"/batches/{batch.number}/void/", {"why": ""}).status_code == 422
    assert browser.post(f"/batches/{batch.number}/void/", {"why": "no time"}).status_code == 303
    page = text(browser.get(f"/batches/{batch.number}/"))
    assert "no time" in page
    assert "Give this batch up" not in page
    assert all(line.lot.reserved == 0 for line in batch.lines.select_related("lot"))


def test_weighings_are_all_shown_the_struck_ones_with_their_reason(browser, version, bench, api):
    batch = bench.reserve(bench.plan(version, "20"))
    wrong = bench.weigh(batch, 1, "2.5")
    strike_weighing(
        by=bench.by, now=bench.now, number=batch.number, weighing_id=wrong.pk, why="door was open"
    )
    bench.weigh(batch, 1, str(batch.lines.get(position=1).target + Decimal("0.01")))
    answer = browser.get(f"/batches/{batch.number}/")
    page = text(answer)
    assert "struck 1 Mar 2026, 09:30 by Ada Owner: door was open" in page
    assert "<s>2.500\u00a0g</s>" in answer.content.decode()
    assert "Weighed so far: 1 of 3 lines" in page
    line = api.get(f"batches/{batch.number}/").json()["lines"][0]
    assert line["deviation"] == "0.010000"
    assert "+0.010 g" in page
    assert line["words"] in page


def test_a_closed_batch_shows_its_seal_and_the_lot_it_made(browser, version, bench, api):
    batch = bench.plan(version, "20")
    lot = bench.make(version, "20")
    closed = Batch.objects.get(made=lot)
    told = api.get(f"batches/{closed.number}/record/").json()
    page = text(browser.get(f"/batches/{closed.number}/"))
    assert told["seal"] in page
    assert f"Lot {lot.number}" in page
    assert "Reserve everything" not in page
    assert batch.state == "draft"


def test_batches_are_found_by_state_words_and_number(browser, version, bench):
    draft = bench.plan(version, "20", title="Morning")
    made = bench.make(version, "10", title="Evening")
    closed = Batch.objects.get(made=made)
    assert "Morning" in text(browser.get("/batches/"))
    assert "Evening" not in text(browser.get("/batches/"))
    assert "Evening" in text(browser.get("/batches/?state=closed"))
    assert "Evening" in text(browser.get(f"/batches/?q={closed.number}"))
    assert "No batch fits" in text(browser.get("/batches/?q=Noon"))
    part = browser.get("/batches/?q=morn", headers={"HX-Request": "true"})
    assert draft.number in text(part)
    assert "<html" not in part.content.decode()


@pytest.mark.parametrize("number", ["B26-0001-X", "x", "26-0001-B", "%00"])
def test_a_number_that_is_none_is_not_there(browser, version, number):
    assert browser.get(f"/batches/{number}/").status_code == 404


def test_what_another_studio_plans_is_not_there(browser, version, bench, stranger):
    batch = bench.plan(version, "20")
    other = signed_in(stranger)
    assert other.get(f"/batches/{batch.number}/").status_code == 404
    assert other.get("/batches/plan/?formula=meadow").status_code == 404
    for verb in ("plan", "reserve", "void", "instead"):
        answer = other.post(f"/batches/{batch.number}/{verb}/", {"why": "x", "mass": "5"})
        assert answer.status_code == 404
    batch.refresh_from_db()
    assert batch.state == "draft"


def test_a_reader_sees_batches_and_changes_none(version, bench, reader):
    batch = bench.plan(version, "20")
    browser = signed_in(reader)
    page = text(browser.get(f"/batches/{batch.number}/"))
    assert "Reserve everything" not in page
    assert "Give this batch up" not in page
    for verb in ("plan", "reserve", "void", "instead"):
        assert browser.post(f"/batches/{batch.number}/{verb}/", {"why": "x"}).status_code == 403
    assert browser.get("/batches/plan/").status_code == 403


def test_the_number_of_statements_does_not_grow_with_the_batch(browser, bench):
    bench.balance()
    bench.bottle("ethanol 900g")
    for letter in "abcdefghij":
        bench.bottle(f"odorant-{letter} 20g")
    counts = []
    for letters in ("ab", "abcdefghij"):
        version = bench.formula(letters, *(f"odorant-{letter} 1" for letter in letters), "ethanol 5")
        draft = bench.plan(version, "20")
        begun = bench.reserve(bench.plan(version, "20"))
        bench.weigh(begun, 1, str(begun.lines.get(position=1).target))
        made = Batch.objects.get(made=bench.make(version, "20"))
        found = []
        for number in (draft.number, begun.number, made.number):
            with CaptureQueriesContext(connection) as counted:
                assert browser.get(f"/batches/{number}/").status_code == 200
            found.append(len(counted))
        with CaptureQueriesContext(connection) as counted:
            assert browser.get("/batches/?state=all").status_code == 200
        counts.append([*found, len(counted)])
    assert counts[0] == counts[1]
    assert counts[1] == COUNTS


COUNTS = [11, 13, 16, 4]
"""Statements of the page of a draft, of a batch being weighed, of a closed one, and of the list."""
