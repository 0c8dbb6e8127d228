"""Proving what made lots are said to be: their uncertainties, cost and day reckoned again from weighings and records.

Batches are taken in chunks, with a fixed number of statements each. The cost of a lot rises when solvent evaporates; what it was
when it was poured is its cost now, over the factor it has dried by since.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from batches.models import Batch, BatchKind, BatchState, GridCell
from inventory.calc.cost import Cost, CostPart, cost_of
from inventory.calc.uncertainty import Budget, Purity, Weighing, budget
from inventory.models import Lot, LotContent, Material, MaterialKind, Movement, Reason
from inventory.models.ancestry import contents_behind, pours_among, purities_behind
from inventory.queries.proof import Finding
from inventory.queries.proof_of_values import ROUNDED_U, last_days, nearly
from studio.kernel.errors import Refusal
from studio.models import SealedRecord

BATCHES_AT_ONCE = 100
ROUNDED_COST = Decimal("1e-6")


@dataclass(frozen=True, slots=True)
class _Part:
    """Grams of a lot poured for a batch, the lot they went into, and what a gram cost when the batch was closed."""

    studio: int
    batch: str
    into: int | None
    lot: int
    mass: Decimal
    cost_per_gram: Decimal | None


@dataclass(frozen=True, slots=True)
class _MadeLot:
    """A lot that a batch made: its only one, or one of the vials of a grid."""

    batch: Batch
    lot: Lot


def making_findings() -> Iterator[Finding]:
    """Everything about made lots that does not follow from how they were made, in all studios."""
    after = 0
    closed = Batch.objects.filter(state=BatchState.CLOSED).select_related("made", "material").order_by("id")
    while batches := list(closed.filter(id__gt=after)[:BATCHES_AT_ONCE]):
        after = batches[-1].id
        made = _made_by(batches)
        yield from _uncertainties(made)
        yield from _costs(batches, made)
        yield from _days(batches, made)


def _made_by(batches: Sequence[Batch]) -> list[_MadeLot]:
    by_id = {batch.id: batch for batch in batches}
    cells = GridCell.objects.filter(batch__in=by_id, made__isnull=False).select_related("made")
    vials = [_MadeLot(by_id[cell.batch_id], cell.made) for cell in cells.order_by("id") if cell.made]
    return [*(_MadeLot(batch, batch.made) for batch in batches if batch.made), *vials]


def _uncertainties(made: Sequence[_MadeLot]) -> Iterator[Finding]:
    ids = [one.lot.id for one in made]
    contents = contents_behind(ids)
    into: dict[int, list[Weighing]] = {}
    for pour in pours_among(ids, "back"):
        into.setdefault(pour.target, []).append(
            Weighing(
                source=pour.source,
                source_revision=pour.source_revision,
                target=pour.target,
                mass=pour.mass,
                standard_uncertainty=pour.mass_u,
            )
        )
    purities = [Purity(*purity) for purity in purities_behind(ids)]
    rows = LotContent.objects.filter(lot_id__in=ids, revision=0)
    written: dict[int, dict[int, Decimal | None]] = {}
    for lot_id, material, u in rows.values_list("lot_id", "material_id", "uncertainty"):
        written.setdefault(lot_id, {})[material] = u
    materials = {material for each in written.values() for material in each}
    solvents = set(
        Material.objects.filter(kind=MaterialKind.SOLVENT, id__in=materials).values_list("id", flat=True)
    )
    for one in made:
        batch, lot = one.batch, one.lot
        try:
            reckoned = budget(
                target=lot.id, weighings=_behind(lot.id, into), contents=contents, purities=purities
            )
        except Refusal:
            continue  # what is wrong with the contents behind it is told as such
        each = reckoned.of_each()
        if any(not nearly(u, each.get(key), ROUNDED_U) for key, u in written.get(lot.id, {}).items()):
            yield Finding(
                batch.studio_id,
                f"batch {batch.number}",
                "made a lot whose uncertainties do not follow from its weighings",
            )
        elif lot.contents_revision == 0 and not nearly(
            lot.strength_u, _of_strength(batch, reckoned, written.get(lot.id, {}), solvents), ROUNDED_U
        ):
            yield Finding(
                batch.studio_id,
                f"batch {batch.number}",
                f"made a lot whose strength is not known to {lot.strength_u}, as is said",
            )


def _behind(lot: int, into: Mapping[int, Sequence[Weighing]]) -> list[Weighing]:
    """Everything poured into a lot and its ancestors, of what was poured into all of them."""
    seen, waiting = {lot}, [lot]
    found: list[Weighing] = []
    while waiting:
        poured = into.get(waiting.pop(), ())
        found += poured
        new = {weighing.source for weighing in poured} - seen
        seen |= new
        waiting += sorted(new)
    return found


def _of_strength(
    batch: Batch, reckoned: Budget, written: Mapping[int, Decimal | None], solvents: set[int]
) -> Decimal:
    if batch.kind == BatchKind.STOCK and batch.material and batch.material.kind != MaterialKind.BASE:
        return reckoned.of_sum({batch.material.id})
    return reckoned.of_sum(written.keys() - solvents)


def _costs(batches: Sequence[Batch], made: Sequence[_MadeLot]) -> Iterator[Finding]:
    """The cost of a batch is that of all that was poured for it, what went into vials left out included."""
    inside: dict[int, list[_Part]] = {}
    poured: dict[int, list[_Part]] = {}
    by_lot = {one.lot.id: one.batch.id for one in made}
    for part in _parts(Movement.objects.filter(target_id__in=by_lot, reason=Reason.WEIGHED_IN)):
        if part.into is not None:
            inside.setdefault(part.into, []).append(part)
            poured.setdefault(by_lot[part.into], []).append(part)
    for batch, parts in _spoilt([batch for batch in batches if batch.kind == BatchKind.GRID]):
        poured.setdefault(batch.id, []).extend(parts)
    for batch in batches:
        if batch.id not in poured:
            continue
        cost = _cost_of(poured[batch.id])
        if not nearly(batch.actual_cost, _kept(cost), Decimal("0.0001") + cost.mass * ROUNDED_COST):
            yield Finding(
                batch.studio_id,
                f"batch {batch.number}",
                f"cost {batch.actual_cost}, by its weighings {cost.total}",
            )
    for lot in (one.lot for one in made if one.lot.id in inside):
        cost = _cost_of(inside[lot.id])
        per_gram = None if cost.per_gram is None else cost.per_gram * lot.concentration
        if not nearly(lot.cost_per_gram, per_gram, ROUNDED_COST):
            yield Finding(
                lot.studio_id,
                f"lot {lot.number}",
                f"costs {lot.cost_per_gram} a gram, by its weighings {per_gram}",
            )


def _spoilt(grids: Sequence[Batch]) -> Iterator[tuple[Batch, list[_Part]]]:
    """What was poured for vials that were left out of closed grids. One statement where there are any."""
    if not grids:
        return
    rows = Movement.objects.exclude(batch="").filter(
        studio_id__in={grid.studio_id for grid in grids},
        batch__in=[grid.number for grid in grids],
        reason=Reason.DISCARDED,
    )
    parts = _parts(rows)
    for grid in grids:
        yield grid, [one for one in parts if (one.studio, one.batch) == (grid.studio_id, grid.number)]


def _cost_of(parts: Sequence[_Part]) -> Cost:
    return cost_of([CostPart(part.lot, part.mass, part.cost_per_gram) for part in parts])


def _kept(cost: Cost) -> Decimal | None:
    return None if cost.total is None else cost.total.quantize(Decimal("0.0001"))


def _parts(poured: QuerySet[Movement]) -> list[_Part]:
    """What was poured by these movements. One statement: a source had dried by what its next evaporation starts from."""
    later = Movement.objects.filter(
        source_id=OuterRef("source_id"), reason=Reason.EVAPORATED, id__gt=OuterRef("id")
    ).order_by("id")
    rows = (
        poured.annotate(
            then=Coalesce(Subquery(later.values("source_concentration")[:1]), F("source__concentration"))
        )
        .order_by("id")
        .values_list(
            "studio_id",
            "batch",
            "target_id",
            "source_id",
            "mass",
            "source__cost_per_gram",
            "then",
            "source__concentration",
        )
    )
    parts = []
    for studio, number, target, source, mass, cost, then, today in rows:
        with localcontext(prec=40):
            was = None if cost is None else cost * then / today
        parts.append(_Part(studio, number, target, source, mass, was))
    return parts


def _days(batches: Sequence[Batch], made: Sequence[_MadeLot]) -> Iterator[Finding]:
    """The day of a made lot is that of its sealed record, or what somebody changed it to. Amendments change no lot."""
    changed = last_days([one.lot for one in made])
    records = SealedRecord.objects.filter(
        subject="batch", name__in=[b.number for b in batches], studio_id__in={b.studio_id for b in batches}
    ).order_by("-sequence")
    sealed = {
        (studio, name, lot): day
        for studio, name, text in records.values_list("studio_id", "name", "text")
        for lot, day in _sealed_days(text)
    }
    for one in made:
        lot, key = one.lot, (one.batch.studio_id, one.batch.number, one.lot.number)
        if key not in sealed or (lot.studio_id, lot.number) in changed:
            continue
        day = lot.expires_on.isoformat() if lot.expires_on else None
        if day != sealed[key]:
            yield Finding(
                lot.studio_id,
                f"lot {lot.number}",
                f"expires on {day or 'no day'}, its record says {sealed[key] or 'no day'}",
            )


def _sealed_days(text: str) -> list[tuple[str, str | None]]:
    """Lots and their days, as far as the record tells them; that it was tampered with is told by its seal."""
    try:
        told = json.loads(text)["record"]
        made = [told["made"], *(vial["made"] for vial in told.get("vials", ()))]
        return [(one["lot"], one["expires_on"]) for one in made if one is not None]
    except (ValueError, KeyError, TypeError):
        return []
