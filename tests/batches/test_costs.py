"""What batches cost, up to the dearest materials there are."""

from decimal import Decimal

from inventory.actions.counting import count_lot
from tests.workbench import Workbench


def test_the_dearest_materials_are_planned_made_and_dried_up_without_a_fault(bench: Workbench) -> None:
    """999,999 a gram is the most that a bottle may cost; a batch of many grams of it costs eleven digits and more."""
    bench.bottle("orris@50%/ethanol 900000g", price=Decimal(999_999) * 900_000)
    batch = bench.plan(bench.formula("dear", "orris@50%/ethanol 1"), "800000")
    bench.reserve(batch)
    bench.weigh(batch, 1, "800000")
    made = bench.close(batch)
    batch.refresh_from_db()
    assert batch.planned_cost == batch.actual_cost == Decimal("799999200000.0000")
    count_lot(
        by=bench.by,
        now=bench.now,
        number=made.number,
        gross=Decimal(400_010),
        tare=Decimal(0),
        loss="evaporated",
    )
    made.refresh_from_db()
    assert made.cost_per_gram is not None
    assert made.cost_per_gram.quantize(Decimal(1)) == 1_999_948
