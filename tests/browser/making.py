"""A studio in which every page about formulas and batches has something to show."""

from decimal import Decimal

from batches.actions.closing import close_batch
from batches.actions.formulas import adopt_as_base, write_next_version
from batches.actions.grids import draft_grid
from batches.actions.weighing import strike_weighing
from batches.calc.grid import Ratio


class Making:
    """Formulas with versions, and a batch in each state; `addresses` are their pages."""

    def __init__(self, bench):
        self.bench = bench
        shelf(bench)
        self.version = bench.formula(
            "meadow",
            "linalool@10%/ethanol 30",
            "vanillin@1%/ethanol 12",
            "citral@0.1%/ethanol 2",
            "hexyl-cinnamal 5",
            "ethanol 40",
            name="Meadow after rain",
        )
        self.next = write_next_version(
            by=bench.by,
            now=bench.now,
            formula=self.version.formula,
            note="More vanillin, no citral.",
            lines=[
                bench.line(text)
                for text in (
                    "linalool@10%/ethanol 25",
                    "vanillin@10%/ethanol 4",
                    "hexyl-cinnamal 5",
                    "ethanol 40",
                )
            ],
        )
        base = bench.formula("hay", "coumarin@10%/ethanol 8", "ethanol 2", name="Hay")
        adopt_as_base(by=bench.by, now=bench.now, version=base, name="hay base")
        self.draft = bench.plan(self.version, "20", strength=Decimal("0.12"))
        self.impossible = bench.plan(self.version, "4000")
        self.reserved = bench.reserve(bench.plan(self.next, "12"))
        self.weighing = self._begun()
        self.closed = bench.plan_stock("linalool@10%/ethanol 20g")
        bench.reserve(self.closed)
        bench.weigh_all(self.closed)
        made = bench.close(self.closed)
        other = bench.bottle("vanillin@10%/ethanol 20g")
        self.grid = bench.reserve(self._grid(made, other))
        bench.weigh(self.grid, 1, "0.9")
        self.vials = bench.reserve(self._grid(made, other))
        bench.weigh_all(self.vials)
        close_batch(by=bench.by, now=bench.now, number=self.vials.number)

    def _grid(self, one, other):
        ratios = [Ratio(Decimal(1), Decimal(1)), Ratio(Decimal(3), Decimal(1))]
        return draft_grid(
            by=self.bench.by,
            now=self.bench.now,
            side_a=[one],
            side_b=[other],
            ratios=ratios,
            vial_mass=Decimal(2),
        )

    def _begun(self):
        bench = self.bench
        batch = bench.reserve(bench.plan(self.next, "15"))
        first = bench.weigh(batch, 1, str(batch.lines.get(position=1).target + Decimal("0.2")))
        strike_weighing(
            by=bench.by, now=bench.now, number=batch.number, weighing_id=first.pk, why="The door was open."
        )
        bench.weigh(batch, 1, str(batch.lines.get(position=1).target + Decimal("0.011")))
        return batch

    @property
    def addresses(self):
        batches = [
            f"/batches/{batch.number}/"
            for batch in (
                self.draft,
                self.impossible,
                self.reserved,
                self.weighing,
                self.closed,
                self.grid,
                self.vials,
            )
        ]
        return [
            "/formulas/",
            "/formulas/?q=nothing-like-that",
            "/formulas/meadow/",
            "/formulas/meadow/1/",
            "/formulas/meadow/compare/",
            "/formulas/meadow/1/edit/",
            "/formulas/meadow/change/",
            "/formulas/meadow/2/adopt/",
            "/formulas/hay/",
            "/formula-new/",
            "/formula-import/",
            "/batches/",
            "/batches/?state=closed",
            "/batches/?state=void",
            "/batches/plan/",
            "/batches/plan/?formula=meadow&version=1",
            "/batches/plan-stock/",
            "/grids/",
            "/grids/plan/",
            f"/grids/{self.grid.number}/vials/2/",
            f"/batches/{self.grid.number}/bench/",
            *batches,
        ]


def shelf(bench):
    """Bottles neat and diluted, a balance, and what the data sheets say."""
    bench.material("linalool", hazards=["H315", "H317"])
    bench.material("citral", hazards=["H315", "H317"])
    bench.material("ethanol", hazards=["H225"], flash_point_c="12.0")
    bench.balance()
    for text, price in (
        ("linalool 100g", "14"),
        ("vanillin 50g", "9.5"),
        ("citral 25g", "6"),
        ("hexyl-cinnamal 80g", "11"),
        ("ethanol 900g", "22"),
        ("coumarin 30g", None),
    ):
        bench.bottle(text, price=price and Decimal(price))
    for text in (
        "linalool@10%/ethanol 60g",
        "vanillin@10%/ethanol 40g",
        "vanillin@1%/ethanol 30g",
        "citral@1%/ethanol 30g",
        "citral@0.1%/ethanol 30g",
        "coumarin@10%/ethanol 30g",
    ):
        bench.bottle(text)
