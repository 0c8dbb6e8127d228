"""The declared purity of a bottle is one source of doubt, wherever its liquid goes: counted once, and as it was received."""

from decimal import Decimal

import pytest

from inventory.actions.counting import count_lot, discard
from inventory.actions.drawing_off import Container, draw_off
from inventory.models import LotKind
from tests.workbench import Workbench


def test_a_bottle_filled_from_another_brings_the_purity_of_the_first_once(bench: Workbench) -> None:
    """(1 − 0.97)/√3 = 0.017320508 in the bottle, a tenth of it in a tenth."""
    first = bench.bottle("linalool 10g", purity=Decimal("0.97"))
    bench.bottle("ethanol 100g")
    second = draw_off(
        by=bench.by,
        now=bench.now,
        number=first.number,
        mass=Decimal(5),
        container=Container(kind=LotKind.BOTTLE),
    )
    discard(by=bench.by, now=bench.now, number=first.number, why="so that the second is taken")
    stock = bench.stock("linalool@10% 10g")
    assert second.strength_u == Decimal("0.017320508")
    assert float(stock.strength_u) == pytest.approx(0.0017320508, rel=1e-6)


def test_a_bottle_that_dried_brings_the_purity_it_was_received_with_and_the_factor_once(
    bench: Workbench,
) -> None:
    """0.1 · 0.03/√3 as received; 100 g dried to 80 g make it 5/4 of that, and half of it is in equal parts."""
    lot = bench.bottle("linalool@10% 100g", purity=Decimal("0.97"))
    bench.bottle("ethanol 100g")
    count_lot(
        by=bench.by, now=bench.now, number=lot.number, gross=Decimal(80), tare=Decimal(0), loss="evaporated"
    )
    half = bench.make(bench.formula("half", "linalool@12.5% 1", "ethanol 1"), "10")
    assert half.actual_strength == Decimal("0.0625")
    assert float(half.strength_u) == pytest.approx(0.0017320508 * 5 / 4 / 2, rel=1e-6)
