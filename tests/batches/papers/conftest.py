"""A batch with everything a ticket can show, and the member its papers are printed for."""

from decimal import Decimal

import pytest

from batches.actions.weighing import strike_weighing
from batches.models import Batch
from batches.papers.printing import Copy
from inventory.actions.places import add_shelf, check_balance
from tests.conftest import NOW

D = Decimal
COPY = Copy(2, "Ada Owner", NOW)


@pytest.fixture
def shelved(bench):
    """The bench with two stocks and a solvent on a shelf."""
    bench.material("linalool", hazards=["H315", "H317"])
    bench.material("ethanol", hazards=["H225"], flash_point_c=D(13))
    bench.shelf = add_shelf(by=bench.by, now=NOW, name="cold cupboard")
    for text in ("linalool 50g", "vanillin 50g", "ethanol 500g"):
        bench.bottle(text, shelf=bench.shelf, supplier="Some supplier", supplier_lot="S-77")
    bench.stock("linalool@10% 40g")
    bench.stock("vanillin@10% 40g")
    return bench


@pytest.fixture
def reserved(shelved) -> Batch:
    """A batch of three lines that is ready to be weighed."""
    version = shelved.formula(
        "hedge", "linalool@10% 3", "vanillin@10% 2", "ethanol 5", name="Hedge after rain"
    )
    balance = shelved.balance("fine one")
    check_balance(
        by=shelved.by, now=NOW, balance=balance, reference=D(100), reading=D(100), allowed_error=D("0.01")
    )
    return shelved.reserve(shelved.plan(version, "10", balance=balance))


@pytest.fixture
def closed(shelved, reserved) -> Batch:
    """The same, weighed with one entry struck through, and closed."""
    wrong = shelved.weigh(reserved, 1, "2.9")
    strike_weighing(
        by=shelved.by, now=NOW, number=reserved.number, weighing_id=wrong.id, why="beaker was not tared"
    )
    shelved.weigh(reserved, 1, "3.0124")
    shelved.weigh(reserved, 2, "1.9987")
    shelved.weigh(reserved, 3, "5.0013")
    shelved.close(reserved)
    reserved.refresh_from_db()
    return reserved
