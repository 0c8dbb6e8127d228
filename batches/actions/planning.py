"""Drafting batches: what is to be made, of how much, under which circumstances. The weigh plan is made at once."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import TypedDict, Unpack

from batches.actions.formulas import fix_version
from batches.actions.weigh_plans import Wishes, make_plan
from batches.calc.dilution import check_solubility
from batches.models import Batch, BatchKind, Formula, FormulaVersion
from batches.models.weigh_requests import finest_balance
from inventory.calc.wording import percent
from inventory.models import Balance, Material, MaterialKind, Solubility
from studio.actions.history import record
from studio.actions.running import next_number
from studio.kernel.errors import Faults, Invalid
from studio.kernel.work import work
from studio.models import Member

BOUNDLESS = (Decimal(0), Decimal(1))


class NotASolvent(Invalid):
    """A stock is made in a solvent, of something else."""

    code = "not-a-solvent"
    title = "Not a solvent"


class Circumstances(TypedDict, total=False):
    """What a batch is made with: title, vessel (grams), balance, tolerance (relative), day, note.

    Without a balance the finest that carries the batch is taken; without a tolerance the studio's.
    """

    title: str
    vessel_capacity: Decimal | None
    balance: Balance | None
    tolerance: Decimal | None
    planned_on: date | None
    note: str


def draft_formula_batch(
    *,
    by: Member,
    now: datetime,
    version: FormulaVersion,
    mass: Decimal,
    strength: Decimal | None = None,
    solvent_bounds: Mapping[Material, tuple[Decimal | None, Decimal | None]] | None = None,
    **circumstances: Unpack[Circumstances],
) -> Batch:
    """Draft a blend, or a base when the version is the one adopted, of `mass` grams; the version is fixed from now on.

    Raises what the request of the plan refuses (`BadFormula`, `NoOdorant`, `BadWeighRequest`).
    """
    with work():
        fix_version(version=version, now=now)
        formula = Formula.objects.select_related("base").get(pk=version.formula_id)
        is_base = formula.adopted_id == version.id
        batch = start_draft(
            Batch(
                kind=BatchKind.BASE if is_base else BatchKind.BLEND,
                version=version,
                material=formula.base if is_base else None,
                mass=mass,
                strength=strength,
                solvent_bounds=_bounds(solvent_bounds or {}),
            ),
            by,
            now,
            circumstances,
            title=f"{formula.name} {version.number}",
        )
        make_plan(batch, now.date(), Wishes())
    return batch


def draft_stock_batch(
    *,
    by: Member,
    now: datetime,
    material: Material,
    strength: Decimal,
    solvent: Material,
    mass: Decimal,
    **circumstances: Unpack[Circumstances],
) -> Batch:
    """Draft `mass` grams of a material at `strength` in a solvent, from a stronger lot of it.

    Raises `NotASolvent`, and `BeyondSolubility` when the solvent is known to dissolve less.
    """
    _check_stock(material, strength, solvent)
    with work():
        batch = start_draft(
            Batch(kind=BatchKind.STOCK, material=material, solvent=solvent, mass=mass, strength=strength),
            by,
            now,
            circumstances,
            title=f"{material.name} {percent(strength)} in {solvent.name}",
        )
        make_plan(batch, now.date(), Wishes())
    return batch


def _check_stock(material: Material, strength: Decimal, solvent: Material) -> None:
    if solvent.kind != MaterialKind.SOLVENT or material == solvent:
        sentence = f"{solvent.name} cannot be the solvent of {material.name}; give a solvent other than it."
        raise NotASolvent(sentence, errors={"solvent": [sentence]})
    if strength == 1:
        sentence = "A stock is weaker than neat; give a strength below 1."
        raise Invalid(sentence, errors={"strength": [sentence]})
    known = Solubility.objects.filter(material=material, solvent=solvent).first()
    check_solubility(strength, known.limit if known else None)


def _bounds(
    given: Mapping[Material, tuple[Decimal | None, Decimal | None]],
) -> dict[str, tuple[str, str]]:
    faults = Faults()
    bounds = {}
    for solvent, (least, most) in given.items():
        low = BOUNDLESS[0] if least is None else least
        high = BOUNDLESS[1] if most is None else most
        if solvent.kind != MaterialKind.SOLVENT:
            faults.add("solvent_bounds", f"{solvent.name} is not a solvent.")
        if low > high:
            faults.add("solvent_bounds", f"The least share of {solvent.name} is above its greatest.")
        bounds[str(solvent.id)] = (str(low), str(high))
    faults.refuse_if_any()
    return bounds


def start_draft(batch: Batch, by: Member, now: datetime, given: Circumstances, *, title: str) -> Batch:
    """Number and write a new draft with the circumstances given; its lines are to be written next."""
    batch.studio = by.studio
    batch.number = next_number(studio=by.studio, sort="batch", year=now.year)
    batch.title = given.get("title") or title
    batch.vessel_capacity = given.get("vessel_capacity")
    batch.balance = given.get("balance") or finest_balance(by.studio_id, batch.mass)
    batch.tolerance = given.get("tolerance") or by.studio.weighing_tolerance
    batch.planned_on = given.get("planned_on")
    batch.note = given.get("note", "")
    batch.by = by
    batch.created_at = now
    batch.save(force_insert=True)
    record(by=by, at=now, subject="batch", name=batch.number, verb="drafted")
    return batch
