"""The team, materials, places and formulas of the filled studio, written through the actions that people use."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from batches.actions.formulas import WrittenLine, adopt_as_base, write_formula
from batches.models import FormulaLine, FormulaVersion
from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.places import add_balance, add_shelf, check_balance
from inventory.calc.weighing import BalanceTraits
from inventory.models import Balance, Material, Shelf
from studio.actions.studios import add_member, found_studio
from studio.models import Member
from tests.bench.filled.size import Size

TENTH = Decimal("0.1")
BASES = 12
USUAL_LINES, MOST_LINES = 25, 120
HAZARDS = ([], ["H317"], ["H315", "H319"], ["H226", "H304"], ["H411"])


@dataclass(frozen=True, slots=True)
class Recipe:
    """A formula version with its lines; a `wide` one takes the material of the bottle that is traced forward."""

    version: FormulaVersion
    lines: Sequence[FormulaLine]
    wide: bool

    @property
    def of(self) -> tuple[str, int]:
        return self.version.formula.code, self.version.number


@dataclass(frozen=True, slots=True)
class Founded:
    """Everything that stands before the first bottle is received."""

    by: Member
    members: Sequence[Member]
    ethanol: Material
    trunk: Material
    odorants: Sequence[Material]
    bases: Sequence[tuple[Material, Recipe]]
    long: tuple[Material, Recipe]
    recipes: Sequence[Recipe]
    shelves: Sequence[Shelf]
    balances: Sequence[Balance]

    @property
    def materials(self) -> list[Material]:
        return [self.ethanol, self.trunk, *self.odorants, self.long[0], *(base for base, _ in self.bases)]


def found(size: Size, *, at: datetime, now: datetime, rng: random.Random) -> Founded:
    """A studio of five people that has written down what it will work with; `at` is its first day."""
    by = found_studio(
        name="Bench studio",
        owner_name="Ada Owner",
        email="ada@example.org",
        password="oak resin 77 tin",
        at=at,
    )
    members = [by] + [
        add_member(
            by=by, name=f"Maker {place}", email=f"maker{place}@example.org", password="oak resin 77 tin",
            role="maker", at=at,
        )
        for place in range(4)
    ]  # fmt: skip
    cards = [
        MaterialCard(name="ethanol", kind="solvent", hazards=["H225", "H319"], flash_point_c=Decimal(13))
    ]
    cards += [_card(f"odorant {place:03d}", place) for place in range(size.odorants + 1)]
    ethanol, trunk, *odorants = add_materials(by=by, now=at, cards=cards)
    bases = []
    for place in range(BASES):
        lines = _lines(odorants, ethanol, count=12, rng=rng)
        recipe = _recipe(by, at, f"base-{place:02d}", lines)
        bases.append((adopt_as_base(by=by, now=at, version=recipe.version), recipe))
    long = _recipe(by, at, "long", [WrittenLine(material=one, parts=Decimal(1)) for one in odorants[:19]])
    return Founded(
        by=by,
        members=members,
        ethanol=ethanol,
        trunk=trunk,
        odorants=odorants,
        bases=bases,
        long=(adopt_as_base(by=by, now=at, version=long.version), long),
        recipes=[
            _written(by, at, place, odorants, ethanol, trunk, [base for base, _ in bases], rng)
            for place in range(size.formulas)
        ],
        shelves=[add_shelf(by=by, now=at, name=f"Shelf {letter}") for letter in "ABCDEFGHIJKL"],
        balances=list(_balances(by, at, now)),
    )


def _card(name: str, place: int) -> MaterialCard:
    return MaterialCard(
        name=name,
        synonyms=f"number {place} of the list",
        density_g_ml=Decimal("0.9"),
        hazards=HAZARDS[place % len(HAZARDS)],
        flash_point_c=Decimal(70 + place % 40),
        shelf_life_days=730,
        stock_shelf_life_days=365,
    )


def _written(
    by: Member,
    at: datetime,
    place: int,
    odorants: Sequence[Material],
    ethanol: Material,
    trunk: Material,
    bases: Sequence[Material],
    rng: random.Random,
) -> Recipe:
    """Every twentieth formula is a long one, every third uses a base, every tenth the trunk."""
    count = min(MOST_LINES, 2 * len(odorants)) if place % 20 == 19 else USUAL_LINES
    wide = place % 10 == 0
    special = [WrittenLine(material=ethanol, parts=Decimal(10))]
    if wide:
        special.append(WrittenLine(material=trunk, parts=Decimal(2), strength=TENTH, solvent=ethanol))
    if place % 3 == 0:
        special.append(WrittenLine(material=rng.choice(bases), parts=Decimal(3)))
    lines = _lines(odorants, ethanol, count=count - len(special), rng=rng)
    return _recipe(by, at, f"formula-{place:03d}", [*lines, *special], wide=wide)


def _lines(
    odorants: Sequence[Material], ethanol: Material, *, count: int, rng: random.Random
) -> list[WrittenLine]:
    """So many lines, four of five of them in a tenth dilution, each material once at each strength."""
    dilute = rng.sample(odorants, min(len(odorants), count - count // 5))
    neat = rng.sample(odorants, count - len(dilute))
    return [
        WrittenLine(material=one, parts=_parts(rng), strength=TENTH, solvent=ethanol) for one in dilute
    ] + [WrittenLine(material=one, parts=_parts(rng) / 10) for one in neat]


def _parts(rng: random.Random) -> Decimal:
    return Decimal(rng.randint(10, 300)) / 100


def _recipe(
    by: Member, at: datetime, code: str, lines: Sequence[WrittenLine], *, wide: bool = False
) -> Recipe:
    version = write_formula(by=by, now=at, code=code, name=code.replace("-", " ").title(), lines=lines)
    return Recipe(version, list(version.lines.order_by("position", "id")), wide)


def _balances(by: Member, at: datetime, now: datetime) -> Iterator[Balance]:
    for name, step, capacity in (
        ("fine", "0.0001", "120"),
        ("middle", "0.001", "620"),
        ("large", "0.01", "6200"),
    ):
        traits = BalanceTraits(
            capacity=Decimal(capacity), readability=Decimal(step), repeatability=Decimal(step),
            linearity=2 * Decimal(step),
        )  # fmt: skip
        balance = add_balance(by=by, now=at, name=name, traits=traits)
        for when in (at, now):
            check_balance(
                by=by, now=when, balance=balance, reference=Decimal(50), reading=Decimal(50),
                allowed_error=5 * Decimal(step),
            )  # fmt: skip
        yield balance
