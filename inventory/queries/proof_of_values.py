"""Proving what lots are said to be, beyond their masses: dried revisions, uncertainties as received and drawn off, days.

Lots are taken in chunks, with a fixed number of statements each, so that memory stays small whatever the ledger's size. What was
once rounded is compared within that rounding.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, localcontext
from typing import Any

from inventory.models import Lot, LotContent, MaterialKind, Movement, Reason
from inventory.queries.proof import Finding
from studio.kernel.mass import nearest_fraction
from studio.models import HistoryEntry

LOTS_AT_ONCE = 200
ROUNDED = Decimal("2e-9")
"""Fractions are kept to nine places, by the largest remainder: either side may be off by one unit of the last."""
ROUNDED_U = Decimal("2e-12")
RELATIVE = Decimal("1e-9")
ONE = Decimal(1)


@dataclass(slots=True)
class _Revision:
    fractions: dict[int, Decimal] = field(default_factory=dict)
    uncertainties: dict[int, Decimal | None] = field(default_factory=dict)


def value_findings() -> Iterator[Finding]:
    """Everything that lots are said to be and cannot be, in all studios."""
    for lots in chunks_of_lots(contents_revision__gt=0):
        yield from _dried(lots)
    for lots in chunks_of_lots(purity__isnull=False):
        yield from _purities(lots)
    for lots in chunks_of_lots():
        yield from _drawn_uncertainties(lots)
        yield from _changed_days(lots)


def chunks_of_lots(**which: Any) -> Iterator[list[Lot]]:
    """The lots in id order, some at a time."""
    after = 0
    while lots := list(Lot.objects.filter(id__gt=after, **which).order_by("id")[:LOTS_AT_ONCE]):
        yield lots
        after = lots[-1].id


def nearly(one: Decimal | None, other: Decimal | None, rounded: Decimal) -> bool:
    """Whether two values are the same but for rounding; None is only the same as None."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= rounded + RELATIVE * abs(other)


def _dried(lots: Sequence[Lot]) -> Iterator[Finding]:
    """Each revision is the one before with solvent taken out, by the factor that its evaporation is booked with."""
    ids = [lot.id for lot in lots]
    revisions: dict[int, dict[int, _Revision]] = {}
    solvents = set()
    rows = LotContent.objects.filter(lot_id__in=ids).select_related("material").order_by("id")
    for row in rows:
        revision = revisions.setdefault(row.lot_id, {}).setdefault(row.revision, _Revision())
        revision.fractions[row.material_id] = row.fraction
        revision.uncertainties[row.material_id] = row.uncertainty
        if row.material.kind == MaterialKind.SOLVENT:
            solvents.add(row.material_id)
    factors: dict[int, dict[int, Decimal]] = {
        lot.id: {lot.contents_revision: lot.concentration} for lot in lots
    }
    booked = Movement.objects.filter(source_id__in=ids, reason=Reason.EVAPORATED).order_by("id")
    for lot_id, number, factor in booked.values_list("source_id", "source_revision", "source_concentration"):
        factors[lot_id or 0].setdefault(number or 0, factor)
    for lot in lots:
        held = revisions.get(lot.id, {})
        for number in range(lot.contents_revision):
            if not _follows(held, factors[lot.id], number, solvents):
                yield Finding(
                    lot.studio_id,
                    f"lot {lot.number}",
                    f"has a revision {number + 1} that does not follow from what evaporated",
                )


def _follows(
    held: Mapping[int, _Revision], factors: Mapping[int, Decimal], number: int, solvents: set[int]
) -> bool:
    if not {number, number + 1} <= held.keys() or not {number, number + 1} <= factors.keys():
        return False
    if number == 0 and factors[0] != 1:
        return False
    before, after = held[number], held[number + 1]
    solvent = sum((share for key, share in before.fractions.items() if key in solvents), Decimal(0))
    if not 0 < solvent <= 1:
        return False
    with localcontext(prec=40):
        factor = factors[number + 1] / factors[number]
        if factor < 1:
            return False
        stronger = ONE if solvent == 1 else factor
        left = ONE if solvent == 1 else (1 - factor * (1 - solvent)) / solvent
        return all(
            nearly(
                after.fractions.get(key, Decimal(0)), share * (left if key in solvents else stronger), ROUNDED
            )
            for key, share in before.fractions.items()
        ) and all(
            nearly(u, _times(before.uncertainties.get(key), stronger), ROUNDED_U)
            for key, u in after.uncertainties.items()
        )


def _times(uncertainty: Decimal | None, factor: Decimal) -> Decimal | None:
    return None if uncertainty is None else uncertainty * factor


def _purities(lots: Sequence[Lot]) -> Iterator[Finding]:
    """A purity P of a bottle is read as P ± (1 − P), rectangular: u = strength × (1 − P)/√3."""
    rows = LotContent.objects.filter(lot__in=lots, revision=0).values_list(
        "lot_id", "material_id", "fraction", "uncertainty"
    )
    first = {(lot_id, material): (fraction, u) for lot_id, material, fraction, u in rows}
    for lot in lots:
        fraction, u = first.get((lot.id, lot.material_id or 0), (None, None))
        if lot.purity is None or fraction is None:
            continue
        if not nearly(u, nearest_fraction(fraction * (ONE - lot.purity) / Decimal(3).sqrt()), ROUNDED_U):
            yield Finding(
                lot.studio_id,
                f"lot {lot.number}",
                f"has an uncertainty of {u}, which is not that of its purity",
            )


def _drawn_uncertainties(lots: Sequence[Lot]) -> Iterator[Finding]:
    """What was drawn off is known as well as what it was drawn from, as that was then."""
    pours = Movement.objects.filter(target__in=lots, reason=Reason.DRAWN_OFF).order_by("id")
    origin = {
        target: (source or 0, revision or 0)
        for target, source, revision in pours.values_list("target_id", "source_id", "source_revision")
    }
    wanted = {source for source, _ in origin.values()} | set(origin)
    rows = LotContent.objects.filter(lot_id__in=wanted).values_list(
        "lot_id", "revision", "material_id", "uncertainty"
    )
    known: dict[tuple[int, int], dict[int, Decimal | None]] = {}
    for lot_id, revision, material, u in rows:
        known.setdefault((lot_id, revision), {})[material] = u
    for lot in lots:
        if lot.id in origin and known.get((lot.id, 0)) != known.get(origin[lot.id]):
            yield Finding(
                lot.studio_id, f"lot {lot.number}", "is known better or worse than the lot it was drawn from"
            )


def _changed_days(lots: Sequence[Lot]) -> Iterator[Finding]:
    """A day that somebody changed is the one that the history says it was changed to last."""
    changed = last_days(lots)
    for lot in lots:
        last = changed.get((lot.studio_id, lot.number))
        if last is not None and last != _text(lot.expires_on):
            yield Finding(
                lot.studio_id,
                f"lot {lot.number}",
                f"expires on {lot.expires_on}, its history says {last or 'never'}",
            )


def last_days(lots: Sequence[Lot]) -> dict[tuple[int, str], str]:
    """What the days of these lots were last changed to, by studio and number; empty text for no day. One statement."""
    entries = HistoryEntry.objects.filter(
        subject="lot",
        name__in=[lot.number for lot in lots],
        studio_id__in={lot.studio_id for lot in lots},
        changes__has_key="expires_on",
    ).order_by("id")
    rows = entries.values_list("studio_id", "name", "changes")
    return {(studio, name): changes["expires_on"][1] or "" for studio, name, changes in rows}


def _text(day: Any) -> str:
    return day.isoformat() if day else ""
