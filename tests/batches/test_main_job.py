"""The main job over the API, from bottles to a traced vial, as a studio does it."""

from decimal import Decimal
from typing import Any

from tests.workbench import assert_everything_holds


def test_from_bottles_to_a_traced_vial(api: Any) -> None:
    linalool = created(api.post("materials/", {"name": "linalool", "cas": "78-70-6"}))["id"]
    vanillin = created(api.post("materials/", {"name": "vanillin", "cas": "121-33-5"}))["id"]
    ethanol = created(api.post("materials/", {"name": "ethanol", "kind": "solvent"}))["id"]
    for material, mass in ((linalool, "100"), (vanillin, "50"), (ethanol, "1000")):
        created(api.post("bottles/", {"material": material, "mass": mass, "price": "10.00"}))

    stocks = [make_stock(api, material, ethanol, "0.1", "40") for material in (linalool, vanillin)]
    assert stocks[0]["actual_strength"] == "0.1"

    created(
        api.post(
            "formulas/",
            {
                "code": "accord-1",
                "name": "First accord",
                "lines": [
                    {"material": linalool, "strength": "0.1", "solvent": ethanol, "parts": "3"},
                    {"material": vanillin, "strength": "0.1", "solvent": ethanol, "parts": "2"},
                    {"material": ethanol, "parts": "5"},
                ],
            },
        )
    )
    batch = created(api.post("batches/", {"formula": "accord-1", "mass": "20", "reserve": True}))
    number = batch["batch"]["number"]
    assert batch["batch"]["state"] == "reserved"
    assert [line["target"] for line in batch["lines"]] == ["6.000000", "4.000000", "10.000000"]
    poured = ["6.010", "3.990", "10.002"]
    weighings = [
        {"position": line["position"], "lot": line["lot"], "mass": mass}
        for line, mass in zip(batch["lines"], poured, strict=True)
    ]
    in_hand = created(api.post(f"batches/{number}/weighings/", {"weighings": weighings}))
    assert [line["state"] for line in in_hand["lines"]] == ["done", "done", "done"]

    closed = api.post(f"batches/{number}/close/")
    assert closed.status_code == 200, closed.content
    blend = closed.json()["made"]
    assert blend["on_hand"] == "20.002000"

    vial = created(api.post(f"lots/{blend['number']}/draw-off/", {"mass": "2", "title": "for the strip"}))
    contents = api.get(f"lots/{vial['number']}/contents/").json()["contents"]
    by_name = {content["name"]: Decimal(content["fraction"]) for content in contents}
    assert by_name["linalool"] == (Decimal("0.601") / Decimal("20.002")).quantize(Decimal("1e-9"))
    assert sum(by_name.values()) == 1

    trace = api.get(f"lots/{vial['number']}/trace/").json()
    bottles = [lot for lot in trace["lots"] if lot["kind"] == "bottle"]
    assert len(bottles) == 3
    assert abs(sum(Decimal(lot["mass"]) for lot in bottles) - 2) < Decimal("0.000005")
    forward = api.get(f"lots/{bottles[0]['number']}/trace/?direction=forward").json()
    assert vial["number"] in {lot["number"] for lot in forward["lots"]}
    record = api.get(f"batches/{number}/record/").json()
    assert record["seal"]
    assert "First accord" in record["text"]
    assert_everything_holds()


def make_stock(api: Any, material: str, solvent: str, strength: str, mass: str) -> Any:
    wanted = {"material": material, "solvent": solvent, "strength": strength, "mass": mass, "reserve": True}
    batch = created(api.post("batches/", wanted))
    number = batch["batch"]["number"]
    weighings = [
        {"position": line["position"], "lot": line["lot"], "mass": line["target"]} for line in batch["lines"]
    ]
    created(api.post(f"batches/{number}/weighings/", {"weighings": weighings}))
    return api.post(f"batches/{number}/close/").json()["made"]


def created(answer: Any) -> Any:
    assert answer.status_code == 201, answer.content
    return answer.json()
