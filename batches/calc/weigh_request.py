"""What a weigh plan is asked for: the formula, the mass and strength wanted, the shelf, the balance, what is pinned.

`prepare` refuses bad input with every fault at once and works out, in exact decimals, what each line wants: its
grams of odorant, or its share of the free solvent. Nothing is chosen here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal, localcontext

from batches.calc.strength import FormulaLine, NoOdorant, check_lines, odorant_parts, total_parts
from inventory.calc.claims import ShelfLot, check_lots, in_claim_order, is_stock
from inventory.calc.wording import figure, readable
from studio.kernel.errors import Faults, Invalid

_DIGITS = 40
NOTHING = Decimal(0)
SAME_DILUTION = Decimal("0.05")
"""A lot whose actual strength is this near, relatively, to the dilution as written is that dilution."""


class BadWeighRequest(Invalid):
    """A weigh plan cannot be made from this input; every fault at once."""

    code = "bad-weigh-request"
    title = "This cannot be planned"


@dataclass(frozen=True, slots=True)
class SolventBound:
    """Smallest and largest mass fraction of one solvent in the whole batch, free and carried together."""

    lowest: Decimal = Decimal(0)
    highest: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True)
class Pin:
    """A lot that a line is to be poured from, and how many grams of it; `mass` None leaves the grams to the plan."""

    lot: int
    mass: Decimal | None = None


@dataclass(frozen=True, slots=True)
class WeighRequest:
    """Everything a weigh plan depends on; masses in grams, strengths and bounds mass fractions.

    `smallest` is the smallest sensible net mass of one pour, `largest_total` what vessel and balance carry, `tolerance`
    the largest relative deviation of a line's odorant. `strength` None keeps the strength as written. A line with
    `pins` is poured from exactly those lots. `allowed_lots` may be used although expired or on hold.
    """

    lines: tuple[FormulaLine, ...]
    lots: tuple[ShelfLot, ...]
    total: Decimal
    smallest: Decimal
    tolerance: Decimal
    on: date
    strength: Decimal | None = None
    solvent_bounds: Mapping[int, SolventBound] = field(default_factory=dict, hash=False)
    pins: Mapping[int, tuple[Pin, ...]] = field(default_factory=dict, hash=False)
    allowed_lots: frozenset[int] = frozenset()
    largest_total: Decimal | None = None
    same_dilution: Decimal = SAME_DILUTION


@dataclass(frozen=True, slots=True)
class Want:
    """What one line wants: `odorant` grams of its material, or, for free solvent, `share` of all that is free.

    `as_written` is the mass in grams that the dilution as written would take; 0 for free solvent.
    """

    line: FormulaLine
    odorant: Decimal
    as_written: Decimal
    share: Decimal
    pins: tuple[Pin, ...]

    @property
    def fixed(self) -> bool:
        """Every lot and gram is pinned: nothing is left to choose."""
        return bool(self.pins) and all(pin.mass is not None for pin in self.pins)


@dataclass(frozen=True, slots=True)
class WeighTask:
    """A request made ready: wants in the order of the line keys, usable lots by material in claim order."""

    request: WeighRequest
    strength: Decimal
    wants: tuple[Want, ...]
    shelf: Mapping[int, tuple[ShelfLot, ...]]
    lots: Mapping[int, ShelfLot]

    @property
    def odorants(self) -> tuple[Want, ...]:
        return tuple(want for want in self.wants if not want.line.is_solvent)

    @property
    def solvents(self) -> tuple[Want, ...]:
        return tuple(want for want in self.wants if want.line.is_solvent)

    @property
    def rigid(self) -> bool:
        """Some free solvent is left to choose, so it takes the rest and every odorant mass can be exact."""
        return any(not want.fixed for want in self.solvents)


def prepare(request: WeighRequest) -> WeighTask:
    """The task of a request. Raises `BadFormula`, `BadLots`, `NoOdorant`, `BadWeighRequest`."""
    check_lines(request.lines)
    check_lots(request.lots)
    if odorant_parts(request.lines) == 0:
        raise NoOdorant("There are only solvents in the formula, so it has no strength to plan for.")
    _check_request(request)
    with localcontext(prec=_DIGITS):
        strength = request.strength
        if strength is None:
            strength = odorant_parts(request.lines) / total_parts(request.lines)
        wants = _wants(request, strength)
    _check_pinned_masses(wants, request)
    shelf: dict[int, list[ShelfLot]] = {
        material: [] for material in sorted({line.material for line in request.lines})
    }
    for lot in in_claim_order(request.lots, request.on, request.allowed_lots):
        if lot.material in shelf:
            shelf[lot.material].append(lot)
    return WeighTask(
        request,
        strength,
        wants,
        {material: tuple(lots) for material, lots in shelf.items()},
        {lot.id: lot for lot in request.lots},
    )


def is_as_written(line: FormulaLine, lot: ShelfLot, same: Decimal) -> bool:
    """Whether the lot is the dilution as written: near enough in strength, and in the solvent written, if one is."""
    if line.is_solvent:
        return True
    if abs(lot.strength - line.strength) > same * line.strength:
        return False
    return line.solvent is None or line.strength == 1 or main_solvent(lot) == line.solvent


def main_solvent(lot: ShelfLot) -> int | None:
    """The solvent with the largest share in the lot beside its own material, the lower id of two equal ones."""
    others = [
        (-share, solvent) for solvent, share in lot.solvents.items() if solvent != lot.material and share > 0
    ]
    return min(others)[1] if others else None


def solvent_share(lot: ShelfLot, solvent: int) -> Decimal:
    """Mass fraction of a solvent in a lot; a bottle of the solvent itself counts by its strength."""
    share = lot.solvents.get(solvent)
    if share is None:
        return lot.strength if lot.material == solvent else NOTHING
    return share


def _wants(request: WeighRequest, strength: Decimal) -> tuple[Want, ...]:
    odorant = odorant_parts(request.lines)
    lines = sorted(request.lines, key=lambda line: line.key)
    pins = {line.key: request.pins.get(line.key, ()) for line in lines}
    free = [line for line in lines if line.is_solvent and not _all_given(pins[line.key])]
    free_parts = total_parts(free)
    wants = []
    for line in lines:
        if line.is_solvent:
            share = NOTHING if _all_given(pins[line.key]) else line.parts / free_parts
            wants.append(Want(line, NOTHING, NOTHING, share, pins[line.key]))
            continue
        grams = request.total * strength * line.strength * line.parts / odorant
        wants.append(Want(line, grams, grams / line.strength, NOTHING, pins[line.key]))
    return tuple(wants)


def _all_given(pins: tuple[Pin, ...]) -> bool:
    return bool(pins) and all(pin.mass is not None for pin in pins)


def _check_request(request: WeighRequest) -> None:
    faults = Faults()
    for name, what in (
        ("total", "batch mass"),
        ("smallest", "smallest pour"),
        ("largest_total", "largest total"),
    ):
        value = getattr(request, name)
        if value is not None and not _is_mass(value):
            faults.add(
                name, f"The {what} must be more than 0 g, on the microgram, and no tonne; it is {value}."
            )
    for name, what in (("tolerance", "tolerance"), ("same_dilution", "nearness of dilutions")):
        value = getattr(request, name)
        if not (value.is_finite() and 0 <= value < 1):
            faults.add(
                name, f"The {what} is a fraction of at least 0 and below 1 (0.02 means 2 %), not {value}."
            )
    strength = request.strength
    if strength is not None and not (strength.is_finite() and 0 < strength <= 1):
        faults.add("strength", f"The strength is a mass fraction above 0 and at most 1, not {strength}.")
    _check_bounds(request, faults)
    _check_pins(request, faults)
    if faults:
        raise BadWeighRequest(next(iter(faults.errors.values()))[0], errors=faults.errors)


def _is_mass(value: Decimal) -> bool:
    return is_stock(value) and value > 0


def _check_bounds(request: WeighRequest, faults: Faults) -> None:
    least = NOTHING
    for solvent, bound in request.solvent_bounds.items():
        numbers = bound.lowest.is_finite() and bound.highest.is_finite()
        if numbers and 0 <= bound.lowest <= bound.highest <= 1:
            least += bound.lowest
            continue
        faults.add(
            f"solvent_bounds.{solvent}",
            f"The bounds of a solvent are fractions from 0 to 1, the lowest first, "
            f"not {bound.lowest} to {bound.highest}.",
        )
    if least > 1:
        faults.add("solvent_bounds", "The lowest shares of the solvents add up to more than the whole.")


def _check_pins(request: WeighRequest, faults: Faults) -> None:
    lines = {line.key: line for line in request.lines}
    lots = {lot.id: lot for lot in request.lots}
    pinned: dict[int, Decimal] = {}
    for key, pins in request.pins.items():
        field_name = f"pins.{key}"
        if key not in lines:
            faults.add(field_name, f"There is no line {key} to pin a lot to.")
            continue
        if len({pin.lot for pin in pins}) < len(pins):
            faults.add(
                field_name, f"A lot is pinned to {lines[key].name} twice; give it once with all its grams."
            )
        for pin in pins:
            lot = lots.get(pin.lot)
            if lot is None:
                faults.add(field_name, f"The lot pinned to {lines[key].name} is not on the shelf.")
                continue
            _check_pin(request, lines[key], pin, lot, faults)
            if pin.mass is not None and pin.mass.is_finite():
                pinned[lot.id] = pinned.get(lot.id, NOTHING) + pin.mass
    for lot_id, mass in sorted(pinned.items()):
        if mass > lots[lot_id].available:
            faults.add(
                "pins",
                f"{figure(mass)} g of lot {lots[lot_id].number} are pinned; "
                f"{figure(lots[lot_id].available)} g are available.",
            )


def _check_pin(request: WeighRequest, line: FormulaLine, pin: Pin, lot: ShelfLot, faults: Faults) -> None:
    field_name = f"pins.{line.key}"
    if lot.material != line.material:
        faults.add(field_name, f"Lot {lot.number} is of another material than {line.name}.")
    reason = lot.unusable_because(request.on)
    if reason and lot.id not in request.allowed_lots:
        faults.add(field_name, f"Lot {lot.number} {reason}; take another lot, or allow it with a reason.")
    if pin.mass is not None and not _is_mass(pin.mass):
        faults.add(field_name, f"The pinned mass of lot {lot.number} must be more than 0 g, not {pin.mass}.")


def _check_pinned_masses(wants: tuple[Want, ...], request: WeighRequest) -> None:
    """A line pinned in part must still have something to take from the lots whose grams are left open."""
    faults = Faults()
    lots = {lot.id: lot for lot in request.lots}
    for want in wants:
        if want.line.is_solvent or want.fixed:
            continue
        given = sum((pin.mass * lots[pin.lot].strength for pin in want.pins if pin.mass is not None), NOTHING)
        if given >= want.odorant:
            faults.add(
                f"pins.{want.line.key}",
                f"The masses pinned to {want.line.name} already hold {readable(given)} g of it, all of the "
                f"{readable(want.odorant)} g wanted; give every pinned lot its mass or pin fewer.",
            )
    if faults:
        raise BadWeighRequest(next(iter(faults.errors.values()))[0], errors=faults.errors)
