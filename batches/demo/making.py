"""Making the batches of the demo studio: each is drafted, reserved and weighed as far as is written, and then ended.

A batch that is only to wait may find no plan that fits the shelf; then it is told, and waits as a draft or is not
begun. Whatever else is refused ends the whole filling.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Unpack

from batches.actions.closing import Filled, close_batch
from batches.actions.planning import Circumstances, draft_formula_batch, draft_stock_batch
from batches.actions.reserving import reserve_batch, void_batch
from batches.actions.weigh_plans import LotPin, Wishes, plan_again
from batches.demo.days import Days
from batches.demo.named import Named
from batches.demo.pouring import Pouring, Slip, pour
from batches.demo.sheets import Cells, Told, number
from batches.models import Batch
from batches.models.weigh_requests import STOCK_LINE
from inventory.models import Lot
from studio.kernel.errors import Conflict
from studio.models import Member

WAITING = ("draft", "reserved")


class Bench:
    """The bench of the demo studio, where everything in `scenario.json` that concerns batches is done."""

    def __init__(
        self, *, named: Named, days: Days, scenario: Told, say: Callable[[str], None] = lambda _: None
    ) -> None:
        self.named = named
        self.days = days
        self.habits: Told = scenario["stock_making"]
        self.connected = {told["key"]: told["connected"] for told in scenario["balances"]}
        self.say = say
        self.stocks_begun = 0

    def make_stock(self, cells: Cells) -> Lot:
        """A dilution of a row of `stocks.csv`, from the draft to the labelled bottle."""
        habits = self.habits
        apart = habits["apart"].get(cells["key"], {})
        members = habits["by"]
        by = self.named.members[members[self.stocks_begun % len(members)]]
        mass = Decimal(cells["mass_g"])
        above = habits["balance_above"]
        balance = above["balance"] if mass > Decimal(above["mass_g"]) else habits["balance"]
        batch = self._draft_stock(by, cells, mass, balance=self.named.balances[balance])
        if cells["parent"]:
            self._pin(by, batch, self.named.stocks[cells["parent"]])
        reserve_batch(by=by, now=self.days.work(2), number=batch.number)
        usual = [Decimal(text) for text in habits["deviations_g"]]
        start = self.stocks_begun % len(usual)
        deviations = {cells["material"]: Decimal(apart["deviation_g"])} if apart else {}
        pouring = Pouring(
            by=by,
            balance=self.named.balances[balance],
            connected=self.connected[balance],
            deviations=deviations,
            other_deviations=usual[start:] + usual[:start],
        )
        pour(batch=batch, pouring=pouring, days=self.days)
        self.stocks_begun += 1
        return self._close(by, batch, {**apart, **cells})

    def make(self, told: Told) -> Batch | None:
        """A batch of the scenario, as far as the state it `ends` in; None when a waiting one could not be planned."""
        by = self.named.members[told["by"]]
        try:
            batch = self.named.batches[told["key"]] = self._draft(by, told)
            if told["ends"] != "draft":
                reserve_batch(by=by, now=self.days.work(2), number=batch.number)
        except Conflict as refusal:
            if told["ends"] not in WAITING:
                raise
            self.say(f"Waiting without a claim: {told['key']}. {refusal.message}")
            return self.named.batches.get(told["key"])
        if told["weigh_lines"]:
            pour(batch=batch, pouring=self._pouring(by, told), days=self.days)
        if told["ends"] == "closed":
            self._close(by, batch, told)
        if told["ends"] == "void":
            void_batch(by=by, now=self.days.work(4), number=batch.number, why=told["why"])
        batch.refresh_from_db()
        return batch

    def _draft(self, by: Member, told: Told) -> Batch:
        mass = Decimal(told["mass_g"])
        circumstances = Circumstances(
            balance=self.named.balances[told["balance"]],
            planned_on=self.days.day_in(told.get("planned_in_days", 0)),
            note=told["note"],
        )
        if "stock" in told:
            return self._draft_stock(by, told["stock"], mass, **circumstances)
        bounds = {
            self.named.materials[solvent]: (number(bound.get("least")), number(bound.get("most")))
            for solvent, bound in told.get("solvent_bounds", {}).items()
        }
        return draft_formula_batch(
            by=by,
            now=self.days.work(5),
            version=self.named.formulas[told["formula"]],
            mass=mass,
            strength=number(told["strength"]),
            solvent_bounds=bounds,
            **circumstances,
        )

    def _draft_stock(
        self, by: Member, wanted: Told, mass: Decimal, **circumstances: Unpack[Circumstances]
    ) -> Batch:
        return draft_stock_batch(
            by=by,
            now=self.days.work(5),
            material=self.named.materials[wanted["material"]],
            strength=Decimal(wanted["strength"]),
            solvent=self.named.materials[wanted["solvent"]],
            mass=mass,
            **circumstances,
        )

    def _pin(self, by: Member, batch: Batch, parent: Lot) -> None:
        """Let a stock be made from a certain lot."""
        wishes = Wishes(pins={STOCK_LINE: [LotPin(parent.number)]})
        plan_again(by=by, now=self.days.work(1), number=batch.number, wishes=wishes)

    def _pouring(self, by: Member, told: Told) -> Pouring:
        slip = told.get("strike")
        over = told.get("overpour", {})
        return Pouring(
            by=by,
            balance=self.named.balances[told["balance"]],
            connected=self.connected[told["balance"]],
            deviations={name: Decimal(text) for name, text in told["deviations_g"].items()},
            other_deviations=[Decimal(text) for text in told["other_deviations_g"]],
            lines=None if told["weigh_lines"] == "all" else told["weigh_lines"],
            slip=slip
            and Slip(material=slip["material"], mass=Decimal(slip["first_logged_g"]), why=slip["why"]),
            overpoured=over.get("material", ""),
            way=over.get("way", "keep-going"),
        )

    def _close(self, by: Member, batch: Batch, told: Told) -> Lot:
        filled = Filled(
            tare=number(told["tare_g"]),
            capacity_ml=number(told["capacity_ml"]),
            shelf=self.named.shelf(told["shelf"]),
            keeper=self.named.member(told["keeper"]),
            strength_decision=told.get("strength_decision"),
            strength_reason=told.get("strength_reason", ""),
        )
        closed = close_batch(by=by, now=self.days.work(3), number=batch.number, filled=filled)
        if closed.made is None:
            raise LookupError(f"Batch {batch.number} was closed without a lot.")
        return closed.made
