"""Strength of a formula as written, its ceiling, and what restating it to another strength asks of each line.

A formula is parts of stocks and free solvent. Line *i* has written mass *n*ᵢ and written strength *p*ᵢ; *T* = Σ*n*ᵢ over
all lines, *F* the mass of the free solvent lines, *a* = Σ*p*ᵢ*n*ᵢ over the others. As written it is at *a*/*T*; with every
gram of free solvent left out it reaches its ceiling *a*/(*T* − *F*); beyond that, lines must be taken from
stronger stocks. The solvents that come with the dilutions are kept apart by kind. Shares are not rounded here: nine
places would cost a trace line its digits before its mass is worked out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext

from inventory.calc.wording import figure, listed, percent
from studio.kernel.errors import Conflict, Faults, Invalid
from studio.kernel.mass import exact_strength, nearest_fraction, nearest_mass, positive_mass

_DIGITS = 40
ONE = Decimal(1)
_GRAMS_FOR_SHARES = Decimal(100_000)
"""Heavy enough that masses on the microgram grid give shares to more digits than anybody keeps."""


class BadFormula(Invalid):
    """Lines that no strength can be worked out from; every fault at once."""

    code = "bad-formula"
    title = "These lines cannot be worked with"


class NoOdorant(Invalid):
    """Only solvents: there is no strength to reckon with."""

    code = "no-odorant"
    title = "No odorant in it"


class AboveCeiling(Conflict):
    """The strength wanted is more than the stocks as written can give."""

    code = "above-ceiling"
    title = "Stronger than the stocks allow"


class NotStronger(Invalid):
    """A swap to a stock that is no stronger frees nothing."""

    code = "not-stronger"
    title = "Not a stronger stock"


@dataclass(frozen=True, slots=True)
class FormulaLine:
    """One line as written; `strength` 1 is neat, `solvent` the material its dilution is in.

    For a base, `strength` is the base's own odorant share. A line of a solvent material is free solvent.
    """

    key: int
    material: int
    name: str
    parts: Decimal
    strength: Decimal
    solvent: int | None
    is_solvent: bool


@dataclass(frozen=True, slots=True)
class LineShare:
    """A line's part in the formula: odorant share of all odorant, and how much solvent it carries, per gram of the whole."""

    key: int
    odorant_share: Decimal
    mass_share: Decimal
    carried_solvent: Decimal


@dataclass(frozen=True, slots=True)
class Strength:
    """A formula as written: strength, ceiling, shares per line and per solvent (all mass fractions of the whole)."""

    strength: Decimal
    ceiling: Decimal
    lines: tuple[LineShare, ...]
    solvents: dict[int, Decimal]


@dataclass(frozen=True, slots=True)
class RestatedLine:
    """Grams of one line, at its dilution as written."""

    key: int
    mass: Decimal


@dataclass(frozen=True, slots=True)
class Swap:
    """What taking one line from a stronger stock changes: its grams, the solvent freed, and the new ceiling."""

    key: int
    strength: Decimal
    mass: Decimal
    freed: Decimal
    ceiling: Decimal
    sentence: str


def strength_as_written(lines: Sequence[FormulaLine]) -> Decimal:
    """*a*/*T*; 0 for a formula of solvents alone. Raises `BadFormula`."""
    check_lines(lines)
    with localcontext(prec=_DIGITS):
        return odorant_parts(lines) / total_parts(lines)


def ceiling_as_written(lines: Sequence[FormulaLine]) -> Decimal:
    """*a*/(*T* − *F*): the strength with every gram of free solvent left out. Raises `BadFormula`, `NoOdorant`."""
    _check_odorant(lines)
    with localcontext(prec=_DIGITS):
        return odorant_parts(lines) / _stock_parts(lines)


def strength_report(lines: Sequence[FormulaLine]) -> Strength:
    """Strength, ceiling and shares as written. Raises `BadFormula`, `NoOdorant`."""
    _check_odorant(lines)
    with localcontext(prec=_DIGITS):
        odorant, total = odorant_parts(lines), total_parts(lines)
        return Strength(
            strength=odorant / total,
            ceiling=odorant / _stock_parts(lines),
            lines=tuple(
                LineShare(
                    key=line.key,
                    odorant_share=Decimal(0) if line.is_solvent else line.strength * line.parts / odorant,
                    mass_share=line.parts / total,
                    carried_solvent=_carried(line) / total,
                )
                for line in lines
            ),
            solvents=solvent_shares(lines),
        )


def solvent_shares(lines: Sequence[FormulaLine]) -> dict[int, Decimal]:
    """Mass fraction of every solvent by material id, free and carried together. Raises `BadFormula`.

    A dilution without a named solvent (a base at its own odorant share) carries solvents that are not known here.
    """
    check_lines(lines)
    return _shares_of_solvents(lines, {line.key: line.parts for line in lines})


def restated_solvent_shares(lines: Sequence[FormulaLine], strength: Decimal) -> dict[int, Decimal]:
    """What `solvent_shares` become once the formula is restated to `strength`. Raises what `restated` does."""
    grams = restated(lines, mass=_GRAMS_FOR_SHARES, strength=strength)
    return _shares_of_solvents(lines, {one.key: one.mass for one in grams})


def _shares_of_solvents(lines: Sequence[FormulaLine], amounts: Mapping[int, Decimal]) -> dict[int, Decimal]:
    shares: dict[int, Decimal] = {}
    with localcontext(prec=_DIGITS):
        total = sum(amounts.values(), Decimal(0))
        for line in lines:
            solvent = line.material if line.is_solvent else line.solvent
            if solvent is None:
                continue
            share = ONE if line.is_solvent else ONE - line.strength
            shares[solvent] = shares.get(solvent, Decimal(0)) + amounts[line.key] * share / total
    return shares


def restated(
    lines: Sequence[FormulaLine], *, mass: Decimal, strength: Decimal | None = None
) -> tuple[RestatedLine, ...]:
    """Grams of each line for `mass` grams at `strength` (as written when None), dilutions kept, solvent fitted.

    The other lines are multiplied by *k* = *c*′*T*/*a* and free solvent becomes *T* − *k*(*T* − *F*), in the proportions it is
    written in. Masses are rounded half-even to the microgram, and the largest line takes what rounding left over, so
    they add up to `mass` exactly. Raises `AboveCeiling`, `NoOdorant`, and `BadFormula`, also when there is no free
    solvent line to bring a lower strength about.
    """
    positive_mass(mass)
    _check_odorant(lines)
    with localcontext(prec=_DIGITS):
        odorant, total, stocks = odorant_parts(lines), total_parts(lines), _stock_parts(lines)
        wanted = odorant / total if strength is None else exact_strength(strength)
        ceiling = odorant / stocks
        if wanted > nearest_fraction(ceiling):
            raise _above_ceiling(lines, wanted, ceiling)
        free = total - stocks
        if nearest_fraction(wanted) == nearest_fraction(ceiling):
            # A ceiling that was read off with nine places and asked for again is the ceiling itself.
            wanted = ceiling
        factor = wanted * total / odorant
        if free == 0 and wanted < ceiling:
            raise BadFormula(
                f"There is no free solvent line to bring {percent(ceiling)} down to {percent(wanted)}; add one.",
                errors={"lines": ["No free solvent line."]},
            )
        rest = total - factor * stocks
        grams = [
            mass * (line.parts / free * rest if line.is_solvent else line.parts * factor) / total
            for line in lines
        ]
    return _fitted(lines, grams, mass)


def _above_ceiling(lines: Sequence[FormulaLine], wanted: Decimal, ceiling: Decimal) -> AboveCeiling:
    names = {line.key: line.name for line in lines}
    heaviest = [names[share.key] for share in holding_down(lines)[:3]]
    return AboveCeiling(
        f"{percent(wanted)} is wanted; with all free solvent left out these stocks reach {percent(ceiling)}. "
        f"Take lines from stronger stocks ({listed(heaviest)} bring most solvent with them), or ask for less.",
        wanted=wanted,
        ceiling=ceiling,
    )


def holding_down(lines: Sequence[FormulaLine]) -> tuple[LineShare, ...]:
    """The lines that hold the ceiling down, the one that carries most solvent first."""
    report = strength_report(lines)
    carrying = [line for line in report.lines if line.carried_solvent > 0]
    return tuple(sorted(carrying, key=lambda line: (-line.carried_solvent, line.key)))


def swap(lines: Sequence[FormulaLine], *, key: int, strength: Decimal) -> Swap:
    """What taking line `key` from a stock of `strength` in the same solvent frees; grams per `total_parts`.

    Needs *n*ᵢ*p*ᵢ/*q* of it and frees *n*ᵢ(1 − *p*ᵢ/*q*). Raises `NotStronger`, `BadFormula`.
    """
    _check_odorant(lines)
    line = next((one for one in lines if one.key == key), None)
    if line is None or line.is_solvent:
        raise BadFormula(f"There is no odorant line {key}.", errors={"key": [f"No odorant line {key}."]})
    stronger = exact_strength(strength)
    if stronger <= line.strength:
        raise NotStronger(
            f"{line.name} is written at {percent(line.strength)}; {percent(stronger)} is no stronger."
        )
    with localcontext(prec=_DIGITS):
        mass = line.parts * line.strength / stronger
        freed = line.parts - mass
        ceiling = odorant_parts(lines) / (_stock_parts(lines) - freed)
    return Swap(
        key=key,
        strength=stronger,
        mass=mass,
        freed=freed,
        ceiling=ceiling,
        sentence=(
            f"{line.name} from {percent(line.strength)} to {percent(stronger)} frees {figure(nearest_mass(freed))} g of "
            f"solvent in {figure(total_parts(lines))} g and lifts the ceiling to {percent(ceiling)}."
        ),
    )


def swapped(lines: Sequence[FormulaLine], done: Swap, solvent: int | None = None) -> list[FormulaLine]:
    """The formula with a swap carried out, the freed solvent as a free line of its own where `solvent` is given."""
    changed = [
        replace(line, parts=done.mass, strength=done.strength) if line.key == done.key else line
        for line in lines
    ]
    if solvent is None:
        return changed
    last = max(line.key for line in lines) + 1
    return [*changed, FormulaLine(last, solvent, "free solvent", done.freed, ONE, None, is_solvent=True)]


def odorant_parts(lines: Sequence[FormulaLine]) -> Decimal:
    """*a*, in the unit of the parts."""
    return sum((line.strength * line.parts for line in lines if not line.is_solvent), Decimal(0))


def total_parts(lines: Sequence[FormulaLine]) -> Decimal:
    """*T*, in the unit of the parts."""
    return sum((line.parts for line in lines), Decimal(0))


def _stock_parts(lines: Sequence[FormulaLine]) -> Decimal:
    return sum((line.parts for line in lines if not line.is_solvent), Decimal(0))


def _carried(line: FormulaLine) -> Decimal:
    return Decimal(0) if line.is_solvent else line.parts * (ONE - line.strength)


def _fitted(
    lines: Sequence[FormulaLine], grams: Sequence[Decimal], mass: Decimal
) -> tuple[RestatedLine, ...]:
    """Rounded to the microgram, the rest of the rounding on the largest line, where it matters least."""
    rounded = [nearest_mass(one) for one in grams]
    largest = max(range(len(rounded)), key=lambda place: rounded[place])
    rounded[largest] += nearest_mass(mass) - sum(rounded, Decimal(0))
    return tuple(RestatedLine(line.key, one) for line, one in zip(lines, rounded, strict=True))


def check_lines(lines: Sequence[FormulaLine]) -> None:
    """Raise `BadFormula` with every fault of the lines."""
    faults = Faults()
    if not lines:
        faults.add("lines", "A formula needs at least one line.")
    if len({line.key for line in lines}) < len(lines):
        faults.add("lines", "Two lines have the same key.")
    for place, line in enumerate(lines):
        if not line.parts.is_finite() or line.parts <= 0:
            faults.add(f"lines.{place}.parts", f"The parts of {line.name} must be more than zero.")
        if not line.strength.is_finite() or not 0 < line.strength <= 1:
            faults.add(
                f"lines.{place}.strength",
                f"The strength of {line.name} is a mass fraction above 0 and at most 1, not {line.strength}.",
            )
        elif line.is_solvent and line.strength != 1:
            faults.add(f"lines.{place}.strength", f"{line.name} is a solvent and is written neat.")
        elif line.strength < 1 and line.solvent == line.material:
            faults.add(f"lines.{place}.solvent", f"{line.name} cannot be a dilution in itself.")
    if faults:
        raise BadFormula(next(iter(faults.errors.values()))[0], errors=faults.errors)


def _check_odorant(lines: Sequence[FormulaLine]) -> None:
    check_lines(lines)
    if odorant_parts(lines) == 0:
        raise NoOdorant("There are only solvents in it, so it has no strength.")
