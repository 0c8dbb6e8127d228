"""What a remake plan is asked for: what stands on the shelf, what is on its way, what is wanted when, how things are made.

An item is a material at a strength in a solvent. `check_request` refuses bad input with every fault at once; nothing is
planned here. Cycles and missing routes are not faults: the plan answers them as shortages with their reasons.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import LARGEST_MASS, MICROGRAM

NEAT = Decimal(1)
NOTHING = Decimal(0)
MAKING_WORTH = Decimal(500)
"""Gram-days of keeping that one making saved is worth: a choice of this studio's, not a published figure."""
LONGEST_WAIT = 3660
"""Days: no making, resting, delivery or shelf life is reckoned longer than ten years."""


class BadRemakeRequest(Invalid):
    """A remake plan cannot be made from this input; every fault at once."""

    code = "bad-remake-request"
    title = "This cannot be planned"


@dataclass(frozen=True, slots=True)
class ItemKey:
    """A material at a strength (mass fraction, 1 = neat) in a solvent; `solvent` None for what is neat or a base."""

    material: int
    strength: Decimal = NEAT
    solvent: int | None = None

    @property
    def place(self) -> tuple[int, Decimal, int]:
        """Where the item stands in every list: by material, the strongest first, by solvent."""
        return (self.material, -self.strength, self.solvent or 0)

    def __str__(self) -> str:
        return f"{self.material}-{self.strength.normalize():f}-{self.solvent or 0}"


@dataclass(frozen=True, slots=True)
class Item:
    """An item by its name in sentences, with its par and shelf life.

    `low` and `full` in grams: below `low` the studio wants it made again, up to `full`. `shelf_life_days` counts from
    the day it is made (its start and the making days) or arrives, to the last good day; None keeps it for ever.
    """

    key: ItemKey
    name: str
    low: Decimal = NOTHING
    full: Decimal | None = None
    shelf_life_days: int | None = None


@dataclass(frozen=True, slots=True)
class StockLot:
    """A lot on the shelf. `mass` is what nobody has reserved; `expires_on` its last good day, None for never."""

    id: int
    number: str
    item: ItemKey
    mass: Decimal
    usable_from: date | None = None
    expires_on: date | None = None
    held: bool = False


@dataclass(frozen=True, slots=True)
class Reserved:
    """`mass` grams on the shelf that are no lot's free mass because a batch of a later `day` has claimed them.

    They serve nobody else, but until that day they stand there for the par.
    """

    item: ItemKey
    day: date
    mass: Decimal


@dataclass(frozen=True, slots=True)
class Receipt:
    """What comes without the plan's doing: the product of an open batch, or bottles ordered. `ref` is the caller's own.

    A day that has passed counts as today: it may come any moment.
    """

    ref: str
    label: str
    item: ItemKey
    day: date
    mass: Decimal
    expires_on: date | None = None


class Wanted(StrEnum):
    """What a demand is for. Pars need no demand; they stand on the item."""

    BATCH = "batch"
    USE = "use"
    ASKED = "asked"
    """A what-if; on one day it is served after the others."""


@dataclass(frozen=True, slots=True)
class Demand:
    """`mass` grams of an item wanted on `day`, not yet reserved. A day that has passed counts as today.

    `ref` is the caller's own handle and comes back in pegs; several rows may share one.
    """

    ref: str
    label: str
    item: ItemKey
    day: date
    mass: Decimal
    wanted: Wanted = Wanted.BATCH


@dataclass(frozen=True, slots=True)
class Input:
    """`parts` of an item that go into the parts a recipe makes."""

    item: ItemKey
    parts: Decimal


@dataclass(frozen=True, slots=True)
class Recipe:
    """One way to make an item: a dilution (parent and solvent) or a base (its lines).

    `makes` is how many parts come of the inputs' parts; None: their sum. `smallest` is the least mass, in grams, that
    makes every weighing good, `largest` what the container takes. Usable `making_days` + `resting_days` after its start.
    Several recipes of one item are tried in the order given.
    """

    item: ItemKey
    inputs: tuple[Input, ...]
    making_days: int = 0
    resting_days: int = 0
    smallest: Decimal = NOTHING
    largest: Decimal | None = None
    makes: Decimal | None = None

    @property
    def lead_days(self) -> int:
        return self.making_days + self.resting_days

    @property
    def yield_parts(self) -> Decimal:
        return sum((one.parts for one in self.inputs), NOTHING) if self.makes is None else self.makes


@dataclass(frozen=True, slots=True)
class Offer:
    """A pack of `pack` grams from a supplier at `price`, when at least `from_packs` of this pack are bought at once.

    Price breaks are several offers of one supplier and pack with different `from_packs`; the price holds for all packs.
    """

    id: int
    supplier: int
    supplier_name: str
    item: ItemKey
    pack: Decimal
    price: Decimal
    delivery_days: int = 0
    from_packs: int = 1


@dataclass(frozen=True, slots=True)
class RemakeRequest:
    """Everything a remake plan depends on. `until` is the last day looked at; all masses in grams on the microgram.

    `making_worth` is how many gram-days of keeping one making (or order) saved is worth; 0 makes every need for itself.
    `kept_masses` fixes the mass of rows by their key, when somebody edits a plan; 0 drops the row. What it leaves unmet
    becomes a shortage, what it leaves over is spare and serves later needs.
    """

    today: date
    until: date
    items: tuple[Item, ...]
    lots: tuple[StockLot, ...] = ()
    reserved: tuple[Reserved, ...] = ()
    receipts: tuple[Receipt, ...] = ()
    demands: tuple[Demand, ...] = ()
    recipes: tuple[Recipe, ...] = ()
    offers: tuple[Offer, ...] = ()
    making_worth: Decimal = MAKING_WORTH
    kept_masses: Mapping[str, Decimal] = field(default_factory=dict, hash=False)


def check_request(request: RemakeRequest) -> None:
    """Raise `BadRemakeRequest` with every fault of the request."""
    faults = Faults()
    if request.until < request.today:
        faults.add("until", f"The last day, {request.until}, lies before today, {request.today}.")
    if not (request.making_worth.is_finite() and request.making_worth >= 0):
        faults.add(
            "making_worth", f"What a making is worth is 0 gram-days or more, not {request.making_worth}."
        )
    known = _check_items(request, faults)
    _check_stock(request, known, faults)
    _check_demands(request, known, faults)
    _check_recipes(request, known, faults)
    _check_offers(request, known, faults)
    for key, mass in request.kept_masses.items():
        if not _is_mass(mass):
            faults.add(
                f"kept_masses.{key}",
                f"The mass chosen for a row is 0 g or more, on the microgram, not {mass}.",
            )
    if faults:
        raise BadRemakeRequest(next(iter(faults.errors.values()))[0], errors=faults.errors)


def _check_items(request: RemakeRequest, faults: Faults) -> frozenset[ItemKey]:
    known = frozenset(item.key for item in request.items)
    if len(known) < len(request.items):
        faults.add("items", "An item is given twice.")
    for place, item in enumerate(request.items):
        where = f"items.{place}"
        if not (item.key.strength.is_finite() and 0 < item.key.strength <= 1):
            faults.add(
                where,
                f"The strength of {item.name} is a fraction above 0 and at most 1, not {item.key.strength}.",
            )
        full = item.low if item.full is None else item.full
        if not (_is_mass(item.low) and _is_mass(full) and item.low <= full):
            faults.add(where, f"The par of {item.name} needs 0 g ≤ low ≤ full; it is {item.low} to {full}.")
        _check_days(
            item.shelf_life_days or 0, f"{where}.shelf_life_days", f"The shelf life of {item.name}", faults
        )
    return known


def _check_stock(request: RemakeRequest, known: frozenset[ItemKey], faults: Faults) -> None:
    if len({lot.id for lot in request.lots}) < len(request.lots):
        faults.add("lots", "A lot is given twice.")
    for place, lot in enumerate(request.lots):
        if lot.item not in known:
            faults.add(f"lots.{place}.item", f"Lot {lot.number} is of an item that is not given.")
        if not _is_mass(lot.mass):
            faults.add(
                f"lots.{place}.mass",
                f"Lot {lot.number} cannot have {lot.mass} g; it is 0 g or more, on the microgram.",
            )
    for place, reserved in enumerate(request.reserved):
        if reserved.item not in known:
            faults.add(f"reserved.{place}.item", "What is reserved is of an item that is not given.")
        if not _is_mass(reserved.mass):
            faults.add(f"reserved.{place}.mass", f"No {reserved.mass} g can be reserved.")
    for place, receipt in enumerate(request.receipts):
        if receipt.item not in known:
            faults.add(f"receipts.{place}.item", f"{receipt.label} brings an item that is not given.")
        if not _is_mass(receipt.mass):
            faults.add(f"receipts.{place}.mass", f"{receipt.label} cannot bring {receipt.mass} g.")


def _check_demands(request: RemakeRequest, known: frozenset[ItemKey], faults: Faults) -> None:
    for place, demand in enumerate(request.demands):
        if demand.item not in known:
            faults.add(f"demands.{place}.item", f"{demand.label} wants an item that is not given.")
        if not _is_mass(demand.mass):
            faults.add(
                f"demands.{place}.mass",
                f"{demand.label} cannot want {demand.mass} g; it is 0 g or more, on the microgram.",
            )
        if demand.day > request.until:
            faults.add(
                f"demands.{place}.day", f"{demand.label} lies on {demand.day}, after the last day looked at."
            )


def _check_recipes(request: RemakeRequest, known: frozenset[ItemKey], faults: Faults) -> None:
    for place, recipe in enumerate(request.recipes):
        where = f"recipes.{place}"
        if recipe.item not in known or any(one.item not in known for one in recipe.inputs):
            faults.add(where, "A recipe makes or takes an item that is not given.")
            continue
        parts = [*(one.parts for one in recipe.inputs), recipe.yield_parts]
        if not recipe.inputs or not all(part.is_finite() and part > 0 for part in parts):
            faults.add(where, "A recipe has at least one input, and all its parts are more than 0.")
        if len({one.item for one in recipe.inputs}) < len(recipe.inputs):
            faults.add(where, "An input is given twice in one recipe; give it once with all its parts.")
        largest = LARGEST_MASS if recipe.largest is None else recipe.largest
        if not (
            _is_mass(recipe.smallest) and _is_mass(largest) and recipe.smallest <= largest and largest > 0
        ):
            faults.add(
                where,
                f"The sizes of a recipe need 0 g ≤ smallest ≤ largest; they are {recipe.smallest} to {largest}.",
            )
        _check_days(recipe.making_days, f"{where}.making_days", "The making time", faults)
        _check_days(recipe.resting_days, f"{where}.resting_days", "The resting time", faults)


def _check_offers(request: RemakeRequest, known: frozenset[ItemKey], faults: Faults) -> None:
    if len({offer.id for offer in request.offers}) < len(request.offers):
        faults.add("offers", "An offer is given twice.")
    for place, offer in enumerate(request.offers):
        where = f"offers.{place}"
        if offer.item not in known:
            faults.add(f"{where}.item", f"{offer.supplier_name} offers an item that is not given.")
        if not _is_mass(offer.pack) or offer.pack == 0:
            faults.add(f"{where}.pack", f"A pack holds more than 0 g, on the microgram, not {offer.pack}.")
        if not (offer.price.is_finite() and offer.price >= 0):
            faults.add(f"{where}.price", f"A price is 0 or more, not {offer.price}.")
        if offer.from_packs < 1:
            faults.add(
                f"{where}.from_packs", f"A price holds from 1 pack or more on, not {offer.from_packs}."
            )
        _check_days(offer.delivery_days, f"{where}.delivery_days", "The delivery time", faults)


def _check_days(days: int, where: str, what: str, faults: Faults) -> None:
    if not 0 <= days <= LONGEST_WAIT:
        faults.add(where, f"{what} is 0 to {LONGEST_WAIT} days, not {days}.")


def _is_mass(grams: Decimal) -> bool:
    return grams.is_finite() and 0 <= grams <= LARGEST_MASS and grams % MICROGRAM == 0
