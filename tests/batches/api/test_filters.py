"""What the filters and the search of formulas and batches find."""

from datetime import date
from typing import Any

import pytest

from batches.actions.formulas import adopt_as_base
from batches.actions.reserving import void_batch
from tests.workbench import Workbench


@pytest.fixture
def made(bench: Workbench) -> dict[str, str]:
    """Batches of every kind and state, by what is special about each."""
    for text in ("linalool 100g", "ethanol 500g", "linalool@10% 100g"):
        bench.bottle(text)
    rose = bench.formula("rose-1", "linalool@10% 3", "ethanol 7", name="Rose, light")
    soft = bench.formula("soft", "linalool@10% 1", name="Soft base")
    adopt_as_base(by=bench.by, now=bench.now, version=soft, name="soft base")
    batches = {
        "draft": bench.plan(rose, "5", planned_on=date(2026, 4, 1)),
        "titled": bench.plan(rose, "6", title="For the fair"),
        "base": bench.plan(soft, "7"),
        "stock": bench.plan_stock("linalool@1% 8g"),
    }
    bench.reserve(batches["titled"])
    bench.reserve(batches["stock"])
    bench.weigh_all(batches["stock"])
    bench.close(batches["stock"])
    void_batch(by=bench.by, now=bench.now, number=batches["base"].number, why="no vessel")
    return {name: batch.number for name, batch in batches.items()} | {
        "linalool": str(bench.materials["linalool"].id)
    }


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", "draft titled base stock"),
        ("state=draft", "draft"),
        ("state=closed&state=void", "base stock"),
        ("kind=blend", "draft titled"),
        ("kind=stock", "stock"),
        ("formula=rose-1", "draft titled"),
        ("formula=ROSE-1", "draft titled"),
        ("formula=rose", ""),
        ("material={linalool}", "stock"),
        ("planned_before=2026-04-01", ""),
        ("planned_before=2026-04-02", "draft"),
        ("search=fair", "titled"),
        ("search=rose light", "draft"),
        ("search={stock}", "stock"),
    ],
)
def test_batches_are_found_by_state_kind_formula_and_words(
    api: Any, made: dict[str, str], query: str, expected: str
) -> None:
    rows = api.all(f"batches/?ordering=number&{query.format(**made)}")
    assert [row["number"] for row in rows] == sorted(made[name] for name in expected.split())


@pytest.mark.parametrize(
    ("query", "codes"),
    [
        ("", ["rose-1", "soft"]),
        ("is_base=true", ["soft"]),
        ("is_base=false", ["rose-1"]),
        ("search=ROSE", ["rose-1"]),
        ("search=base soft", ["soft"]),
        ("search=light 1", ["rose-1"]),
    ],
)
def test_formulas_are_found_by_words_and_by_being_a_base(
    api: Any, made: dict[str, str], query: str, codes: list[str]
) -> None:
    assert [row["code"] for row in api.all(f"formulas/?{query}")] == codes


def test_a_code_in_an_address_is_read_in_any_case(api: Any, made: dict[str, str]) -> None:
    for path in ("formulas/ROSE-1/", "formulas/Rose-1/versions/", "formulas/ROSE-1/versions/1/"):
        assert api.get(path).status_code == 200
    assert api.get("formulas/ROSE-1/").json()["code"] == "rose-1"


def test_weighings_are_listed_in_the_order_of_their_recording_struck_ones_too(
    api: Any, bench: Workbench, made: dict[str, str]
) -> None:
    number = made["titled"]
    [line, _] = api.get(f"batches/{number}/").json()["lines"]
    for mass in ("0.5", "0.7"):
        reading = {"position": 1, "lot": line["lot"], "mass": mass, "confirmed": True}
        api.post(f"batches/{number}/weighings/", {"weighings": [reading]})
    first = api.all(f"batches/{number}/weighings/")[0]
    api.post(f"batches/{number}/weighings/{first['id']}/strike/", {"why": "slip"})
    rows = api.all(f"batches/{number}/weighings/?ordering=recorded")
    assert [(row["mass"], row["strike_reason"]) for row in rows] == [("0.500000", "slip"), ("0.700000", None)]
