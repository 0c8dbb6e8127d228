"""A studio with something of everything in it, and a sound request for every operation.

Requests are drawn from the description: a body is made of the properties that its schema names, each with a value that
fits it, ids and numbers being those of things that are there. What the schema cannot know, such as that a stock needs
one field and a formula another, stands in `BODIES` and `PLACES`. An operation that is new is drawn like the others; if
its sound request is refused, `test_requests` says so and it gets its entry here.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from batches.actions.documents import ask_for, keep_result, take_up
from batches.actions.formulas import adopt_as_base, write_next_version
from batches.actions.grids import draft_grid
from batches.actions.refusing import Refused, note_refused
from batches.calc.grid import Ratio
from batches.models import Batch, RefusedFor
from batches.queries.wanted_papers import wanted_recall
from inventory.actions.asking import ask_keeper, withdraw_request
from inventory.actions.counting import count_lot
from inventory.actions.drawing_off import draw_off
from inventory.actions.holding import hold_lots
from inventory.actions.lending import lend
from inventory.actions.materials import set_solubility
from inventory.actions.places import add_shelf, check_balance
from inventory.actions.placing import change_lot
from inventory.models import Lot, Movement, Wish
from studio.actions.inviting import invite
from studio.actions.running import next_number
from studio.actions.webhooks import add_webhook, try_webhook
from studio.models import Alert, Member, SealedRecord
from tests.api.asked import BODIES, LONG_AGO, PLACES, VALUES
from tests.api.contract import Operation, Schema, as_text, kinds, resolved
from tests.api.world_of_panels import furnish_panels
from tests.api.world_of_plans import furnish_buying, furnish_remakes
from tests.api.world_of_smelling import furnish_smelling
from tests.conftest import NOW
from tests.workbench import Workbench


@dataclass
class World:
    """A studio, its people, and what stands in it by name; `names` hold what the API calls things."""

    owner: Member
    maker: Member
    reader: Member
    names: dict[str, str] = field(default_factory=dict)
    seal: str = ""
    """The seal of the closed batch's record."""

    def place(self, operation: Operation) -> dict[str, str]:
        """The values of the parameters in the path."""
        state = PLACES.get(operation.name, "")
        names = operation.parameters("path")
        return {
            name: self.named(name, operation.tag, state if name == "number" or len(names) == 1 else "")
            for name in names
        }

    def named(self, parameter: str, tag: str, state: str = "") -> str:
        if state:
            return self.names[state]
        if parameter == "day":
            return NOW.date().isoformat()
        if parameter == "number":
            return self.names[
                {"lots": "lot", "batches": "closed", "formulas": "version", "grids": "grid"}[tag]
            ]
        if parameter in self.names:
            return self.names[parameter]
        return self.names[parameter.removesuffix("_id")]

    def address(self, operation: Operation, **instead: str) -> str:
        """The path with its parameters filled in, some of them with something else."""
        return operation.path.format(**{**self.place(operation), **instead})

    def bodies(self, operation: Operation) -> Iterator[dict[str, Any]]:
        """Sound bodies for an operation, one for each way there is to ask it."""
        schema = operation.body
        if schema is None:
            return
        for changes in BODIES.get(operation.name, [{}]):
            yield self._changed(self._drawn(schema, operation.name), changes)

    def query(self, operation: Operation) -> dict[str, str]:
        """A sound value for every query parameter."""
        drawn = {
            name: self.value(name, schema, operation.name)
            for name, schema in operation.parameters("query").items()
        }
        return {name: as_text(value) for name, value in drawn.items() if value is not None}

    def value(self, name: str, schema: Schema, operation: str = "") -> Any:
        """A value for a property, parameter or item of this name; None when it is better left out."""
        schema = resolved(schema)
        if operation == "panels_answers_create" and name == "code":
            return int(self.names["number on the tray"])
        if operation in ("strips_create", "blind_sets_smellings") and name == "code":
            return int(self.names["code on a vial"])
        if name in VALUES and kinds(schema) != {"object"}:
            return VALUES[name]
        if name == "seal":
            return self.seal
        if operation in ("grids_layout", "grids_create") and name == "solvent":
            return self.names["ethanol lot"]
        if operation == "batches_weighings_create" and name == "lot":
            return self.names["poured lot"]
        if name == "lots":
            return [self.names["lot"], self.names["stock"]]
        if name.endswith("_mm"):
            return {"page_width_mm": "210", "page_height_mm": "297"}.get(name, "20")
        if name in ("side_a", "side_b"):
            return [self.names["lot" if name == "side_a" else "stock"]]
        if name in self.names and kinds(schema) & {"string", "integer"}:
            return self.names[name]
        return self._by_kind(name, schema, operation)

    def _by_kind(self, name: str, schema: Schema, operation: str) -> Any:
        if "enum" in schema:
            return schema["enum"][0]
        match sorted(kinds(schema) - {"null"})[0]:
            case "object":
                return self._drawn(schema, operation)
            case "array":
                return [self.value(name, schema["items"], operation)]
            case "boolean":
                return False
            case "integer":
                return max(1, schema.get("minimum", 1))
            case "number":
                return 1
        if schema.get("format") == "date-time":
            return LONG_AGO
        return schema.get("examples", ["some text"])[0]

    def _drawn(self, schema: Schema, operation: str) -> dict[str, Any]:
        drawn = {
            name: self.value(name, inner, operation) for name, inner in schema.get("properties", {}).items()
        }
        return {name: value for name, value in drawn.items() if value is not None}

    def _changed(self, body: dict[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
        changed = dict(body)
        for name, value in changes.items():
            if value is None:
                changed.pop(name, None)
            elif isinstance(value, list) and value and isinstance(value[0], dict):
                changed[name] = [self._changed(body[name][0], inner) for inner in value]
            else:
                changed[name] = self.names.get(value, value) if isinstance(value, str) else value
        return changed


def furnished(owner: Member, maker: Member, reader: Member, *, apart: int = 0) -> World:
    """A world in which every operation has something to work on.

    So many lots and batches come `apart` before the others, so that numbers differ from those of another studio.
    """
    bench = Workbench(owner, NOW)
    world = World(owner, maker, reader)
    names = world.names
    for _ in range(apart):
        bench.bottle("filler 1g")
    linalool = bench.material(
        "linalool", cas="78-70-6", density_g_ml=Decimal("0.862"), hazards=["H315", "H317"]
    )
    ethanol = bench.material(
        "ethanol", density_g_ml=Decimal("0.7893"), flash_point_c=Decimal(13), hazards=["H225"]
    )
    bench.material("vanillin")
    names |= {"material": str(linalool.id), "solvent": str(ethanol.id), "ethanol": str(ethanol.id)}
    set_solubility(by=owner, now=NOW, material=linalool, solvent=ethanol, limit=Decimal("0.9"))
    names["keeper"] = str(maker.id)
    shelf = add_shelf(by=owner, now=NOW, name="cold", keeper=maker)
    names["shelf"] = str(shelf.id)
    balance = bench.balance()
    check_balance(
        by=owner,
        now=NOW,
        balance=balance,
        reference=Decimal(100),
        reading=Decimal(100),
        allowed_error=Decimal("0.01"),
    )
    names["balance"] = str(balance.id)
    lot = bench.bottle(
        "linalool 100g", tare=Decimal(10), capacity_ml=Decimal(200), shelf=shelf, price=Decimal(8)
    )
    names["ethanol lot"] = bench.bottle("ethanol 500g", price=Decimal(5)).number
    bench.bottle("vanillin 50g")
    names["lot"] = lot.number
    names["stock"] = bench.stock("linalool@10% 40g").number
    bench.stock("vanillin@10% 40g")
    _formulas(bench, names, f"accord-{apart}")
    _batches(bench, world, apart)
    furnish_buying(bench, names, apart)
    names |= {"grid": _grid(bench, names).number, "place": "1"}
    vial = draw_off(by=owner, now=NOW, number=names["made"], mass=Decimal(1))
    names["vial"] = vial.number
    names["document"] = str(_made_document(owner, names["lot"]))
    held = bench.bottle("vanillin 5g")
    hold_lots(by=owner, now=NOW, lot_ids=[held.id], why="cloudy")
    names["held"] = held.number
    count_lot(by=owner, now=NOW, number=held.number, gross=Decimal(12), tare=Decimal(10))
    _sharing(bench, world)
    names["alert"] = str(Alert.objects.of(owner.studio).order_by("id")[0].pk)
    webhook, _ = add_webhook(by=owner, at=NOW, url="https://hooks.example.org/stillroom")
    try_webhook(by=owner, at=NOW, webhook_id=webhook.pk)
    names["webhook"] = str(webhook.pk)
    names["movement"] = str(Movement.objects.of(owner.studio).order_by("-id")[0].id)
    furnish_remakes(owner, names)
    furnish_panels(owner, maker, names)
    furnish_smelling(owner, maker, names)
    return world


def _made_document(owner: Member, lot: str) -> int:
    document = ask_for(by=owner, now=NOW, wanted=wanted_recall(studio=owner.studio, number=lot))
    taken = take_up(now=NOW, document_id=document.pk)
    assert taken is not None
    assert keep_result(now=NOW, document=taken, data=b"%PDF-1.7 not printed here")
    return document.pk


def _formulas(bench: Workbench, names: dict[str, str], code: str) -> None:
    base = bench.formula("soft-base", "linalool@10% 1", "vanillin@10% 1")
    adopt_as_base(by=bench.by, now=bench.now, version=base, name="soft base")
    lines = ["linalool@10% 3", "vanillin@10% 2", "ethanol 5"]
    version = bench.formula(code, *lines)
    write_next_version(
        by=bench.by,
        now=bench.now,
        formula=version.formula,
        lines=[bench.line(text) for text in [*lines[:2], "ethanol 6"]],
    )
    names |= {"formula": code, "code": code, "version": "2"}


def _sharing(bench: Workbench, world: World) -> None:
    """Lots of two keepers: one that is asked of the owner, one that the owner asks for, one that is lent."""
    owner, maker, names = world.owner, world.maker, world.names
    mine = bench.bottle("vanillin 5g", keeper=owner)
    asked = ask_keeper(by=maker, now=NOW, lot=mine, wish=Wish.SOME, mass=Decimal(2))
    theirs = bench.bottle("rose oxide 5g", keeper=maker)
    change_lot(by=maker, now=NOW, lot=theirs, changes={"ask_above": Decimal("0.5")})
    own = ask_keeper(by=owner, now=NOW, lot=theirs, wish=Wish.LOAN, until=date(2099, 12, 31))
    withdrawn = ask_keeper(by=owner, now=NOW, lot=theirs, wish=Wish.SOME, mass=Decimal(1))
    withdraw_request(by=owner, now=NOW, request_id=withdrawn.id)
    lent = bench.bottle("vanillin 6g", tare=Decimal(10))
    loan = lend(by=owner, now=NOW, lot=lent, to=maker, due_on=date(2099, 12, 31))
    draft = bench.plan(bench.formula("unasked", "rose oxide 1"), "2")
    names |= {
        "request": str(asked.id),
        "own request": str(own.id),
        "loan_id": str(loan.id),
        "maker's lot": bench.bottle("hexanol 5g", keeper=maker).number,
        "held elsewhere": mine.number,
        "to": str(maker.id),
        "asker": str(maker.id),
        "borrower": str(maker.id),
        "unasked": draft.number,
        "member_id": str(maker.id),
        "invitation_id": str(invite(by=owner, email="noor@example.org", role="maker", at=NOW)[0].id),
    }


def _grid(bench: Workbench, names: dict[str, str]) -> Batch:
    """A reserved grid of two vials."""
    lots = {lot.number: lot for lot in Lot.objects.of(bench.by.studio)}
    grid = draft_grid(
        by=bench.by,
        now=NOW,
        side_a=[lots[names["stock"]]],
        side_b=[lots[names["lot"]], lots[names["ethanol lot"]]],
        ratios=[Ratio(Decimal(1), Decimal(1))],
        vial_mass=Decimal(1),
    )
    return bench.reserve(grid)


def _batches(bench: Workbench, world: World, apart: int) -> None:
    names = world.names
    version = bench.formula("simple", "linalool@10% 3", "ethanol 5")
    for _ in range(apart):
        next_number(studio=world.owner.studio, sort="batch", year=NOW.year)
    names["draft"] = bench.plan(version, "2").number
    reserved = bench.plan(version, "2")
    bench.reserve(reserved)
    names["reserved"] = reserved.number
    names["poured lot"] = reserved.lines.select_related("lot").get(position=1).lot.number
    weighing = bench.plan(version, "2")
    bench.reserve(weighing)
    names["weighing_id"] = str(bench.weigh(weighing, 1, "0.8").id)
    names["weighing"] = weighing.number
    refused = Refused(
        operation="refused", position=1, kind=RefusedFor.UNCLEAR, told="1,000", why="May be two."
    )
    note_refused(by=bench.by, now=NOW, number=weighing.number, refused=refused, at=NOW)
    weighed = bench.plan(version, "2")
    bench.reserve(weighed)
    bench.weigh_all(weighed)
    names["weighed"] = weighed.number
    closed = bench.plan(version, "4")
    bench.reserve(closed)
    bench.weigh_all(closed)
    names["made"] = bench.close(closed).number
    names["closed"] = closed.number
    world.seal = SealedRecord.objects.get(studio=world.owner.studio, name=closed.number).seal
