"""The sheet of a panel's trays: every number in its place, and nothing of what stands behind them."""

from batches.models import PanelMethod
from batches.papers.serving_sheet import COLUMNS, print_serving_sheet, serving_sheet_rows
from batches.queries.serving_sheets import ServingSheet, serving_sheet_of
from studio.kernel.plain_records import from_plain, to_plain
from tests.batches.api.test_blind_panels import ORDERS, SWAP, twin
from tests.batches.panelling import set_up
from tests.batches.papers.conftest import COPY
from tests.conftest import NOW
from tests.papers import words
from tests.workbench import Workbench


def test_the_sheet_tells_every_number_and_no_lot(owner, maker):
    panel = set_up(Workbench(owner, NOW), maker, method=PanelMethod.DUO_TRIO, answers=4)
    sheet = serving_sheet_of(studio=owner.studio, panel_id=panel.pk)
    told = words(print_serving_sheet(from_plain(ServingSheet, to_plain(sheet)), COPY))
    for tray in panel.servings.all():
        assert " ".join(f"\u2610 {code}" for code in tray.codes[1:]) in told
    assert "Which one is the same as the reference?" in told
    assert "not a safety assessment" in told
    for lot in panel.lots:
        assert lot.number not in told
        assert lot.title not in told
    assert panel.seed not in told
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in serving_sheet_rows(sheet)]
    assert [row["tray"] for row in rows] == [1, 2, 3, 4]
    assert {row["first"] for row in rows} == {"reference"}


def test_the_sheets_of_twins_are_the_same(owner, maker):
    """They differ only in what stands behind their numbers."""
    bench = Workbench(owner, NOW)
    lots = (bench.bottle("linalool 5g"), bench.bottle("geraniol 5g"))
    orders = [list(ORDERS), [order.translate(SWAP) for order in ORDERS]]
    one, other = (
        to_plain(serving_sheet_of(studio=owner.studio, panel_id=twin(bench, maker, order, lots).pk))
        for order in orders
    )
    assert {**one, "panel": ""} == {**other, "panel": ""}
