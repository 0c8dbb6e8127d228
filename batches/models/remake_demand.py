"""What is wanted when and what comes without anybody's doing, added up in the database by day and item.

A dated draft wants what its weigh plan takes, or what its formula says where nothing fits yet. What a reserved batch
has claimed is no longer there for others, though until the batch's day it stands on the shelf for the par; the batch
wants something again only where its claim is on a lot that cannot be used: held, past its day, or emptied by others.
"""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, DateField, Exists, F, Max, Min, OuterRef, Q, Subquery, Sum

from batches.calc.remake_recipes import line_inputs
from batches.calc.remake_request import Demand, ItemKey, Receipt, Reserved, Wanted
from batches.calc.strength import BadFormula, FormulaLine, NoOdorant
from batches.models.formulas import FormulaLine as LineRow
from batches.models.making import CLAIMING, Batch, BatchKind, BatchLine, BatchState, Weighing
from batches.models.remake_items import Catalogue
from batches.models.shelf_lots import PLANNED_FROM
from batches.models.written import as_calc_lines
from inventory.calc.wording import figure
from inventory.models import Claim, ClaimState, Purchase, PurchaseState
from studio.kernel.mass import ZERO_MASS, nearest_mass
from studio.models import Studio

USE_WEEKS = 8
WEEK = timedelta(days=7)
Lines = Mapping[int, list[FormulaLine]]
Totals = dict[str, Any]

_COUNTED: Totals = {
    "batches": Count("batch", distinct=True),
    "first": Min("batch__number"),
    "last": Max("batch__number"),
}


def drafted_pours(studio: Studio, until: date) -> list[Totals]:
    """Grams that the weigh plans of dated drafts take, by day and what the lot is. One statement."""
    rows = (
        BatchLine.objects.of(studio)
        .filter(batch__state=BatchState.DRAFT, batch__planned_on__lte=until, lot__material__isnull=False)
        .values(
            day=F("batch__planned_on"),
            made_of=F("lot__material_id"),
            strength=F("lot__declared_strength"),
            solvent_id=F("lot__solvent_id"),
        )
        .annotate(grams=Sum("target"), **_COUNTED)
        .order_by("day", "made_of", "strength", "solvent_id")
    )
    return [dict(row) for row in rows]


def drafts_without_a_plan(studio: Studio, until: date) -> list[Totals]:
    """Grams of dated drafts that nothing on the shelf fits yet, by day and what is made. One statement."""
    rows = (
        Batch.objects.of(studio)
        .filter(state=BatchState.DRAFT, planned_on__lte=until)
        .exclude(Exists(BatchLine.objects.filter(batch=OuterRef("pk"))))
        .values("kind", "version_id", "material_id", "solvent_id", "strength", day=F("planned_on"))
        .annotate(grams=Sum("mass"), batches=Count("pk"), first=Min("number"), last=Max("number"))
        .order_by("day", "strength", "version_id", "material_id", "solvent_id")
    )
    return [dict(row) for row in rows]


def lines_of_versions(studio: Studio, versions: set[int]) -> tuple[Lines, Lines]:
    """The lines of every adopted version by the material of its base, and of `versions` by their id. One statement."""
    rows = (
        LineRow.objects.of(studio)
        .filter(Q(version__formula__adopted_id=F("version_id")) | Q(version_id__in=versions))
        .select_related("material")
        .annotate(base=F("version__formula__base_id"), adopted=F("version__formula__adopted_id"))
        .order_by("version_id", "position", "id")
    )
    gathered: dict[int, list[Any]] = {}
    for row in rows:
        gathered.setdefault(row.version_id, []).append(row)
    by_version = {version: as_calc_lines(lines) for version, lines in gathered.items()}
    bases = {
        lines[0].base: by_version[version]
        for version, lines in gathered.items()
        if lines[0].adopted == version
    }
    return bases, by_version


def unusable_claims(studio: Studio, until: date) -> list[Totals]:
    """Open claims on lots that are held, claimed beyond what is there, or expire by then. One statement."""
    of_batch = Batch.objects.filter(studio=studio, number=OuterRef("purpose"))
    reasoned = BatchLine.objects.filter(batch__number=OuterRef("purpose"), lot=OuterRef("lot_id")).exclude(
        expired_reason=""
    )
    rows = (
        Claim.objects.of(studio)
        .filter(state=ClaimState.OPEN)
        .filter(
            Q(lot__held_at__isnull=False)
            | Q(lot__expires_on__lte=until)
            | Q(lot__reserved__gt=F("lot__on_hand"))
        )
        .annotate(
            day=Subquery(of_batch.values("planned_on")[:1], output_field=DateField()),
            title=Subquery(of_batch.values("title")[:1]),
            allowed=Exists(reasoned),
        )
        .order_by("lot_id", "made_at", "id")
        .values(
            "lot_id",
            "purpose",
            "mass",
            "poured",
            "day",
            "title",
            "allowed",
            on_hand=F("lot__on_hand"),
            held=F("lot__held_at"),
            expires_on=F("lot__expires_on"),
            made_of=F("lot__material_id"),
            strength=F("lot__declared_strength"),
            solvent_id=F("lot__solvent_id"),
        )
    )
    return [dict(row) for row in rows]


def reserved_for_later(studio: Studio, today: date) -> list[Totals]:
    """What dated batches have claimed of good lots and not poured yet, added up by item and day. One statement."""
    of_batch = Batch.objects.filter(studio=studio, number=OuterRef("purpose"))
    rows = (
        Claim.objects.of(studio)
        .filter(state=ClaimState.OPEN, lot__held_at__isnull=True, lot__material__isnull=False)
        .filter(lot__kind__in=PLANNED_FROM, lot__reserved__lte=F("lot__on_hand"))
        .annotate(day=Subquery(of_batch.values("planned_on")[:1], output_field=DateField()))
        .filter(Q(lot__expires_on__isnull=True) | Q(lot__expires_on__gte=F("day")), day__gt=today)
        .values(
            "day",
            made_of=F("lot__material_id"),
            strength=F("lot__declared_strength"),
            solvent_id=F("lot__solvent_id"),
        )
        .annotate(claimed=Sum("mass"), taken=Sum("poured"))
        .order_by("day", "made_of", "strength", "solvent_id")
    )
    return [dict(row) for row in rows]


def reserved_of(rows: list[Totals], catalogue: Catalogue) -> Iterator[Reserved]:
    """The same by the items of the plan."""
    for row in rows:
        item = catalogue.item(row["made_of"], row["strength"] or Decimal(1), row["solvent_id"])
        if row["claimed"] > row["taken"]:
            yield Reserved(item=item, day=row["day"], mass=row["claimed"] - row["taken"])


def demands_of_claims(rows: list[Totals], catalogue: Catalogue, today: date, until: date) -> Iterator[Demand]:
    """What batches in hand must get from elsewhere: the part of their claims that their lots cannot serve."""
    covered: dict[int, Decimal] = {}
    for row in rows:
        left = covered.setdefault(row["lot_id"], row["on_hand"])
        covered[row["lot_id"]] = max(left - row["mass"], ZERO_MASS)
        day = row["day"] or today
        if day > until:
            continue
        past = row["expires_on"] is not None and row["expires_on"] < max(day, today) and not row["allowed"]
        lacking = row["mass"] - row["poured"] if row["held"] or past else max(row["mass"] - left, ZERO_MASS)
        if lacking > 0 and row["made_of"] is not None:
            yield Demand(
                ref=row["purpose"],
                label=f"{row['purpose']} {row['title'] or ''}".strip(),
                item=_item(row, catalogue),
                day=day,
                mass=lacking,
            )


def demands_of_pours(rows: list[Totals], catalogue: Catalogue) -> Iterator[Demand]:
    for row in rows:
        yield Demand(
            ref=_ref(row),
            label=_label(row),
            item=_item(row, catalogue),
            day=row["day"],
            mass=row["grams"],
        )


def demands_without_a_plan(
    rows: list[Totals], catalogue: Catalogue, lines: Lines, stocks: Mapping[ItemKey, Any]
) -> Iterator[Demand]:
    """By the formula as written or restated, by the first recipe of a stock; `stocks` are recipes by item."""
    for row in rows:
        if row["kind"] == BatchKind.STOCK:
            item = catalogue.item(row["material_id"], row["strength"], row["solvent_id"])
            inputs = stocks[item].inputs if item in stocks else ()
        else:
            inputs = version_inputs(lines.get(row["version_id"], []), row["strength"], catalogue)
        yield from demands_for(
            inputs=inputs, mass=row["grams"], day=row["day"], ref=_ref(row), label=_label(row)
        )


def version_inputs(
    lines: list[FormulaLine], strength: Decimal | None, catalogue: Catalogue
) -> tuple[Any, ...]:
    """What a formula takes, as items of the catalogue; nothing where its lines cannot be worked with."""
    try:
        inputs = line_inputs(lines, strength, catalogue.bases)
    except (BadFormula, NoOdorant):
        return ()
    return in_catalogue(inputs, catalogue)


def in_catalogue(inputs: tuple[Any, ...], catalogue: Catalogue) -> tuple[Any, ...]:
    """Inputs whose items are those of the catalogue, each once."""
    gathered: dict[ItemKey, Decimal] = {}
    for one in inputs:
        item = catalogue.item(one.item.material, one.item.strength, one.item.solvent)
        gathered[item] = gathered.get(item, Decimal(0)) + one.parts
    return tuple(type(inputs[0])(item, parts) for item, parts in gathered.items())


def demands_for(
    *, inputs: tuple[Any, ...], mass: Decimal, day: date, ref: str, label: str
) -> Iterator[Demand]:
    """`mass` grams of a mixture of these inputs, on a day."""
    for item, grams in shares_of(inputs, mass):
        yield Demand(ref=ref, label=label, item=item, day=day, mass=grams)


def shares_of(inputs: tuple[Any, ...], mass: Decimal) -> Iterator[tuple[ItemKey, Decimal]]:
    """Grams of each item in `mass` grams of a mixture of these inputs."""
    total = sum((one.parts for one in inputs), Decimal(0))
    for one in inputs:
        grams = nearest_mass(mass * one.parts / total)
        if grams > 0:
            yield one.item, grams


def open_makings(studio: Studio) -> list[Batch]:
    """Stocks and bases that are being made or are to be made on a day. One statement."""
    dated = Q(state=BatchState.DRAFT, planned_on__isnull=False) | Q(state__in=CLAIMING)
    return list(Batch.objects.of(studio).filter(dated, material__isnull=False).order_by("id"))


def receipts_of_batches(
    batches: list[Batch], catalogue: Catalogue, lines: Lines, today: date
) -> Iterator[Receipt]:
    for batch in batches:
        assert batch.material_id is not None
        strength = batch.strength or strength_of(lines.get(batch.version_id or 0, []))
        if not strength:
            continue
        item = catalogue.item(batch.material_id, strength, batch.solvent_id)
        material = catalogue.materials[batch.material_id]
        made_on = max(batch.planned_on or today, today) + timedelta(days=material.making_days)
        life = catalogue.life(item)
        yield Receipt(
            ref=batch.number,
            label=f"{batch.number} {batch.title}",
            item=item,
            day=made_on + timedelta(days=material.resting_days),
            mass=batch.mass,
            expires_on=None if life is None else made_on + timedelta(days=life),
        )


def strength_of(lines: list[FormulaLine]) -> Decimal:
    """As written; 0 where nothing can be said."""
    total = sum((line.parts for line in lines), Decimal(0))
    odorant = sum((line.parts * line.strength for line in lines if not line.is_solvent), Decimal(0))
    return odorant / total if total else Decimal(0)


def coming_purchases(studio: Studio) -> list[Purchase]:
    """One statement."""
    rows = Purchase.objects.of(studio).coming().select_related("offer", "offer__supplier")
    return list(rows.order_by("id"))


def receipts_of_purchases(purchases: list[Purchase], catalogue: Catalogue, today: date) -> Iterator[Receipt]:
    for purchase in purchases:
        offer = purchase.offer
        item = catalogue.item(offer.material_id, offer.strength, offer.solvent_id)
        late = (
            max(today - purchase.order_on, timedelta())
            if purchase.state == PurchaseState.TO_ORDER
            else timedelta()
        )
        day = purchase.due_on + late
        life = catalogue.life(item)
        yield Receipt(
            ref=f"purchase {purchase.pk}",
            label=f"{purchase.packs} × {figure(offer.pack)} g from {offer.supplier.name}, {purchase.state}",
            item=item,
            day=day,
            mass=purchase.mass,
            expires_on=None if life is None else max(day, today) + timedelta(days=life),
        )


def weekly_use(studio: Studio, today: date) -> list[Totals]:
    """Grams weighed in the last weeks by what the lot is, whatever the batch. One statement."""
    rows = (
        Weighing.objects.of(studio)
        .standing()
        .filter(at__date__gte=today - USE_WEEKS * WEEK, at__date__lt=today, lot__material__isnull=False)
        .values(
            made_of=F("lot__material_id"),
            strength=F("lot__declared_strength"),
            solvent_id=F("lot__solvent_id"),
        )
        .annotate(grams=Sum("mass"))
        .order_by("made_of", "strength", "solvent_id")
    )
    return [dict(row) for row in rows]


def demands_of_use(
    rows: list[Totals], catalogue: Catalogue, planned: list[Demand], today: date, until: date
) -> Iterator[Demand]:
    """The mean use of the last weeks, once a week, where no more than that is planned for it anyhow."""
    means: dict[ItemKey, Decimal] = {}
    for row in rows:
        item = _item(row, catalogue)
        means[item] = means.get(item, ZERO_MASS) + row["grams"] / USE_WEEKS
    already: dict[tuple[ItemKey, int], Decimal] = {}
    for one in planned:
        week = (item, (max(one.day, today) - today).days // 7) if (item := one.item) in means else None
        if week:
            already[week] = already.get(week, ZERO_MASS) + one.mass
    for number in range((until - today).days // 7):
        start = today + number * WEEK
        for item, mean in means.items():
            more = nearest_mass(mean - already.get((item, number), ZERO_MASS))
            if more > 0:
                yield Demand(
                    ref=f"use {start}",
                    label=f"usual use in the week from {start}",
                    item=item,
                    day=start,
                    mass=more,
                    wanted=Wanted.USE,
                )


def _item(row: Totals, catalogue: Catalogue) -> ItemKey:
    return catalogue.item(row["made_of"], row["strength"] or Decimal(1), row["solvent_id"])


def _ref(row: Totals) -> str:
    return str(row["first"]) if row["batches"] == 1 else f"{row['first']} … {row['last']}"


def _label(row: Totals) -> str:
    if row["batches"] == 1:
        return str(row["first"])
    between = "and" if row["batches"] == 2 else "to"
    return f"{row['batches']} batches, {row['first']} {between} {row['last']}"
