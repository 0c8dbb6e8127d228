"""Closing a batch: weighings become movements and one made lot, in one transaction, once.

Everything the made lot is said to be follows from the weighings that stand: contents and their uncertainty, actual
strength, expiry, cost. The record of it is sealed in the same transaction. Closing a closed batch again changes nothing
and returns it as it is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Literal

from batches.actions.batch_lock import lock_batch, save_batch
from batches.actions.batch_records import batch_record
from batches.actions.reserving import surplus_postings
from batches.models import Batch, BatchKind, BatchState, Weighing
from batches.models.written import declared_strength
from inventory.actions.ledger import Posting, claimed_lot_ids, end_claims, lock_lots, post
from inventory.actions.lots import Share, add_lots
from inventory.calc.contents import mixed, strength_of
from inventory.calc.cost import Cost, CostPart, cost_of
from inventory.calc.wording import figure, percent
from inventory.models import Lot, LotKind, Material, MaterialKind, Reason, Shelf
from inventory.models.ancestry import PouredMass, contents_behind
from inventory.models.certainty import budget_of
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.actions.records import seal_record
from studio.kernel.errors import Conflict
from studio.kernel.mass import ZERO_MASS, nearest_fraction
from studio.kernel.work import work
from studio.models import Member

NEW_LOT = 0
"""Stands for the made lot in the arithmetic, before it has an id."""

StrengthDecision = Literal["keep declared", "declare actual"]
_LOT_KINDS = {
    BatchKind.STOCK: LotKind.STOCK,
    BatchKind.BASE: LotKind.BASE,
    BatchKind.BLEND: LotKind.BLEND,
}


class NothingWeighed(Conflict):
    """There is nothing to close: no weighing stands."""

    code = "nothing-weighed"
    title = "Nothing was weighed"


class LinesNotWeighed(Conflict):
    """Lines without a weighing are left out only with a reason."""

    code = "lines-not-weighed"
    title = "Lines not weighed yet"


class StrengthDiffers(Conflict):
    """Actual and declared strength differ beyond the studio's tolerance; somebody has to decide."""

    code = "strength-differs"
    title = "The strength asks for a decision"


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What the made lot is filled into, where it goes, and what was decided about it."""

    title: str = ""
    tare: Decimal | None = None
    capacity_ml: Decimal | None = None
    shelf: Shelf | None = None
    keeper: Member | None = None
    left_out_reason: str = ""
    strength_decision: StrengthDecision | None = None
    strength_reason: str = ""


@dataclass(frozen=True, slots=True)
class _Made:
    """What follows from the weighings: contents by material id, with uncertainties, and the strength."""

    mass: Decimal
    shares: dict[int, Share]
    strength: Decimal
    strength_u: Decimal


def close_batch(
    *,
    by: Member,
    now: datetime,
    number: str,
    filled: Filled | None = None,
    expected: int | None = None,
) -> Batch:
    """Turn a batch's standing weighings into one made lot and end it; its record is sealed.

    Raises `NothingWeighed`, `LinesNotWeighed`, `StrengthDiffers`, `WrongState`, `StaleEdition`.
    """
    into = filled or Filled()
    with work():
        batch = lock_batch(
            by=by,
            number=number,
            states=[BatchState.RESERVED, BatchState.WEIGHING, BatchState.CLOSED],
            doing="closed",
            expected=None,
        )
        if batch.state == BatchState.CLOSED:
            return batch
        refuse_stale(batch, expected, f"Batch {number}")
        weighings = list(
            batch.weighings.all().standing().select_related("line", "balance", "by__person").order_by("id")
        )
        _refuse_unweighed(batch, weighings, into)
        lots = lock_lots(
            studio=by.studio,
            ids={weighing.lot_id for weighing in weighings}
            | set(claimed_lot_ids(studio=by.studio, purpose=number)),
        )
        declared = declared_strength(batch)
        made = _reckon(batch, weighings)
        _refuse_undecided(batch, declared, made, into)
        if into.strength_decision == "declare actual":
            declared = made.strength
        end_claims(now=now, purpose=number, why="batch closed", lots=lots)
        lot = _make(by, now, batch, weighings, lots, declared, made, into)
        _end(now, batch, lot, weighings, lots)
        seal_record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            record=batch_record(batch=batch, lot=lot, shares=made.shares, filled=into),
        )
        record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            verb="closed",
            changes={"made": [None, lot.number]},
            why=into.left_out_reason or into.strength_reason,
        )
    return batch


def _refuse_unweighed(batch: Batch, weighings: Sequence[Weighing], into: Filled) -> None:
    if not weighings:
        raise NothingWeighed(f"Batch {batch.number} has no weighings, so there is nothing to close; void it.")
    weighed = {weighing.line_id for weighing in weighings}
    missing = [
        line
        for line in batch.lines.select_related("lot").order_by("position", "id")
        if line.id not in weighed
    ]
    if missing and not into.left_out_reason:
        named = "; ".join(f"{line.position} ({line.lot.title}, {figure(line.target)} g)" for line in missing)
        raise LinesNotWeighed(
            f"Not weighed yet: line {named}. Weigh them, or say why they are left out.",
            lines=[line.position for line in missing],
        )


def _reckon(batch: Batch, weighings: Sequence[Weighing]) -> _Made:
    sources = sorted({weighing.lot_id for weighing in weighings})
    behind = contents_behind(sources)
    fractions = mixed(
        [(weighing.mass, behind[weighing.lot_id, weighing.lot_revision]) for weighing in weighings]
    )
    budget = budget_of(
        target=NEW_LOT,
        sources=sources,
        contents={**behind, (NEW_LOT, 0): fractions},
        pours=[
            PouredMass(
                source=weighing.lot_id,
                source_revision=weighing.lot_revision,
                concentration=weighing.lot_concentration,
                target=NEW_LOT,
                mass=weighing.mass,
                mass_u=weighing.mass_u or ZERO_MASS,
            )
            for weighing in weighings
        ],
    )
    declared = _declared_materials(batch, fractions)
    each = budget.of_each()
    return _Made(
        mass=sum((weighing.mass for weighing in weighings), ZERO_MASS),
        shares={material: Share(fraction, each[material]) for material, fraction in fractions.items()},
        strength=nearest_fraction(strength_of(fractions, declared)),
        strength_u=budget.of_sum(declared),
    )


def _declared_materials(batch: Batch, fractions: Mapping[int, Decimal]) -> set[int]:
    """The materials whose share is the strength: the one of a plain stock, the odorants of anything composed."""
    if batch.kind == BatchKind.STOCK and batch.material and batch.material.kind != MaterialKind.BASE:
        return {batch.material.id}
    odorants = Material.objects.filter(id__in=fractions).exclude(kind=MaterialKind.SOLVENT)
    return set(odorants.values_list("id", flat=True))


def _refuse_undecided(batch: Batch, declared: Decimal | None, made: _Made, into: Filled) -> None:
    if not declared or into.strength_decision is not None:
        return
    off = abs(made.strength - declared) / declared
    tolerance = batch.studio.strength_tolerance
    if off > tolerance:
        raise StrengthDiffers(
            f"By its weighings this is at {percent(made.strength)}, declared {percent(declared)}: off by "
            f"{percent(off)}, and the studio allows {percent(tolerance)}. Decide: keep declared, or declare actual.",
            declared=declared,
            actual=made.strength,
            tolerance=tolerance,
        )


def _make(
    by: Member,
    now: datetime,
    batch: Batch,
    weighings: Sequence[Weighing],
    lots: Mapping[int, Lot],
    declared: Decimal | None,
    made: _Made,
    into: Filled,
) -> Lot:
    made_at = max(weighing.at for weighing in weighings)
    used = [lots[lot_id] for lot_id in sorted({weighing.lot_id for weighing in weighings})]
    held = [lot for lot in used if lot.held_at is not None]
    [lot] = add_lots(
        by=by,
        now=now,
        lots=[
            Lot(
                kind=_LOT_KINDS[BatchKind(batch.kind)],
                title=into.title or batch.title,
                material_id=batch.material_id,
                solvent_id=batch.solvent_id,
                declared_strength=declared or None,
                actual_strength=made.strength,
                strength_u=made.strength_u,
                made_mass=made.mass,
                tare=into.tare,
                capacity_ml=into.capacity_ml,
                shelf=into.shelf,
                keeper=into.keeper,
                cost_per_gram=_cost(weighings, lots).per_gram,
                made_in=batch.number,
                made_at=made_at,
                expires_on=_expiry(used, made.shares, made_at.date()),
                held_at=now if held else None,
                hold_reason=f"Made from held lots: {', '.join(lot.number for lot in held)}" if held else "",
            )
        ],
        contents=[made.shares],
    )
    post(
        by=by,
        now=now,
        postings=surplus_postings(list(weighings), lots, batch.number)
        + [
            Posting(
                mass=weighing.mass,
                reason=Reason.WEIGHED_IN,
                at=weighing.at,
                source=lots[weighing.lot_id],
                target=lot,
                why=weighing.expired_reason,
                batch=batch.number,
                mass_u=weighing.mass_u,
                operation=f"weighing {weighing.id}",
                taken_as=(weighing.lot_revision, weighing.lot_concentration),
            )
            for weighing in weighings
        ],
    )
    return lot


def _cost(weighings: Sequence[Weighing], lots: Mapping[int, Lot]) -> Cost:
    return cost_of([CostPart(w.lot_id, w.mass, lots[w.lot_id].cost_per_gram) for w in weighings])


def _expiry(used: Sequence[Lot], shares: Mapping[int, Share], made_on: date) -> date | None:
    """The earliest of the parents' days and of what the materials in it allow a made lot to last."""
    lives = Material.objects.filter(id__in=shares).values_list("stock_shelf_life_days", flat=True)
    days = [made_on + timedelta(days=life) for life in lives if life is not None]
    return min([*days, *(lot.expires_on for lot in used if lot.expires_on is not None)], default=None)


def _end(
    now: datetime, batch: Batch, lot: Lot, weighings: Sequence[Weighing], lots: Mapping[int, Lot]
) -> None:
    batch.state = BatchState.CLOSED
    batch.made = lot
    batch.ended_at = now
    batch.actual_cost = _cost(weighings, lots).total
    save_batch(batch, "state", "made", "ended_at", "actual_cost")
