"""What stands on the shelf: lots with everything a list shows, what is in them, and who has claimed what."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, OuterRef, Subquery

from inventory.calc.cautions import CautionReport, cautions_of
from inventory.calc.hazardous_parts import HazardousPart
from inventory.calc.shortfall import HeldClaim, shortfalls
from inventory.models import Balance, BalanceCheck, Claim, ClaimState, Lot, LotContent, Movement
from studio.kernel.mass import nearest_mass
from studio.models import ScopedQuerySet, Studio


@dataclass(frozen=True, slots=True)
class Content:
    """One leaf material of a lot: mass fraction, its standard uncertainty, and grams of it on hand."""

    material: int
    name: str
    kind: str
    fraction: Decimal
    standard_uncertainty: Decimal | None
    mass: Decimal


@dataclass(frozen=True, slots=True)
class StandingClaim:
    """An open claim, and how much of it the lot no longer holds when older claims are served first."""

    claim: Claim
    short: Decimal


def lots_of(studio: Studio) -> ScopedQuerySet[Lot]:
    """All lots with the names a list shows; one statement."""
    return Lot.objects.of(studio).select_related("material", "solvent", "shelf", "keeper__person")


def movements_of(studio: Studio) -> ScopedQuerySet[Movement]:
    """The ledger with the numbers and names a list shows; one statement."""
    return Movement.objects.of(studio).select_related("source", "target", "by__person")


def balances_of(studio: Studio) -> ScopedQuerySet[Any]:
    """Balances with their last check; one statement."""
    last = BalanceCheck.objects.filter(balance=OuterRef("pk")).order_by("-at", "-id")
    return (
        Balance.objects.of(studio)
        .select_related("studio")
        .annotate(
            last_check_at=Subquery(last.values("at")[:1]),
            last_check_passed=Subquery(last.values("passed")[:1]),
        )
    )


def contents_of(lot: Lot) -> list[Content]:
    """What a lot contains now, most first; one statement."""
    rows = LotContent.objects.filter(lot=lot, revision=lot.contents_revision).select_related("material")
    contents = [
        Content(
            material=row.material_id,
            name=row.material.name,
            kind=row.material.kind,
            fraction=row.fraction,
            standard_uncertainty=row.uncertainty,
            mass=nearest_mass(row.fraction * lot.on_hand),
        )
        for row in rows.order_by("id")
    ]
    return sorted(contents, key=lambda content: (-content.fraction, content.name))


def cautions_for(lot: Lot) -> CautionReport:
    """The hazard statements that what is in a lot gives reason for; one statement."""
    return cautions_of_each([lot])[lot.id]


def cautions_of_each(lots: Iterable[Lot]) -> dict[int, CautionReport]:
    """Likewise for several lots, by their keys; one statement."""
    parts: dict[int, list[HazardousPart]] = {lot.id: [] for lot in lots}
    rows = LotContent.objects.filter(lot_id__in=parts, revision=F("lot__contents_revision"))
    for row in rows.select_related("material").order_by("id"):
        parts[row.lot_id].append(
            HazardousPart(
                material=row.material.name,
                fraction=row.fraction,
                hazard_codes=tuple(row.material.hazards),
                flash_point_c=row.material.flash_point_c,
            )
        )
    return {lot_id: cautions_of(parts=of_lot) for lot_id, of_lot in parts.items()}


def claims_on(lots: Iterable[Lot]) -> list[StandingClaim]:
    """Open claims on these lots with what each falls short, poured ones served first, then the oldest.

    One statement.
    """
    on_hand = {lot.id: lot.on_hand for lot in lots}
    rows = (
        Claim.objects.filter(lot_id__in=on_hand, state=ClaimState.OPEN)
        .select_related("lot", "by__person")
        .order_by("id")
    )
    claims = {claim.id: claim for claim in rows}
    held: dict[int, list[HeldClaim]] = {}
    for claim in claims.values():
        held.setdefault(claim.lot_id, []).append(HeldClaim(claim.id, claim.mass, claim.poured))
    lacking: dict[int, Decimal] = {}
    for lot_id, on_lot in held.items():
        lacking |= shortfalls(on_hand[lot_id], on_lot)
    served = sorted(claims.values(), key=lambda claim: (claim.poured == 0, claim.id))
    return [StandingClaim(claim=claim, short=lacking[claim.id]) for claim in served]


def due_for_check(balances: Iterable[Balance], now: datetime) -> list[Balance]:
    """Those of `balances_of` that are in use and were never checked, failed, or are past their interval."""
    return [
        balance
        for balance in balances
        if balance.retired_at is None
        and (
            not balance.last_check_passed  # type: ignore[attr-defined]
            or balance.last_check_at + timedelta(days=balance.check_every_days) <= now  # type: ignore[attr-defined]
        )
    ]
