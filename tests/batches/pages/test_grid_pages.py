"""A grid by its pages: laid out while one types, planned, weighed at the bench, put right, closed, and labelled."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.models import Batch
from batches.queries.grids import vial_lots
from studio.models import Member
from tests.pages import Visitor, text
from tests.workbench import Workbench, assert_everything_holds

pytestmark = pytest.mark.django_db


@pytest.fixture
def visitor(owner: Member) -> Visitor:
    return Visitor(owner)


@pytest.fixture
def shelf(bench: Workbench) -> dict[str, str]:
    bench.balance(readability="0.0001")
    told = ("linalool@1%/ethanol 20g", "vanillin@10%/ethanol 20g", "geraniol@10%/ethanol 20g", "ethanol 90g")
    names = ("linalool", "vanillin", "geraniol", "ethanol")
    return {name: bench.bottle(lot).number for name, lot in zip(names, told, strict=True)}


def asked(shelf: dict[str, str], a: str = "linalool", b: str = "vanillin geraniol", **told: str) -> dict:
    sides = {"side_a": a, "side_b": b}
    lines = {side: "\n".join(shelf[name] for name in names.split()) for side, names in sides.items()}
    return {**lines, "ratios": "1:1", "vial_mass": "2", "do": "plan", **told}


def test_figures_come_while_one_types_and_say_what_is_wrong(visitor: Visitor, shelf: dict[str, str]) -> None:
    told = text(visitor.client.post("/grids/figures/", asked(shelf)))
    assert "2 vials ; all of it is there" in told
    assert "0.500 % 5.000 %" in told
    told = text(visitor.client.post("/grids/figures/", asked(shelf, vial_mass="50")))
    assert "is short by 30 g" in told
    assert "no ratio" in text(visitor.client.post("/grids/plan/", asked(shelf, ratios="3-1")))
    answer = visitor.client.post("/grids/plan/", asked(shelf) | {"side_b": "26-9999"})
    assert answer.status_code == 422
    assert "“26-9999” is no lot of this studio" in text(answer)
    added = visitor.client.post("/grids/plan/", asked(shelf, do="add-b", lot=f"{shelf['ethanol']} ethanol"))
    assert f"{shelf['ethanol']} ethanol</textarea>" in added.content.decode()
    assert not Batch.objects.exists()


def test_a_grid_is_planned_reserved_weighed_put_right_and_closed_by_its_pages(
    visitor: Visitor, shelf: dict[str, str], bench: Workbench
) -> None:
    page = visitor.send("/grids/plan/", **asked(shelf))["Location"]
    batch = Batch.objects.get()
    assert visitor.client.post(f"{page}reserve/", {"once": visitor.key(page)}).status_code == 303
    assert "Vial 1: linalool" in visitor.text(f"{page}bench/")
    assert "into vial 1" in visitor.text(f"{page}bench/")
    bench.weigh(batch, 1, "1.0")
    told = visitor.send_and_follow(f"/grids/{batch.number}/vials/1/", do="anew", why="spilt")
    assert "left out spilt" in told
    assert "attempt 2" in told
    for position in (2, 4, 5, 6):
        bench.weigh(batch, position, "1.0")
    assert "Everything is poured" in visitor.text(f"{page}bench/")
    closed = visitor.send_and_follow(f"{page}bench/close/", title="", shelf="", tare="", capacity_ml="")
    assert "Labels of all vials" in closed
    assert "0.500 %" in closed
    vials = list(vial_lots(bench.by.studio, batch.number))
    assert len(vials) == 2
    labels = visitor.get(f"/labels/?lot={vials[0].number}&lot={vials[1].number}")
    assert vials[1].number in labels.content.decode()
    for address in ("/", "/batches/?state=all", "/grids/", f"{page}bench/", f"/lots/{vials[0].number}/"):
        assert visitor.get(address).status_code == 200
    assert_everything_holds()


def test_the_page_of_a_grid_costs_the_same_statements_for_few_vials_and_many(
    visitor: Visitor, shelf: dict[str, str]
) -> None:
    costs = []
    for ratios in ("1:1", "1:1, 2:1, 1:2, 3:1, 1:3"):
        page = visitor.send("/grids/plan/", **asked(shelf, ratios=ratios, vial_mass="0.5"))["Location"]
        visitor.client.post(f"{page}reserve/", {"once": visitor.key(page)})
        for address in (page, f"{page}bench/"):
            with CaptureQueriesContext(connection) as captured:
                visitor.get(address)
            costs.append(len(captured))
    assert costs[:2] == costs[2:]
    assert Batch.objects.order_by("-id")[0].mass == Decimal(5)
