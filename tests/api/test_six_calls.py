"""From an empty studio to a closed batch in six calls, every answer held to its description."""

from typing import Any

import pytest

from tests.api.contract import CheckedApi
from tests.api.sheets import send
from tests.workbench import assert_everything_holds

MATERIALS = """name,kind,cas
linalool,odorant,78-70-6
vanillin,odorant,121-33-5
ethanol,solvent,64-17-5
"""
BOTTLES = """material,mass,strength,solvent,price
linalool,30,0.1,ethanol,6
vanillin,20,0.1,ethanol,5
ethanol,500,,,9
"""
FORMULAS = """formula,name,material,strength,solvent,parts
accord-1,First accord,linalool,0.1,ethanol,3
accord-1,,vanillin,0.1,ethanol,2
accord-1,,ethanol,,,5
"""


class Counting(CheckedApi):
    """Counts its calls."""

    calls = 0

    def call(self, *args: Any, **more: Any) -> Any:
        self.calls += 1
        answer = super().call(*args, **more)
        assert answer.status_code in (200, 201), answer.content
        return answer


@pytest.fixture
def counting(owner: Any, key_of: Any) -> Counting:
    return Counting(key_of(owner))


def poured(batch: Any) -> dict[str, Any]:
    """Every line of a batch poured to its target."""
    lines = batch["lines"]
    return {
        "weighings": [
            {"position": line["position"], "lot": line["lot"], "mass": line["target"]} for line in lines
        ]
    }


def test_six_calls_lead_from_an_empty_studio_to_a_closed_batch(counting: Counting) -> None:
    api = counting
    send(api, "materials/import/", MATERIALS)
    send(api, "bottles/import/", BOTTLES)
    send(api, "formulas/import/", FORMULAS)
    batch = api.post("batches/", {"formula": "accord-1", "mass": "20", "reserve": True}).json()
    number = batch["batch"]["number"]
    in_hand = api.post(f"batches/{number}/weighings/", poured(batch)).json()
    assert {line["state"] for line in in_hand["lines"]} == {"done"}
    closed = api.post(f"batches/{number}/close/").json()
    assert api.calls == 6
    assert closed["batch"]["state"] == "closed"
    assert closed["made"]["on_hand"] == "20.000000"
    assert closed["made"]["actual_strength"] == "0.05"
    assert closed["made"]["cost_per_gram"] == "0.119000000"
    assert_everything_holds()


def test_a_formula_can_be_written_by_the_ids_that_the_import_answers(counting: Counting) -> None:
    api = counting
    ids = {row["name"]: row["id"] for row in send(api, "materials/import/", MATERIALS).json()["written"]}
    send(api, "bottles/import/", BOTTLES)
    lines = [
        {"material": ids["linalool"], "strength": "0.1", "solvent": ids["ethanol"], "parts": "3"},
        {"material": ids["ethanol"], "parts": "7"},
    ]
    api.post("formulas/", {"code": "light", "name": "Light", "lines": lines})
    batch = api.post("batches/", {"formula": "light", "mass": "10", "reserve": True}).json()
    number = batch["batch"]["number"]
    api.post(f"batches/{number}/weighings/", poured(batch))
    assert api.post(f"batches/{number}/close/").json()["batch"]["state"] == "closed"
    assert api.calls == 6


def test_what_follows_the_batch_is_as_it_is_described_too(counting: Counting) -> None:
    api = counting
    test_six_calls_lead_from_an_empty_studio_to_a_closed_batch(api)
    [batch] = api.all("batches/")
    made = api.get(f"lots/{batch['made']}/").json()
    assert made["made_in"] == batch["number"]
    vial = api.post(f"lots/{made['number']}/draw-off/", {"mass": "1.5", "title": "strip"}).json()
    for what in ("contents", "cautions", "certainty", "claims", "trace"):
        assert api.get(f"lots/{vial['number']}/{what}/").json()
    bottle = api.all("bottles/")[0]
    forward = api.get(f"lots/{bottle['number']}/trace/?direction=forward").json()
    assert {lot["number"] for lot in forward["lots"]} == {made["number"], vial["number"]}
    assert api.get(f"batches/{batch['number']}/record/").json()["record"]["made"]["lot"] == made["number"]
    assert {move["reason"] for move in api.all("movements/")} == {"received", "weighed in", "drawn off"}
