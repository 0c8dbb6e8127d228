"""Everything a remake plan depends on, read in a fixed number of statements: shared by what shows it and what accepts it."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal

from batches.calc.remake_recipes import KEPT_AT_MOST, base_recipe, dilution_parents, dilution_recipe
from batches.calc.remake_request import ItemKey, Offer, Recipe, RemakeRequest, StockLot
from batches.calc.strength import FormulaLine
from batches.models import remake_demand as demand
from batches.models.remake_items import Catalogue
from batches.models.shelf_lots import PLANNED_FROM
from inventory.models import Balance, Lot, LotKind, Material, MaterialKind, Par, Solubility
from inventory.models import Offer as OfferRow
from studio.kernel.mass import MICROGRAM, ZERO_MASS
from studio.models import Studio

USUAL_HORIZON = timedelta(days=28)
LONGEST_HORIZON = timedelta(days=366)
SECTIONS: Mapping[str, str] = {
    "days": "the day",
    "lots": "what stands on the shelf",
    "receipts": "what is being made or on its way",
    "demands": "what is planned",
    "items": "the pars or shelf lives",
    "recipes": "how things are made",
    "offers": "the offers of suppliers",
}
"""The parts of a request that a digest tells apart, in the words in which a change is told."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """How far a plan looks and what it reckons with; `kept` are masses of rows chosen by hand, by their key."""

    until: date
    expected_use: bool = False
    kept: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """A what-if: `mass` grams of a formula's lines at `strength` (None: as written)."""

    lines: Sequence[FormulaLine]
    mass: Decimal
    strength: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Gathered:
    """A request with the catalogue its items stand in, and grams of each item that a what-if asks for."""

    request: RemakeRequest
    catalogue: Catalogue
    asked: Mapping[ItemKey, Decimal]

    @property
    def digest(self) -> str:
        return digest_of(self.request)


def remake_request(*, studio: Studio, today: date, outlook: Outlook, asked: Asked | None = None) -> Gathered:
    """What the studio's plan is made of. Fourteen statements, one more with expected use."""
    until = outlook.until
    pours, unplanned = demand.drafted_pours(studio, until), demand.drafts_without_a_plan(studio, until)
    makings = demand.open_makings(studio)
    versions = {row["version_id"] for row in unplanned} | {batch.version_id for batch in makings}
    bases, lines = demand.lines_of_versions(studio, {one for one in versions if one is not None})
    catalogue = Catalogue(Material.objects.of(studio).order_by("id"), bases)
    for par in Par.objects.of(studio).order_by("id"):
        catalogue.want(par)
    receipts = [
        *demand.receipts_of_batches(makings, catalogue, lines, today),
        *demand.receipts_of_purchases(demand.coming_purchases(studio), catalogue, today),
    ]
    wished = _asked(asked, catalogue)
    for base_lines in bases.values():
        demand.version_inputs(base_lines, None, catalogue)
    for row in unplanned:
        if row["version_id"] is None:
            catalogue.item(row["material_id"], row["strength"] or Decimal(1), row["solvent_id"])
        else:
            demand.version_inputs(lines.get(row["version_id"], []), row["strength"], catalogue)
    offers = _offers(studio, catalogue)
    lots = _lots(studio, catalogue)
    reserved = list(demand.reserved_of(demand.reserved_for_later(studio, today), catalogue))
    claims = demand.unusable_claims(studio, until)
    wanted = [
        *demand.demands_of_pours(pours, catalogue),
        *demand.demands_of_claims(claims, catalogue, today, until),
    ]
    used = demand.weekly_use(studio, today) if outlook.expected_use else []
    for row in used:
        catalogue.item(row["made_of"], row["strength"] or Decimal(1), row["solvent_id"])
    recipes = _recipes(studio, catalogue)
    first = {recipe.item: recipe for recipe in reversed(recipes)}
    wanted += demand.demands_without_a_plan(unplanned, catalogue, lines, first)
    wanted += demand.demands_of_use(used, catalogue, wanted, today, until)
    request = RemakeRequest(
        today=today,
        until=until,
        items=catalogue.items(),
        lots=tuple(lots),
        reserved=tuple(reserved),
        receipts=tuple(receipts),
        demands=tuple(wanted),
        recipes=tuple(recipes),
        offers=tuple(offers),
        kept_masses=dict(outlook.kept),
    )
    return Gathered(request=request, catalogue=catalogue, asked=wished)


def digest_of(request: RemakeRequest) -> str:
    """What the plan was computed on, in eight digits for each part, so that it can be told which part changed."""
    return "-".join(hashlib.sha256(repr(part).encode()).hexdigest()[:8] for part in _parts(request))


def changed_parts(before: str, after: str) -> list[str]:
    """Which parts differ between two digests, in words; all of them when the first is none of ours."""
    old, new = before.split("-"), after.split("-")
    if len(old) != len(new):
        return list(SECTIONS.values())
    return [words for words, was, is_now in zip(SECTIONS.values(), old, new, strict=True) if was != is_now]


def _parts(request: RemakeRequest) -> Iterator[object]:
    yield request.today, request.until
    yield request.lots, request.reserved
    yield request.receipts
    yield request.demands
    yield request.items
    yield request.recipes
    yield request.offers


def _asked(asked: Asked | None, catalogue: Catalogue) -> dict[ItemKey, Decimal]:
    if asked is None:
        return {}
    inputs = demand.version_inputs(list(asked.lines), asked.strength, catalogue)
    return dict(demand.shares_of(inputs, asked.mass))


def _lots(studio: Studio, catalogue: Catalogue) -> list[StockLot]:
    rows = (
        Lot.objects.of(studio)
        .open()
        .filter(kind__in=PLANNED_FROM, material__isnull=False)
        .order_by("id")
        .values_list(
            "id", "number", "kind", "material_id", "declared_strength", "solvent_id", "on_hand", "reserved",
            "made_at", "expires_on", "held_at",
        )
    )  # fmt: skip
    return [
        StockLot(
            id=lot_id,
            number=number,
            item=catalogue.item(material, strength or Decimal(1), solvent),
            mass=max(on_hand - reserved, ZERO_MASS),
            usable_from=_rested(catalogue, kind, material, made_at.date()),
            expires_on=expires_on,
            held=held_at is not None,
        )
        for lot_id, number, kind, material, strength, solvent, on_hand, reserved, made_at, expires_on, held_at in rows
    ]


def _rested(catalogue: Catalogue, kind: str, material: int, made_on: date) -> date | None:
    """From when on what was made here may be used: it first dissolves or matures."""
    days = catalogue.materials[material].resting_days
    return made_on + timedelta(days=days) if days and kind != LotKind.BOTTLE else None


def _offers(studio: Studio, catalogue: Catalogue) -> list[Offer]:
    rows = OfferRow.objects.of(studio).filter(withdrawn_at=None).select_related("supplier").order_by("id")
    return [
        Offer(
            id=row.pk,
            supplier=row.supplier_id,
            supplier_name=row.supplier.name,
            item=catalogue.item(row.material_id, row.strength, row.solvent_id),
            pack=row.pack,
            price=row.price,
            delivery_days=row.supplier.delivery_days if row.delivery_days is None else row.delivery_days,
            from_packs=row.from_packs,
        )
        for row in rows
    ]


def _recipes(studio: Studio, catalogue: Catalogue) -> list[Recipe]:
    """How every item can be made, and every item that it takes: intermediates are met on the way."""
    weight = _smallest_weight(studio)
    limits = {
        (row.material_id, row.solvent_id): row.limit for row in Solubility.objects.of(studio).order_by("id")
    }
    made: dict[ItemKey, list[Recipe]] = {}
    while fresh := [key for key in catalogue.all_keys() if key not in made]:
        for key in fresh:
            made[key] = list(_ways(key, catalogue, weight, limits))
    return [recipe for key in sorted(made, key=lambda key: key.place) for recipe in made[key]]


def _ways(
    key: ItemKey, catalogue: Catalogue, weight: Decimal, limits: Mapping[tuple[int, int], Decimal]
) -> Iterator[Recipe]:
    material = catalogue.materials[key.material]
    if catalogue.is_base(key):
        lines = list(catalogue.bases.get(key.material, ()))
        recipe = lines and base_recipe(
            item=key,
            lines=lines,
            as_written=demand.strength_of(lines),
            bases=catalogue.bases,
            smallest_weight=weight,
            largest=material.largest_stock,
            making_days=material.making_days,
            resting_days=material.resting_days,
        )
        if recipe:
            yield replace(recipe, inputs=demand.in_catalogue(recipe.inputs, catalogue))
        return
    if key.strength == 1 or key.solvent is None or material.kind != MaterialKind.ODORANT:
        return
    par = catalogue.pars.get(key)
    parents = dilution_parents(
        item=key,
        known=catalogue.strengths_like(key),
        smallest_weight=weight,
        kept=max(KEPT_AT_MOST, par.full if par else ZERO_MASS),
        solubility=limits.get((key.material, key.solvent)),
    )
    for parent in parents:
        recipe = dilution_recipe(
            item=key,
            parent=parent,
            smallest_weight=weight,
            largest=material.largest_stock,
            making_days=material.making_days,
            resting_days=material.resting_days,
        )
        yield replace(recipe, inputs=demand.in_catalogue(recipe.inputs, catalogue))


def _smallest_weight(studio: Studio) -> Decimal:
    """Grams from which the studio's finest balance weighs within its tolerance; a microgram without any."""
    balances = Balance.objects.of(studio).filter(retired_at=None).select_related("studio").order_by("id")
    return max(min((one.smallest_net_weight for one in balances), default=MICROGRAM), MICROGRAM)
