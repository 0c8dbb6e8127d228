"""Notes taken together: a grid as a map of its vials, and pairs by what was crossed in them."""

from decimal import Decimal
from typing import Any

from batches.actions.blind_smelling import set_up_blind
from batches.actions.closing import Filled, close_batch
from batches.actions.grids import draft_grid
from batches.actions.smelling import Said, UnderCode, note_smelling
from batches.calc.grid import Ratio
from batches.calc.smelling_summary import Mean
from batches.models import BlindVial
from batches.queries.grids import vial_lots
from batches.queries.smelled_together import LIKING, PLAIN, going_together, grid_map
from inventory.models import Lot
from tests.conftest import NOW
from tests.pages import Visitor
from tests.workbench import Workbench


def test_a_grid_is_a_map_of_means_with_their_counts_and_a_hidden_note_is_in_none(
    bench: Workbench, maker: Any
) -> None:
    bench.balance(readability="0.0001")
    for name in ("linalool", "vanillin", "geraniol", "ethanol"):
        bench.bottle(f"{name} 500g")
    [linalool, *others] = [bench.stock(f"{name}@10% 20g") for name in ("linalool", "vanillin", "geraniol")]
    ratios = [Ratio(Decimal(1), Decimal(1))]
    told: dict[str, Any] = {"side_a": [linalool], "side_b": others, "ratios": ratios, "vial_mass": Decimal(2)}
    grid = draft_grid(by=bench.by, now=NOW, **told)
    bench.reserve(grid)
    bench.weigh_all(grid)
    close_batch(by=bench.by, now=NOW, number=grid.number, filled=Filled())
    first, second = list[Lot](vial_lots(bench.by.studio, grid.number))
    for by, liking in ((bench.by, 8), (maker, 5)):
        note_smelling(by=by, now=NOW, on=first, said=Said(liking=liking))
    note_smelling(by=maker, now=NOW, on=first, said=Said(intensity=Decimal(4)))
    blind = set_up_blind(by=bench.by, now=NOW, title="Afternoon", lots=[first, second])
    code = BlindVial.objects.get(blind_set=blind, lot=second).code
    note_smelling(by=maker, now=NOW, on=UnderCode(set_id=blind.pk, code=code), said=Said(liking=9))

    def means(member: Any, measure: str) -> list[list[Mean | None]]:
        return [
            [cell.mean for cell in cells] for _, row in grid_map(member, grid, measure).rows for cells in row
        ]

    assert means(maker, LIKING) == [[Mean(Decimal("6.5"), 2)], [None]]
    assert means(bench.by, LIKING) == [[Mean(Decimal("6.5"), 2)], [Mean(Decimal("9.0"), 1)]]
    assert means(maker, PLAIN) == [[Mean(Decimal("4.00"), 1)], [None]]
    assert [(pair.a, pair.b, pair.summary.notes) for pair in going_together(maker)] == [
        ("linalool", "vanillin", 3)
    ]
    shown = Visitor(maker).text(f"/smelling/grids/{grid.number}/")
    assert "6.5 2 notes" in shown
    assert "no note" in shown
