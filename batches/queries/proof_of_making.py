"""Proving what made lots are said to be: their uncertainties, cost and day reckoned again from weighings and records.

Batches are taken in chunks, with a fixed number of statements each. The cost of a lot rises when solvent evaporates; what it was
when it was poured is its cost now, over the factor it has dried by since.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from django.db.models import F, OuterRef, Subquery
from django.db.models.functions import Coalesce

from batches.models import Batch, BatchKind, BatchState
from inventory.calc.cost import Cost, CostPart, cost_of
from inventory.calc.uncertainty import Budget, Purity, Weighing, budget
from inventory.models import LotContent, Material, MaterialKind, Movement, Reason
from inventory.models.ancestry import contents_behind, pours_among, purities_behind
from inventory.queries.proof import Finding
from inventory.queries.proof_of_values import ROUNDED_U, last_days, nearly
from studio.kernel.errors import Refusal
from studio.models import SealedRecord

BATCHES_AT_ONCE = 100
ROUNDED_COST = Decimal("1e-6")


@dataclass(frozen=True, slots=True)
class _Part:
    """Grams of a lot in a made lot, and what a gram of it cost when the batch was closed."""

    lot: int
    mass: Decimal
    cost_per_gram: Decimal | None


def making_findings() -> Iterator[Finding]:
    """Everything about made lots that does not follow from how they were made, in all studios."""
    after = 0
    closed = Batch.objects.filter(state=BatchState.CLOSED).select_related("made", "material").order_by("id")
    while batches := list(closed.filter(id__gt=after)[:BATCHES_AT_ONCE]):
        after = batches[-1].id
        yield from _uncertainties(batches)
        yield from _costs(batches)
        yield from _days(batches)


def _uncertainties(batches: Sequence[Batch]) -> Iterator[Finding]:
    ids = [batch.made_id for batch in batches if batch.made_id]
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
    for batch in batches:
        lot = batch.made
        if lot is None:
            continue
        try:
            reckoned = budget(
                target=lot.id, weighings=_behind(lot.id, into), contents=contents, purities=purities
            )
        except Refusal:
            continue  # what is wrong with the contents behind it is told as such
        each = reckoned.of_each()
        if any(not nearly(u, each.get(key), ROUNDED_U) for key, u in written.get(lot.id, {}).items()):
            yield Finding(
                f"batch {batch.number}", "made a lot whose uncertainties do not follow from its weighings"
            )
        elif lot.contents_revision == 0 and not nearly(
            lot.strength_u, _of_strength(batch, reckoned, written.get(lot.id, {}), solvents), ROUNDED_U
        ):
            yield Finding(
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


def _costs(batches: Sequence[Batch]) -> Iterator[Finding]:
    parts = _parts([batch.made_id for batch in batches if batch.made_id])
    for batch in batches:
        lot = batch.made
        if lot is None or not parts.get(lot.id):
            continue
        cost = cost_of([CostPart(part.lot, part.mass, part.cost_per_gram) for part in parts[lot.id]])
        if not nearly(batch.actual_cost, _kept(cost), Decimal("0.0001") + cost.mass * ROUNDED_COST):
            yield Finding(f"batch {batch.number}", f"cost {batch.actual_cost}, by its weighings {cost.total}")
        per_gram = None if cost.per_gram is None else cost.per_gram * lot.concentration
        if not nearly(lot.cost_per_gram, per_gram, ROUNDED_COST):
            yield Finding(
                f"lot {lot.number}", f"costs {lot.cost_per_gram} a gram, by its weighings {per_gram}"
            )


def _kept(cost: Cost) -> Decimal | None:
    return None if cost.total is None else cost.total.quantize(Decimal("0.0001"))


def _parts(made: Sequence[int]) -> dict[int, list[_Part]]:
    """What went into these lots. One statement: a source had dried by what its next evaporation starts from."""
    later = Movement.objects.filter(
        source_id=OuterRef("source_id"), reason=Reason.EVAPORATED, id__gt=OuterRef("id")
    ).order_by("id")
    rows = (
        Movement.objects.filter(target_id__in=made, reason=Reason.WEIGHED_IN)
        .annotate(
            then=Coalesce(Subquery(later.values("source_concentration")[:1]), F("source__concentration"))
        )
        .order_by("id")
        .values_list(
            "target_id", "source_id", "mass", "source__cost_per_gram", "then", "source__concentration"
        )
    )
    parts: dict[int, list[_Part]] = {}
    for target, source, mass, cost, then, today in rows:
        with localcontext(prec=40):
            was = None if cost is None else cost * then / today
        parts.setdefault(target, []).append(_Part(source, mass, was))
    return parts


def _days(batches: Sequence[Batch]) -> Iterator[Finding]:
    """The day of a made lot is that of its sealed record, or what somebody changed it to. Amendments change no lot."""
    changed = last_days([batch.made for batch in batches if batch.made])
    records = SealedRecord.objects.filter(
        subject="batch", name__in=[b.number for b in batches], studio_id__in={b.studio_id for b in batches}
    ).order_by("-sequence")
    sealed = {
        (studio, name): _sealed_day(text)
        for studio, name, text in records.values_list("studio_id", "name", "text")
    }
    for batch in batches:
        lot, key = batch.made, (batch.studio_id, batch.number)
        if lot is None or sealed.get(key, "") == "" or (batch.studio_id, lot.number) in changed:
            continue
        day = lot.expires_on.isoformat() if lot.expires_on else None
        if day != sealed[key]:
            yield Finding(
                f"lot {lot.number}",
                f"expires on {day or 'no day'}, its record says {sealed[key] or 'no day'}",
            )


def _sealed_day(text: str) -> str | None:
    """Empty text where the record says nothing of it; that it was tampered with is told by its seal."""
    try:
        day = json.loads(text)["record"]["made"]["expires_on"]
    except (ValueError, KeyError, TypeError):
        return ""
    return None if day is None else str(day)
