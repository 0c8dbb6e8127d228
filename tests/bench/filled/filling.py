"""Fills a studio with years of work, of any size, as the actions would have left it.

The work goes in rounds. Each receives bottles, makes stocks, bases and blends from what is open, draws vials, counts,
and throws away what was made two rounds before, so that at the end a tenth of all lots is open. Beside the usual work
there are a long line of makings, each with the one before in it, whose vial has two thousand pours behind it, and a
bottle that went by its stocks into thousands of lots. The same size gives the same studio.
"""

import random
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import cycle

from django.db import transaction

from batches.models import BatchKind, BatchState, FormulaVersion
from inventory.models import Material
from tests.bench.filled.book import Book, Wanted
from tests.bench.filled.founding import BASES, TENTH, Founded, Recipe, found
from tests.bench.filled.lots import Shelf, Standing
from tests.bench.filled.size import Size
from tests.bench.filled.tables import end_filling, stamp

GRAM = 10**6
DRUM = 900_000 * GRAM
LONG_LINE = 100
SPELL = timedelta(days=30)
VIALS = (2, 2, 2, 2, 3)
NEAT, DILUTE = "1", "0.1"


def fill(size: Size, *, now: datetime) -> None:
    """Fill the empty database with one studio of this size, at work until `now`."""
    rng = random.Random(size.lots)
    start = now - (size.rounds + 1) * SPELL
    founded = found(size, at=start, now=now, rng=rng)
    work = _Work(size, founded, rng, start, now)
    with transaction.atomic():
        work.set_out()
        work.book.write()
    for spell in range(size.rounds):
        with transaction.atomic():
            work.spell(spell)
            work.book.write()
    with transaction.atomic():
        work.take_in_hand()
        work.book.write()
        work.book.keep_standing()
        FormulaVersion.objects.update(fixed_at=start)
    end_filling(work.book.tables)


class _Work:
    def __init__(
        self, size: Size, founded: Founded, rng: random.Random, start: datetime, now: datetime
    ) -> None:
        self.size, self.founded, self.rng, self.now = size, founded, rng, now
        self.clock = start
        self.book = Book(founded)
        self.shelf = Shelf()
        self.made: list[list[Standing]] = []
        self.usual = [recipe for recipe in founded.recipes if not recipe.wide]
        self.usuals = cycle(self.usual)
        self.wides = cycle([recipe for recipe in founded.recipes if recipe.wide])
        self.blends = 0

    def set_out(self) -> None:
        """What lasts: a large bottle and a large stock of everything, the bases, and the long line of makings."""
        lasting = self.shelf.lasting
        for material in (self.founded.ethanol, self.founded.trunk, *self.founded.odorants):
            lasting[material.pk, NEAT] = self.book.receive(material, DRUM, self.tick())
        for material in (self.founded.trunk, *self.founded.odorants):
            lasting[material.pk, DILUTE] = self.stock(material, 2_000 * GRAM)
        for base, recipe in self.founded.bases:
            lasting[base.pk, NEAT] = self.make(BatchKind.BASE, recipe, 500 * GRAM, material=base.pk)
        self.book.draw_off(self.long_line(), GRAM, self.tick())

    def long_line(self) -> Standing:
        """Each making takes nineteen bottles and the making before, which so has two thousand pours behind it."""
        material, recipe = self.founded.long
        before: Standing | None = None
        for _ in range(LONG_LINE):
            bottles = [self.shelf.lasting[one.pk, NEAT] for one in self.rng.sample(self.founded.odorants, 19)]
            wanted = [
                Wanted(lot, GRAM + self.rng.randrange(GRAM), lot.material or 0, line)
                for lot, line in zip(bottles, recipe.lines, strict=True)
            ]
            if before is not None:
                wanted.append(Wanted(before, 10 * GRAM, material.pk))
            before = self.book.make(
                BatchKind.BASE, "Long line", wanted, self.tick(), recipe=recipe, material=material.pk
            )
        assert before is not None
        return before

    def spell(self, place: int) -> None:
        """A month of work."""
        lots = self.size.lots * (place + 1) // self.size.rounds - len(self.book.lots)
        self.made.append([])
        if place >= 2:
            gone = self.made[place - 2]
            for lot in gone:
                self.book.empty(lot, self.tick())
            self.shelf.forget({lot.id for lot in gone})
        odorants = self.founded.odorants
        for number in range(lots * 16 // 100):
            material = odorants[(place * 37 + number) % len(odorants)]
            self.shelf.put(
                self.noted(self.book.receive(material, 400 * GRAM, self.tick(), expires=self.day())), NEAT
            )
        for number in range(lots * 19 // 100):
            material = odorants[(place * 53 + number) % len(odorants)]
            self.shelf.put(self.noted(self.stock(material, 60 * GRAM)), DILUTE)
        self.shelf.lasting[self.founded.trunk.pk, DILUTE] = self.stock(self.founded.trunk, 1_000 * GRAM)
        for number in range(lots // 100):
            base, recipe = self.founded.bases[(place + number) % BASES]
            made = self.make(BatchKind.BASE, recipe, 100 * GRAM, material=base.pk)
            self.shelf.put(self.noted(made), NEAT)
        blends = [self.blend() for _ in range(lots * 20 // 100)]
        for number in range(self.size.lots * (place + 1) // self.size.rounds - len(self.book.lots)):
            self.noted(self.book.draw_off(blends[number % len(blends)], GRAM // 2, self.tick()))
        self.count(self.size.movements * (place + 1) // self.size.rounds)

    def blend(self) -> Standing:
        """A usual blend; so many of them are of the wide kind that the trace forward is as long as was asked."""
        self.blends += 1
        every = max(1, round(self.size.lots * 20 / 100 * 3.2 / self.size.descendants))
        recipe = next(self.wides if self.blends % every == 0 else self.usuals)
        return self.noted(self.make(BatchKind.BLEND, recipe, 10 * GRAM))

    def count(self, movements: int) -> None:
        """Weigh containers until there are as many movements as there should be by now."""
        while self.book.movements.last_id < movements:
            lot = self.rng.choice(self.made[-1])
            change = self.rng.choice((-1, 1)) * self.rng.randint(10, 900)
            if lot.on_hand > 2 * abs(change):
                self.book.count(lot, change, self.tick())

    def take_in_hand(self) -> None:
        """Batches of every state that is not closed, and a few lots on hold."""
        # Lately, or else the claims would be let go as stale while the service is measured.
        self.clock = max(self.clock, self.now - timedelta(hours=2))
        for place in range(max(8, self.size.lots // 2_500)):
            for state in (BatchState.VOID, BatchState.DRAFT, BatchState.RESERVED, BatchState.WEIGHING):
                recipe = self.usual[place % len(self.usual)]
                wanted = list(self.wanted(recipe, 5 * GRAM))
                weighed = len(wanted) // 2 if state == BatchState.WEIGHING else 0
                self.book.plan(state, f"Trial {place}", wanted, self.tick(), recipe, weighed=weighed)
        for lot in self.rng.sample(self.made[-1], 5):
            lot.held = stamp(self.now)

    def stock(self, material: Material, mass: int) -> Standing:
        ethanol = self.founded.ethanol.pk
        own = mass // 10
        if self.shelf.lasting[ethanol, NEAT].on_hand < DRUM // 4:
            self.shelf.lasting[ethanol, NEAT] = self.book.receive(self.founded.ethanol, DRUM, self.tick())
        source = self.shelf.take_from(material.pk, NEAT, own)
        wanted = [
            Wanted(source, own, material.pk),
            Wanted(self.shelf.lasting[ethanol, NEAT], mass - own, ethanol),
        ]
        return self.book.make(
            BatchKind.STOCK, f"{material.name} 10 %", wanted, self.tick(), material=material.pk, solvent=ethanol,
            strength=TENTH, expires=self.day(),
        )  # fmt: skip

    def make(self, kind: BatchKind, recipe: Recipe, mass: int, *, material: int | None = None) -> Standing:
        title = recipe.version.formula.name
        wanted = list(self.wanted(recipe, mass))
        return self.book.make(kind, title, wanted, self.tick(), recipe=recipe, material=material)

    def wanted(self, recipe: Recipe, mass: int) -> Iterator[Wanted]:
        whole = sum((line.parts for line in recipe.lines), Decimal(0))
        for line in recipe.lines:
            share = int(line.parts * mass / whole)
            strength = DILUTE if line.strength < 1 else NEAT
            yield Wanted(
                self.shelf.take_from(line.material_id, strength, share), share, line.material_id, line
            )

    def noted(self, lot: Standing) -> Standing:
        self.made[-1].append(lot)
        return lot

    def tick(self) -> datetime:
        """The time of the next thing that happens: they are spread evenly until a few hours before now."""
        todo = (self.size.rounds + 1) * SPELL - timedelta(hours=6)
        self.clock += todo / (3 * self.size.lots + 4_000)
        return min(self.clock, self.now - timedelta(hours=1))

    def day(self) -> date:
        """A day on which something expires: mostly far off, now and then soon or just past."""
        if self.rng.random() < 0.03:
            return self.now.date() + timedelta(days=self.rng.randint(-20, 25))
        return self.now.date() + timedelta(days=self.rng.randint(60, 700))
