"""Every list: all of it by pages whatever the order, in a fixed number of statements, within the bounds of a page."""

import csv
import io
import itertools
import re
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches.actions.blind_smelling import set_up_blind
from batches.actions.documents import ask_for
from batches.actions.formulas import write_next_version
from batches.actions.grids import draft_grid
from batches.actions.refusing import Refused, note_refused
from batches.actions.smelling import Said, dip, note_smelling
from batches.calc.grid import Ratio
from batches.models import Batch, Formula, Panel, PanelMethod, RefusedFor
from batches.queries.wanted_papers import wanted_recall
from inventory.actions.asking import ask_keeper
from inventory.actions.buying import OfferedPack, add_offer, add_supplier
from inventory.actions.lending import lend
from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.pars import WantedPar, set_pars
from inventory.actions.places import add_shelf, check_balance
from inventory.actions.purchases import note_purchase
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import Balance, Lot, Wish
from studio.actions.inviting import invite
from studio.actions.studios import add_member
from studio.actions.webhooks import add_webhook, end_webhook, try_webhook
from studio.models import Role, Webhook
from tests.api.contract import Operation, of_floors
from tests.api.world import World
from tests.api.world_of_panels import answer, panel_for
from tests.conftest import PASSWORD
from tests.workbench import Workbench

LISTS = [one for one in of_floors() if one.is_list]
FEW, MANY = 3, 30


def orderings(operation: Operation) -> list[str]:
    """The names that a list can be ordered by, as its description has them."""
    pattern: str = operation.parameters("query")["ordering"]["pattern"]
    return pattern.removeprefix("^-?(").partition(")")[0].split("|")


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_the_pages_of_a_list_are_all_of_it_once_in_every_order(
    operation: Operation, world: World, client_of: Any
) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    names = orderings(operation)
    assert names
    orders = [*names, *(f"-{name}" for name in names[::2]), ",-".join(names[:2][::-1])]
    for order, limit in zip(orders, itertools.cycle((2, 5))):
        whole = api.get(f"{address}?ordering={order}&limit=200").json()
        assert whole["next"] is None
        assert paged(api, f"{address}?ordering={order}&limit={limit}") == whole["items"], order
        in_order(whole["items"], order)


def paged(api: Any, path: str) -> list[Any]:
    """The rows of all pages; a page that leads back to itself ends in a failure, not never."""
    rows: list[Any] = []
    seen: set[str] = set()
    following: str | None = path
    while following is not None:
        assert following not in seen, "the pages go round in a circle"
        seen.add(following)
        page = api.get(following).json()
        rows += page["items"]
        following = page["next"]
    return rows


def in_order(rows: list[Any], order: str) -> None:
    """Rows stand in the order of the first name, where they show it: empty values last, whichever the direction."""
    name = order.partition(",")[0]
    field = name.removeprefix("-")
    if not rows or field not in rows[0]:
        return
    values = [row[field] for row in rows]
    filled = [value for value in values if value is not None]
    assert values == filled + [None] * (len(values) - len(filled)), order
    if connection.vendor == "postgresql" and field in ("name", "title", "code"):
        return  # Its order of texts is that of the database's language.
    keys = [Decimal(value) if re.fullmatch(r"-?\d+\.\d+", str(value)) else value for value in filled]
    assert keys == sorted(keys, reverse=name.startswith("-")), order


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_a_page_has_its_bounds(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    assert len(api.get(f"{address}?limit=1").json()["items"]) == 1
    for limit in ("0", "201", "-1", "1.0", "", "all"):
        answer = api.get(f"{address}?limit={limit}")
        assert answer.status_code == 400
        assert "limit" in answer.json()["errors"]


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_a_list_as_a_sheet_has_every_row(operation: Operation, world: World, client_of: Any) -> None:
    api = client_of(world.owner)
    address = world.address(operation)
    answer = api.get(f"{address}?format=csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"].startswith('attachment; filename="')
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode("utf-8-sig"))))
    if operation.name == "formulas_list":
        assert len({row["formula"] for row in rows}) == len(api.all(address))
    else:
        assert len(rows) == len(api.all(address))
    assert api.get(f"{address}?format=csv&limit=1").status_code == 400


def test_a_list_costs_the_same_statements_whatever_it_holds(bench: Workbench, api_of: Any) -> None:
    api = api_of(bench.by)
    api.get("shelves/")  # A key notes its first use.
    places = {
        "code": "grown",
        "number": "",
        "balance_id": str(bench.balance().id),
    }
    bench.bottle("linalool 500g")
    bench.bottle("ethanol 5g")
    sitter = add_member(
        by=bench.by, name="Sitter", email="sits@example.org", password=PASSWORD, role=Role.MAKER, at=bench.now
    )
    panel = panel_for(bench.by, [sitter], **triangle_of(bench), title="grown", answers=FEW + MANY + 1)
    batch = bench.plan(bench.formula("grown", "linalool 3"), "100")
    webhook, _ = add_webhook(by=bench.by, at=bench.now, url="https://hooks.example.org/first")
    bench.reserve(batch)
    grow(bench, FEW, batch)
    blind = set_up_blind(by=sitter, now=bench.now, title="grown", lots=[batch_lot(bench)] * (FEW + MANY))
    places |= {"set_id": str(blind.pk), "lot": batch_lot(bench).number}
    places |= {"panel_id": str(panel.pk), "number": batch.number, "webhook_id": str(webhook.pk)}
    few = {str(operation): cost(api, operation, places) for operation in LISTS}
    grow(bench, MANY, batch)
    for operation in LISTS:
        rows, statements = cost(api, operation, places)
        assert rows >= MANY, f"{operation} has {rows} rows; let `grow` make more of them"
        assert statements == few[str(operation)][1], operation


def cost(api: Any, operation: Operation, places: dict[str, str]) -> tuple[int, list[int]]:
    """How many rows a list has, and how many statements its first page and its sheet take."""
    smelled = {"number": places["lot"]} if operation.tag == "vials" else {}
    address = operation.path.format(**{**places, **smelled})
    statements = []
    for form in ("?limit=200", "?format=csv"):
        with CaptureQueriesContext(connection) as captured:
            answer = api.get(address + form)
            if answer.streaming:
                list(answer.streaming_content)
        statements.append(len(captured))
    return len(api.all(f"{address}?limit=200")), statements


def grow(bench: Workbench, count: int, batch: Batch) -> None:
    """So many more of everything that there are lists of, each with all it can name."""
    by, now = bench.by, bench.now
    formula = Formula.objects.of(by.studio).get(code="grown")
    for _ in range(count):
        made = next(NUMBERS)
        [material] = add_materials(
            by=by, now=now, cards=[MaterialCard(name=f"resin {made}", hazards=["H315"])]
        )
        shelf = add_shelf(by=by, now=now, name=f"shelf {made}", keeper=by)
        balance = bench.balance(f"balance {made}")
        check_balance(
            by=by,
            now=now,
            balance=Balance.objects.of(by.studio).order_by("id")[0],
            reference=Decimal(100),
            reading=Decimal(100),
            allowed_error=Decimal("0.01"),
        )
        details: dict[str, Any] = {"shelf": shelf, "keeper": by, "solvent": bench.material("ethanol")}
        bottle = Bottle(
            material=material, mass=Decimal(5), strength=Decimal("0.5"), price=Decimal(3), **details
        )
        [kept] = receive_bottles(by=by, now=now, bottles=[bottle])
        other = add_member(
            by=by, name="Other", email=f"other-{made}@example.org", password=PASSWORD, role=Role.MAKER, at=now
        )
        invite(by=by, email=f"guest-{made}@example.org", role=Role.MAKER, at=now)
        ask_keeper(by=other, now=now, lot=kept, wish=Wish.SOME, mass=Decimal(1))
        lend(by=by, now=now, lot=kept, to=other, due_on=now.date())
        par = WantedPar(material=material, low=Decimal(1), full=Decimal(5))
        set_pars(by=by, now=now, pars=[par])
        supplier = add_supplier(by=by, now=now, name=f"supplier {made}")
        pack = OfferedPack(supplier=supplier, material=material, pack=Decimal(5), price=Decimal(3))
        note_purchase(by=by, now=now, offer=add_offer(by=by, now=now, offered=pack), packs=1)
        version = bench.formula(f"formula-{made}", "linalool 3", "ethanol 5")
        write_next_version(
            by=by, now=now, formula=formula, lines=[bench.line("linalool 3"), bench.line("ethanol 5")]
        )
        bench.plan(version, "2", balance=balance)
        draft_grid(
            by=by,
            now=now,
            side_a=[kept],
            side_b=[batch.lines.get(position=1).lot],
            ratios=[Ratio(Decimal(1), Decimal(1))],
            vial_mass=Decimal(1),
        )
        bench.weigh(batch, 1, "1")
        refused = Refused(
            operation=f"r-{made}", position=1, kind=RefusedFor.UNCLEAR, told="1,000", why="May be two."
        )
        note_refused(by=by, now=now, number=batch.number, refused=refused, at=now)
        ask_for(by=by, now=now, wanted=wanted_recall(studio=by.studio, number=kept.number))
        tell_of(bench)
        smell(bench, made)
        panel = Panel.objects.of(by.studio).order_by("id")[0]
        answer(panel.sitters.get().member, panel, panel.answered + 1)
        panel_for(by, [other], **triangle_of(bench), title=f"panel {made}", answers=3)


def batch_lot(bench: Workbench) -> Lot:
    """The first lot there is."""
    lot: Lot = Lot.objects.of(bench.by.studio).order_by("id")[0]
    return lot


def smell(bench: Workbench, made: int) -> None:
    """A strip, a note with words of its own, and a blind set."""
    lot = batch_lot(bench)
    strip = dip(by=bench.by, now=bench.now, into=lot)
    said = Said(liking=5, words=[f"word {made}", f"other {made}"])
    note_smelling(by=bench.by, now=bench.now, on=strip.pk, said=said)
    set_up_blind(by=bench.by, now=bench.now, title=f"set {made}", lots=[lot, lot])


def triangle_of(bench: Workbench) -> dict[str, Any]:
    """A triangle of the first two lots there are."""
    first, second = Lot.objects.of(bench.by.studio).order_by("id")[:2]
    return {"method": PanelMethod.TRIANGLE, "lot_a": first, "lot_b": second}


def tell_of(bench: Workbench) -> None:
    """Something on its way to the first webhook, and one more that has ended; new balances have raised alerts."""
    by, now = bench.by, bench.now
    first = Webhook.objects.of(by.studio).order_by("id")[0]
    try_webhook(by=by, at=now, webhook_id=first.pk)
    another, _ = add_webhook(by=by, at=now, url="https://hooks.example.org/")
    end_webhook(by=by, at=now, webhook_id=another.pk)


NUMBERS = itertools.count(1)
