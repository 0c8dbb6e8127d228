"""The shelf as the weigh plan takes it: the lots of some materials, by what they really contain."""

from collections.abc import Collection, Mapping
from decimal import Decimal

from inventory.calc.claims import ShelfLot
from inventory.models import Claim, ClaimState, Lot, LotContent, LotKind, MaterialKind
from studio.kernel.mass import ZERO_MASS

PLANNED_FROM = (LotKind.BOTTLE, LotKind.STOCK, LotKind.BASE)
"""Vials are for smelling and blends for themselves; neither is weighed from by a plan."""


def shelf_lots(*, studio_id: int, materials: Collection[int], purpose: str = "") -> list[ShelfLot]:
    """Every lot of these materials that holds something; what `purpose` has claimed counts as available to it.

    Held and expired lots are included and say so; the plan leaves them alone. Three statements.
    """
    lots = list(
        Lot.objects.of(studio_id)
        .open()
        .filter(material_id__in=materials, kind__in=PLANNED_FROM, actual_strength__gt=0)
        .order_by("id")
    )
    own = _own_claims(studio_id, purpose)
    solvents = _solvents_in(lots)
    return [
        ShelfLot(
            id=lot.id,
            number=lot.number,
            material=lot.material_id or 0,
            strength=lot.actual_strength or Decimal(1),
            solvents=solvents.get(lot.id, {}),
            available=_available(lot, own.get(lot.id, ZERO_MASS)),
            expires_on=lot.expires_on,
            opened=lot.opened_at is not None,
            held=lot.held_at is not None,
            cost_per_gram=lot.cost_per_gram,
        )
        for lot in lots
    ]


def _available(lot: Lot, own_claim: Decimal) -> Decimal:
    return max(lot.on_hand - (lot.reserved - own_claim), ZERO_MASS)


def _own_claims(studio_id: int, purpose: str) -> Mapping[int, Decimal]:
    if not purpose:
        return {}
    rows = Claim.objects.of(studio_id).filter(purpose=purpose, state=ClaimState.OPEN)
    return dict(rows.values_list("lot_id", "mass"))


def _solvents_in(lots: Collection[Lot]) -> dict[int, dict[int, Decimal]]:
    """Fraction of each solvent in the present contents of the lots."""
    current = {lot.id: lot for lot in lots}
    rows = (
        LotContent.objects.filter(lot_id__in=current, material__kind=MaterialKind.SOLVENT)
        .order_by("id")
        .values_list("lot_id", "revision", "material_id", "fraction")
    )
    found: dict[int, dict[int, Decimal]] = {}
    for lot_id, revision, material_id, fraction in rows:
        if revision == current[lot_id].contents_revision:
            found.setdefault(lot_id, {})[material_id] = fraction
    return found
