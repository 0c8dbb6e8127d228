"""Labels lie where they were asked to, and sizes that make no sheet are refused with the figures."""

from decimal import Decimal

import pytest

from batches.calc.label_layout import LabelLayout, LabelsDoNotFit, Sheet, check_layout, places

D = Decimal


def test_a_single_label_is_a_page_of_its_own():
    layout = LabelLayout(width_mm=D(50), height_mm=D(25))
    assert layout.page_mm == (D(50), D(25))
    assert [(one.page, one.left_mm, one.top_mm) for one in places(layout, 2)] == [(0, 0, 0), (1, 0, 0)]


def test_a_sheet_is_filled_by_rows_from_the_first_free_place_on():
    sheet = Sheet(columns=3, rows=2, left_mm=D(7), top_mm=D(15), gap_x_mm=D(2), gap_y_mm=D(1), start=3)
    layout = LabelLayout(width_mm=D(60), height_mm=D(40), sheet=sheet)
    check_layout(layout, 5)
    assert [(one.page, one.left_mm, one.top_mm) for one in places(layout, 5)] == [
        (0, 131, 15),
        (0, 7, 56),
        (0, 69, 56),
        (0, 131, 56),
        (1, 7, 15),
    ]


def test_all_faults_are_told_at_once_with_the_figures():
    sheet = Sheet(columns=4, rows=9, left_mm=D(5), start=40)
    with pytest.raises(LabelsDoNotFit) as refusal:
        check_layout(LabelLayout(width_mm=D(60), height_mm=D(40), sheet=sheet), 0)
    assert set(refusal.value.errors) == {"lots", "sheet.columns", "sheet.rows", "sheet.start"}
    assert "4 columns need 245 mm" in refusal.value.errors["sheet.columns"][0]


@pytest.mark.parametrize(("width", "height"), [("19", "30"), ("60", "11.9"), ("421", "30")])
def test_a_label_too_small_to_be_read_is_refused(width, height):
    with pytest.raises(LabelsDoNotFit):
        check_layout(LabelLayout(width_mm=D(width), height_mm=D(height)))
