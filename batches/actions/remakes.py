"""Accepting rows of a remake plan: their batches are drafted and reserved, their purchases noted, all of it or nothing.

The plan is reckoned again inside the transaction, from what is there then, so nothing is made on a plan that has become
untrue. Acceptances of one studio come one after the other: the studio's row is locked first. Then all lots that the rows
may take are locked at once, as the lock law asks, and the batches are drafted and reserved one by one, each seeing what
the one before has claimed. A row that is made of another row cannot be reserved before that one is made; its batch waits
as a dated draft that says for what.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from batches.actions.batch_lock import save_batch
from batches.actions.planning import Circumstances, draft_formula_batch, draft_stock_batch
from batches.actions.reserving import reserve_batch
from batches.actions.weigh_plans import LotPin, Wishes, plan_again
from batches.calc.remake_plan import plan_remakes
from batches.calc.remake_result import MakingRow, PurchaseRow, RemakePlan, SourceSort
from batches.models import Batch, BatchState, Formula, RemakeAcceptance
from batches.models.remake_requests import Gathered, Outlook, changed_parts, remake_request
from batches.models.weigh_requests import STOCK_LINE
from inventory.actions.ledger import lock_lots
from inventory.actions.purchases import note_purchase
from inventory.calc.wording import listed
from inventory.models import Lot, Offer
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults, Refusal
from studio.kernel.work import work
from studio.models import HistoryEntry, Member, Studio

CHANGES_TOLD = 5
PLANNED_FROM = ("batch", "lot", "material", "offer", "purchase", "supplier", "remake plan")
"""What of the history may have changed a plan."""


class PlanIsOutdated(Conflict):
    """What the plan was computed on has changed since; `changed` says what, `since` what was done meanwhile."""

    code = "plan-is-outdated"
    title = "The plan is outdated"


class OperationUsed(Conflict):
    """The name of this acceptance was used for another one."""

    code = "operation-used"
    title = "Already used for something else"


@dataclass(frozen=True, slots=True)
class WantedRow:
    """A row to accept by its key; `mass` in grams where it was edited."""

    key: str
    mass: Decimal | None = None


def accept_rows(
    *,
    by: Member,
    now: datetime,
    operation: str,
    digest: str,
    outlook: Outlook,
    rows: Sequence[WantedRow],
) -> RemakeAcceptance:
    """Draft and reserve the batches of rows of the plan with `digest`, and note their purchases.

    The same `operation` sent again answers what came of it the first time. Raises `PlanIsOutdated`, `OperationUsed`,
    `Invalid` for rows that the plan does not have, `Shortage`.
    """
    with work():
        Studio.objects.select_for_update(no_key=True).get(pk=by.studio_id)
        told = [{"key": row.key, "mass": None if row.mass is None else f"{row.mass:.6f}"} for row in rows]
        earlier = RemakeAcceptance.objects.of(by.studio_id).filter(operation=operation).first()
        if earlier is not None:
            if (earlier.digest, earlier.rows) != (digest, told):
                raise OperationUsed(
                    "This acceptance was sent before with other rows. Start from the plan as it is now."
                )
            return earlier
        kept = {row.key: row.mass for row in rows if row.mass is not None}
        gathered = remake_request(
            studio=by.studio, today=now.date(), outlook=replace(outlook, kept={**outlook.kept, **kept})
        )
        if gathered.digest != digest:
            raise _outdated(by, digest, gathered)
        makings, purchases = _chosen(plan_remakes(gathered.request), rows)
        _lock_lots(by, gathered, makings)
        bench = _Bench(by, now, gathered)
        numbers = [bench.make(row) for row in makings]
        bought = [bought for row in purchases for bought in _buy(by, now, operation, row)]
        acceptance = RemakeAcceptance.objects.create(
            studio_id=by.studio_id,
            operation=operation,
            digest=digest,
            rows=told,
            batches=numbers,
            purchases=bought,
            by=by,
            at=now,
        )
        record(
            by=by,
            at=now,
            subject="remake plan",
            name=str(acceptance.pk),
            verb="accepted",
            changes=_summary(numbers, bought),
        )
    return acceptance


def reserve_what_waits(*, by: Member, now: datetime) -> tuple[list[str], list[str]]:
    """Plan the dated drafts again from the shelf as it is now, and reserve those that fit; returns both sorts' numbers.

    Each batch is a transaction of its own: one that does not fit keeps no other from being reserved.
    """
    reserved, waiting = [], []
    drafts = Batch.objects.of(by.studio_id).filter(state=BatchState.DRAFT, planned_on__isnull=False)
    for number in drafts.order_by("planned_on", "id").values_list("number", flat=True):
        try:
            with work():
                plan_again(by=by, now=now, number=number)
                reserve_batch(by=by, now=now, number=number)
            reserved.append(number)
        except Refusal:
            waiting.append(number)
    return reserved, waiting


def _outdated(by: Member, digest: str, gathered: Gathered) -> PlanIsOutdated:
    parts = changed_parts(digest, gathered.digest)
    entries = (
        HistoryEntry.objects.filter(studio_id=by.studio_id, subject__in=PLANNED_FROM)
        .select_related("by__person")
        .order_by("-id")
    )
    since = [
        f"{one.subject} {one.name}: {one.verb} by {one.by.person.name}" for one in entries[:CHANGES_TOLD]
    ]
    return PlanIsOutdated(
        f"Since this plan was reckoned, {listed(parts)} changed. Nothing was accepted; look at the plan as it is now. "
        f"Last of all: {since[0] if since else 'nothing is on record'}.",
        changed=parts,
        since=since,
        digest=gathered.digest,
    )


def _chosen(plan: RemakePlan, rows: Sequence[WantedRow]) -> tuple[list[MakingRow], list[PurchaseRow]]:
    """The rows asked for in the order of the plan; raises `Invalid` for what the plan does not have."""
    faults = Faults()
    keys, planned = [row.key for row in rows], plan.rows
    for place, key in enumerate(keys):
        if key not in planned:
            faults.add(
                f"rows.{place}.key",
                f"The plan has no row “{key[:80]}”; with other amounts it may be needless.",
            )
        elif key in keys[:place]:
            faults.add(f"rows.{place}.key", "This row stands here twice.")
    faults.refuse_if_any()
    wanted = set(keys)
    return (
        [row for row in plan.makings if row.key in wanted],
        [row for row in plan.purchases if row.key in wanted],
    )


def _lock_lots(by: Member, gathered: Gathered, makings: Sequence[MakingRow]) -> None:
    """All lots on the shelf that a weigh plan of these rows may take, locked once for all of them."""
    materials = {one.item.material for row in makings for one in row.inputs}
    ids = Lot.objects.of(by.studio_id).open().filter(material__in=materials).values_list("id", flat=True)
    lock_lots(studio=by.studio, ids=list(ids))


class _Bench:
    """Drafts and reserves the batches of the rows, the parents before what is made of them."""

    def __init__(self, by: Member, now: datetime, gathered: Gathered) -> None:
        self.by, self.now = by, now
        self.catalogue = gathered.catalogue
        self.lots = {lot.id: lot.number for lot in gathered.request.lots}

    def make(self, row: MakingRow) -> str:
        """Draft the batch of a row and reserve it, unless something it takes has yet to be made or bought."""
        batch = self._draft(row)
        waits_for = [
            source for one in row.inputs for source in one.sources if source.sort is not SourceSort.LOT
        ]
        if waits_for:
            self._wait(batch, row, [source.label for source in waits_for])
        else:
            self._reserve(batch, row)
        return batch.number

    def _draft(self, row: MakingRow) -> Batch:
        circumstances = Circumstances(
            planned_on=row.start_on, note=" ".join(row.sentences)[:4000], title=row.name[:160]
        )
        material = self.catalogue.materials[row.item.material]
        if self.catalogue.is_base(row.item):
            formula = Formula.objects.select_related("adopted").get(base=material)
            assert formula.adopted is not None
            return draft_formula_batch(
                by=self.by,
                now=self.now,
                version=formula.adopted,
                mass=row.mass,
                strength=row.item.strength,
                **circumstances,
            )
        assert row.item.solvent is not None
        return draft_stock_batch(
            by=self.by,
            now=self.now,
            material=material,
            strength=row.item.strength,
            solvent=self.catalogue.materials[row.item.solvent],
            mass=row.mass,
            **circumstances,
        )

    def _reserve(self, batch: Batch, row: MakingRow) -> None:
        pins = {} if self.catalogue.is_base(row.item) else {STOCK_LINE: self._pins(row)}
        try:
            with work():
                if pins:
                    plan_again(by=self.by, now=self.now, number=batch.number, wishes=Wishes(pins=pins))
                reserve_batch(by=self.by, now=self.now, number=batch.number)
        except Conflict as refusal:
            # The plan counts in items, the bench in lots: a crumb that cannot be weighed leaves the batch a draft.
            batch.refresh_from_db()
            _say(batch, refusal.message)

    def _pins(self, row: MakingRow) -> list[LotPin]:
        """The lots of the parent that the plan counted on."""
        [parent] = [one for one in row.inputs if one.item.material == row.item.material]
        return [LotPin(self.lots[int(source.ref)]) for source in parent.sources]

    def _wait(self, batch: Batch, row: MakingRow, labels: Sequence[str]) -> None:
        batch.refresh_from_db()
        batch.lines.all().delete()
        batch.planned_cost = None
        _say(batch, f"It waits for what has to be there first: {listed(list(dict.fromkeys(labels)))}.")


def _say(batch: Batch, sentence: str) -> None:
    """Keep with a draft without a plan why it has none."""
    reason = {"kind": "waits", "wanted": str(batch.mass), "reached": "0", "lines": [], "sentence": sentence}
    batch.explanation = {
        **batch.explanation,
        "possible": False,
        "lines": [],
        "changes": [],
        "flags": [],
        "reasons": [reason],
        "remedies": [],
    }
    save_batch(batch, "explanation", "planned_cost")


def _buy(by: Member, now: datetime, operation: str, row: PurchaseRow) -> list[str]:
    bought = []
    for packs in row.packs:
        offer = Offer.objects.select_related("supplier", "material", "solvent").get(pk=packs.offer)
        purchase = note_purchase(
            by=by,
            now=now,
            offer=offer,
            packs=packs.count,
            order_on=row.order_on,
            note=" ".join(row.sentences)[:4000],
            operation=f"{operation[:40]} {row.key[:28]} {offer.pk}"[:80],
        )
        bought.append(str(purchase.pk))
    return bought


def _summary(numbers: Sequence[str], bought: Sequence[str]) -> Mapping[str, Any]:
    return {"batches": [None, list(numbers)], "purchases": [None, list(bought)]}
