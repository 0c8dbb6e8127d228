"""What comes of the weighings of a batch when it is closed: the lot in each vessel, and the movements that fill it.

Everything a made lot is said to be follows from the weighings that stand for its vessel: contents and their uncertainty,
actual strength, expiry, cost. A batch of a stock, base or blend has one vessel; a grid one for each of its vials.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Literal

from batches.actions.reserving import surplus_postings
from batches.models import Batch, BatchKind, GridCell, Weighing
from inventory.actions.ledger import Posting, post
from inventory.actions.lots import Share, add_lots
from inventory.calc.contents import mixed, strength_of
from inventory.calc.cost import Cost, CostPart, cost_of
from inventory.models import Lot, LotKind, Material, MaterialKind, Reason, Shelf
from inventory.models.ancestry import PouredMass, contents_behind
from inventory.models.certainty import budgets_of
from studio.kernel.mass import ZERO_MASS, nearest_fraction
from studio.models import Member

StrengthDecision = Literal["keep declared", "declare actual"]
_LOT_KINDS = {
    BatchKind.STOCK: LotKind.STOCK,
    BatchKind.BASE: LotKind.BASE,
    BatchKind.BLEND: LotKind.BLEND,
    BatchKind.GRID: LotKind.VIAL,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What the made lot is filled into, where it goes, and what was decided about it; of a grid, each of its vials."""

    title: str = ""
    tare: Decimal | None = None
    capacity_ml: Decimal | None = None
    shelf: Shelf | None = None
    keeper: Member | None = None
    left_out_reason: str = ""
    strength_decision: StrengthDecision | None = None
    strength_reason: str = ""


@dataclass(frozen=True, slots=True)
class Vessel:
    """What the weighings went into: the vial of a cell, or the one vessel of a batch without cells."""

    cell: GridCell | None
    weighings: Sequence[Weighing]


@dataclass(frozen=True, slots=True)
class Made:
    """What follows from a vessel's weighings: contents by material id, with uncertainties, strength and last day."""

    vessel: Vessel
    mass: Decimal
    shares: dict[int, Share]
    strength: Decimal
    strength_u: Decimal
    expires_on: date | None


def reckoned(batch: Batch, vessels: Sequence[Vessel], lots: Mapping[int, Lot]) -> list[Made]:
    """What is in each vessel. Four statements, whatever their number."""
    sources = sorted({weighing.lot_id for vessel in vessels for weighing in vessel.weighings})
    behind = contents_behind(sources)
    # New lots have no ids yet; in the arithmetic these stand for them, which no lot has.
    fractions = {
        -place: mixed([(one.mass, behind[one.lot_id, one.lot_revision]) for one in vessel.weighings])
        for place, vessel in enumerate(vessels)
    }
    budgets = budgets_of(
        targets={-place: _pours(-place, vessel) for place, vessel in enumerate(vessels)},
        sources=sources,
        contents={**behind, **{(target, 0): inside for target, inside in fractions.items()}},
    )
    materials = Material.objects.in_bulk({material for inside in fractions.values() for material in inside})
    declared = _declared_materials(batch, materials)
    found = []
    for place, vessel in enumerate(vessels):
        inside, budget = fractions[-place], budgets[-place]
        each = budget.of_each()
        found.append(
            Made(
                vessel=vessel,
                mass=sum((weighing.mass for weighing in vessel.weighings), ZERO_MASS),
                shares={material: Share(fraction, each[material]) for material, fraction in inside.items()},
                strength=nearest_fraction(strength_of(inside, declared)),
                strength_u=budget.of_sum(declared),
                expires_on=_expiry(vessel, [materials[material] for material in inside], lots),
            )
        )
    return found


def _pours(target: int, vessel: Vessel) -> list[PouredMass]:
    return [
        PouredMass(
            source=weighing.lot_id,
            source_revision=weighing.lot_revision,
            concentration=weighing.lot_concentration,
            target=target,
            mass=weighing.mass,
            mass_u=weighing.mass_u or ZERO_MASS,
        )
        for weighing in vessel.weighings
    ]


def _declared_materials(batch: Batch, inside: Mapping[int, Material]) -> set[int]:
    """The materials whose share is the strength: the one of a plain stock, the odorants of anything composed."""
    if batch.kind == BatchKind.STOCK and batch.material and batch.material.kind != MaterialKind.BASE:
        return {batch.material.id}
    return {key for key, material in inside.items() if material.kind != MaterialKind.SOLVENT}


def make_lots(
    *,
    by: Member,
    now: datetime,
    batch: Batch,
    made: Sequence[Made],
    discarded: Sequence[Vessel],
    lots: Mapping[int, Lot],
    declared: Decimal | None,
    into: Filled,
) -> list[Lot]:
    """Bring the made lots into being and post what went into them; what went into vials left out is discarded."""
    new = [_new_lot(batch, one, lots, declared, into) for one in made]
    for lot, one in zip(new, made, strict=True):
        _hold_with_its_parents(lot, now, _used(one.vessel, lots))
    add_lots(by=by, now=now, lots=new, contents=[one.shares for one in made])
    vessels = [*(one.vessel for one in made), *discarded]
    weighings = sorted((one for vessel in vessels for one in vessel.weighings), key=lambda one: one.id)
    targets = {
        one.id: lot for made_one, lot in zip(made, new, strict=True) for one in made_one.vessel.weighings
    }
    left_out = {one.id: vessel.cell for vessel in discarded for one in vessel.weighings}
    post(
        by=by,
        now=now,
        postings=surplus_postings(weighings, lots, batch.number)
        + [
            _posting(batch, weighing, lots, targets.get(weighing.id), left_out.get(weighing.id))
            for weighing in weighings
        ],
    )
    return new


def cost_as_weighed(weighings: Sequence[Weighing], lots: Mapping[int, Lot]) -> Cost:
    """What these weighings cost, at what their lots cost now."""
    return cost_of([CostPart(w.lot_id, w.mass, lots[w.lot_id].cost_per_gram) for w in weighings])


def _posting(
    batch: Batch, weighing: Weighing, lots: Mapping[int, Lot], target: Lot | None, cell: GridCell | None
) -> Posting:
    why = weighing.expired_reason if cell is None else f"{cell} of {batch.number}: {cell.left_out_why}"
    return Posting(
        mass=weighing.mass,
        reason=Reason.WEIGHED_IN if cell is None else Reason.DISCARDED,
        at=weighing.at,
        source=lots[weighing.lot_id],
        target=target,
        why=why,
        batch=batch.number,
        mass_u=weighing.mass_u,
        operation=f"weighing {weighing.id}",
        taken_as=(weighing.lot_revision, weighing.lot_concentration),
    )


def _new_lot(
    batch: Batch, made: Made, lots: Mapping[int, Lot], declared: Decimal | None, into: Filled
) -> Lot:
    cell = made.vessel.cell
    return Lot(
        kind=_LOT_KINDS[BatchKind(batch.kind)],
        title=_title(batch, cell, into),
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
        cost_per_gram=cost_as_weighed(made.vessel.weighings, lots).per_gram,
        made_in=batch.number,
        made_at=max(weighing.at for weighing in made.vessel.weighings),
        expires_on=made.expires_on,
    )


def _title(batch: Batch, cell: GridCell | None, into: Filled) -> str:
    if cell is None:
        return into.title or batch.title
    return f"{into.title[:140]} {cell.number}" if into.title else cell.title


def _hold_with_its_parents(lot: Lot, now: datetime, used: Sequence[Lot]) -> None:
    held = [one.number for one in used if one.held_at is not None]
    if held:
        lot.held_at = now
        lot.hold_reason = f"Made from held lots: {', '.join(held)}"


def _used(vessel: Vessel, lots: Mapping[int, Lot]) -> list[Lot]:
    return [lots[lot_id] for lot_id in sorted({weighing.lot_id for weighing in vessel.weighings})]


def _expiry(vessel: Vessel, inside: Sequence[Material], lots: Mapping[int, Lot]) -> date | None:
    """The earliest of the parents' days and of what the materials in it allow a made lot to last."""
    made_on = max(weighing.at for weighing in vessel.weighings).date()
    lives = [material.stock_shelf_life_days for material in inside]
    days = [made_on + timedelta(days=life) for life in lives if life is not None]
    parents = [lot.expires_on for lot in _used(vessel, lots) if lot.expires_on is not None]
    return min([*days, *parents], default=None)
