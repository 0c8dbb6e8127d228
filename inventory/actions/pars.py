"""Setting pars: how much of a material, at a strength and in a solvent, the studio wants on the shelf."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from inventory.calc.wording import figure, percent
from inventory.models import Material, MaterialKind, Par
from studio.actions.changing import refuse_stale
from studio.actions.history import record
from studio.kernel.errors import Faults
from studio.kernel.work import work
from studio.models import Member

ONE = Decimal(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedPar:
    """Grams wanted on the shelf: made or bought again below `low`, up to `full`. A base brings its own solvents."""

    material: Material
    low: Decimal
    full: Decimal
    strength: Decimal = ONE
    solvent: Material | None = None


def set_pars(
    *, by: Member, now: datetime, pars: Sequence[WantedPar], places: Sequence[str] | None = None
) -> list[Par]:
    """Set several pars, all or none; one that is there already gets the new figures.

    Raises `Invalid` with the faults of every par; `places` says what to put before the field of a fault, per par,
    such as `12.` for line 12 of a sheet.
    """
    _check_all(pars, list(places or [""] * len(pars)))
    with work():
        known = {_key(par): par for par in _locked(by, pars)}
        return [_set(by, now, wanted, known.get(_wanted_key(wanted))) for wanted in pars]


def change_par(
    *,
    by: Member,
    now: datetime,
    par: Par,
    low: Decimal | None = None,
    full: Decimal | None = None,
    expected: int | None = None,
) -> Par:
    """Change the figures of a par; what is left out stays. Raises `Invalid`, `StaleEdition`."""
    with work():
        locked = _locked_par(by, par, expected)
        wanted = WantedPar(
            material=locked.material,
            strength=locked.strength,
            solvent=locked.solvent,
            low=locked.low if low is None else low,
            full=locked.full if full is None else full,
        )
        [changed] = set_pars(by=by, now=now, pars=[wanted])
    return changed


def drop_par(*, by: Member, now: datetime, par: Par, why: str = "", expected: int | None = None) -> None:
    """No longer want this on the shelf. Raises `StaleEdition`."""
    with work():
        locked = _locked_par(by, par, expected)
        change = {described(locked): [f"{locked.low} to {locked.full} g", None]}
        name = locked.material.name
        record(by=by, at=now, subject="material", name=name, verb="par", changes=change, why=why)
        locked.delete()


def described(par: "Par | WantedPar") -> str:
    """What a par is of, such as `10 % in ethanol`; `neat` for the material itself."""
    if par.strength == 1:
        return "neat"
    return percent(par.strength) + (f" in {par.solvent.name}" if par.solvent else "")


def check_dilution(
    *, material: Material, strength: Decimal, solvent: Material | None, faults: Faults, prefix: str = ""
) -> None:
    """Gather what is wrong with a dilution that stands on the shelf, each field named behind `prefix`."""
    if material.kind == MaterialKind.SOLVENT and strength < 1:
        faults.add(f"{prefix}strength", f"{material} is a solvent; its strength is 1.")
    elif material.kind == MaterialKind.BASE and solvent is not None:
        faults.add(f"{prefix}solvent", f"{material} is a base and brings its own solvents; leave this out.")
    elif strength == 1 and solvent is not None:
        faults.add(f"{prefix}solvent", "Neat (strength 1) has no solvent; leave it out.")
    elif solvent is not None and solvent.kind != MaterialKind.SOLVENT:
        faults.add(f"{prefix}solvent", f"{solvent} is not a solvent.")
    elif strength < 1 and solvent is None and material.kind == MaterialKind.ODORANT:
        faults.add(f"{prefix}solvent", f"A dilution of {material} needs the solvent it is in.")


def _check_all(pars: Sequence[WantedPar], places: Sequence[str]) -> None:
    faults = Faults()
    seen: set[tuple[int, Decimal, int | None]] = set()
    for wanted, prefix in zip(pars, places, strict=True):
        check_dilution(
            material=wanted.material,
            strength=wanted.strength,
            solvent=wanted.solvent,
            faults=faults,
            prefix=prefix,
        )
        if wanted.full < wanted.low:
            faults.add(
                f"{prefix}full", f"Full ({figure(wanted.full)} g) is below low ({figure(wanted.low)} g)."
            )
        if _wanted_key(wanted) in seen:
            faults.add(f"{prefix}material", f"{wanted.material} {described(wanted)} stands here twice.")
        seen.add(_wanted_key(wanted))
    faults.refuse_if_any()


def _locked(by: Member, pars: Iterable[WantedPar]) -> list[Par]:
    rows = Par.objects.of(by.studio_id).filter(material__in={wanted.material.id for wanted in pars})
    return list(rows.select_for_update(no_key=True, of=("self",)).order_by("id"))


def _locked_par(by: Member, par: Par, expected: int | None) -> Par:
    rows = Par.objects.select_for_update(of=("self",)).select_related("material", "solvent")
    locked: Par = rows.one(by.studio_id, "par", pk=par.pk)
    refuse_stale(locked, expected, "The par")
    return locked


def _set(by: Member, now: datetime, wanted: WantedPar, par: Par | None) -> Par:
    before = f"{par.low} to {par.full} g" if par else None
    after = f"{wanted.low:.6f} to {wanted.full:.6f} g"
    if par is None:
        par = Par(
            studio_id=by.studio_id,
            material=wanted.material,
            strength=wanted.strength,
            solvent=wanted.solvent,
            edition=0,
        )
    elif (par.low, par.full) == (wanted.low, wanted.full):
        return par
    par.low, par.full = wanted.low, wanted.full
    par.edition += 1
    par.save()
    record(
        by=by,
        at=now,
        subject="material",
        name=wanted.material.name,
        verb="par",
        changes={described(wanted): [before, after]},
    )
    return par


def _wanted_key(wanted: WantedPar) -> tuple[int, Decimal, int | None]:
    return wanted.material.id, wanted.strength, wanted.solvent.id if wanted.solvent else None


def _key(par: Par) -> tuple[int, Decimal, int | None]:
    return par.material_id, par.strength, par.solvent_id
