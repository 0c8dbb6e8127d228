"""Writing down what a material is: one at a time or a whole list, all or none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from inventory.calc.codes import HazardCodeShape, parse_cas, parse_hazard_code
from inventory.models import Lot, Material, MaterialKind, Solubility
from studio.actions.changing import change_fields
from studio.actions.history import record, record_each
from studio.kernel.errors import Conflict, Faults, Invalid
from studio.kernel.work import work
from studio.models import Member


class KindInUse(Conflict):
    """A material's kind decides how its lots are reckoned, so it is fixed once there are lots."""

    code = "kind-in-use"
    title = "The kind is in use"


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialCard:
    """What is told of a material. Density in g/mL at 20 °C, flash point in °C, shelf lives, making and resting in days,
    what the container of its stocks takes in grams."""

    name: str
    kind: str = MaterialKind.ODORANT
    cas: str = ""
    synonyms: str = ""
    density_g_ml: Decimal | None = None
    flash_point_c: Decimal | None = None
    hazards: Sequence[str] = field(default_factory=list)
    shelf_life_days: int | None = None
    stock_shelf_life_days: int | None = None
    making_days: int = 0
    resting_days: int = 0
    largest_stock: Decimal | None = None
    note: str = ""


def add_materials(
    *, by: Member, now: datetime, cards: Sequence[MaterialCard], places: Sequence[str] | None = None
) -> list[Material]:
    """Write new materials, all or none. Raises `Invalid` with the faults of every card.

    `places` says what to put before the field of a fault, per card, such as `12.` for line 12 of a sheet.
    """
    faults = Faults()
    known = _known_names(by, [card.name for card in cards])
    checked = []
    for card, prefix in zip(cards, places or [""] * len(cards), strict=True):
        checked.append(_checked(card, faults, prefix))
        if card.name.casefold() in known:
            faults.add(f"{prefix}name", f"There is already a material “{card.name}”.")
        known.add(card.name.casefold())
    faults.refuse_if_any()
    with work():
        materials = Material.objects.bulk_create(
            Material(studio_id=by.studio_id, created_at=now, **values) for values in checked
        )
        record_each(
            by=by,
            at=now,
            subject="material",
            verb="added",
            things={material.name: {"kind": [None, material.kind]} for material in materials},
        )
    return materials


def change_material(
    *, by: Member, now: datetime, material: Material, changes: Mapping[str, Any], expected: int | None
) -> Material:
    """Change fields of a material. Raises `Invalid`, `KindInUse`, `StaleEdition`."""
    faults = Faults()
    wanted = dict(changes)
    if "cas" in wanted:
        wanted["cas"] = _cas(wanted["cas"], faults, "cas")
    if "hazards" in wanted:
        wanted["hazards"] = _hazards(wanted["hazards"], faults, "hazards")
    if "name" in wanted and wanted["name"].casefold() in _known_names(by, [wanted["name"]], besides=material):
        faults.add("name", f"There is already a material “{wanted['name']}”.")
    faults.refuse_if_any()
    if wanted.get("kind", material.kind) != material.kind and _kind_is_fixed(material):
        raise KindInUse(f"{material} has lots, so it stays {material.get_kind_display().lower()}.")
    return change_fields(
        by=by,
        at=now,
        row=material,
        subject="material",
        name=material.name,
        changes=wanted,
        expected=expected,
    )


def set_solubility(
    *, by: Member, now: datetime, material: Material, solvent: Material, limit: Decimal, source: str = ""
) -> Solubility:
    """Record the largest mass fraction of a material that dissolves in a solvent."""
    if solvent.kind != MaterialKind.SOLVENT:
        raise Invalid(f"{solvent} is not a solvent.", errors={"solvent": [f"{solvent} is not a solvent."]})
    with work():
        before = Solubility.objects.filter(material=material, solvent=solvent).first()
        row, _ = Solubility.objects.update_or_create(
            material=material,
            solvent=solvent,
            defaults={"studio_id": by.studio_id, "limit": limit, "source": source},
        )
        record(
            by=by,
            at=now,
            subject="material",
            name=material.name,
            verb="solubility",
            changes={solvent.name: [str(before.limit) if before else None, str(limit)]},
        )
    return row


def _kind_is_fixed(material: Material) -> bool:
    return material.kind == MaterialKind.BASE or Lot.objects.filter(material=material).exists()


def _checked(card: MaterialCard, faults: Faults, prefix: str) -> dict[str, Any]:
    if card.kind == MaterialKind.BASE:
        faults.add(f"{prefix}kind", "A base comes from adopting a formula version, not by hand.")
    return {
        "name": card.name,
        "kind": card.kind,
        "cas": _cas(card.cas, faults, f"{prefix}cas"),
        "synonyms": card.synonyms,
        "density_g_ml": card.density_g_ml,
        "flash_point_c": card.flash_point_c,
        "hazards": _hazards(card.hazards, faults, f"{prefix}hazards"),
        "shelf_life_days": card.shelf_life_days,
        "stock_shelf_life_days": card.stock_shelf_life_days,
        "making_days": card.making_days,
        "resting_days": card.resting_days,
        "largest_stock": card.largest_stock,
        "note": card.note,
    }


def _cas(text: str, faults: Faults, where: str) -> str:
    if not text:
        return ""
    try:
        return parse_cas(text)
    except Invalid as fault:
        faults.add(where, fault.message)
        return text


def _hazards(codes: Sequence[str], faults: Faults, where: str) -> list[str]:
    parsed: dict[str, None] = {}
    for code in codes:
        try:
            parsed[parse_hazard_code(code)] = None
        except HazardCodeShape as fault:
            faults.add(where, fault.message)
    return list(parsed)


def _known_names(by: Member, names: Sequence[str], besides: Material | None = None) -> set[str]:
    """Names already taken, without regard to case; the studio's few hundred materials are read at once."""
    rows = Material.objects.of(by.studio_id)
    if besides is not None:
        rows = rows.exclude(pk=besides.pk)
    taken = {name.casefold() for name in rows.values_list("name", flat=True)}
    return taken & {name.casefold() for name in names}
