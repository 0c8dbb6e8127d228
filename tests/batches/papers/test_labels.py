"""Labels lie to the millimetre, are read by a scanner, and show what there is room for."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from batches.calc.label_layout import LabelLayout, Sheet
from batches.papers.labels import code_side, print_labels
from batches.queries.labels import labels_of
from inventory.calc.lot_codes import read_lot_code
from inventory.models import Lot
from inventory.queries.finding import lot_number
from studio.models.scoped import NoSuchThing
from tests.batches.papers.conftest import COPY
from tests.conftest import NOW
from tests.papers import codes, pages, picture, words

D = Decimal
SHEET = LabelLayout(
    width_mm=D("63.5"),
    height_mm=D("38.1"),
    sheet=Sheet(columns=3, rows=7, left_mm=D("7.2"), top_mm=D("15.1"), gap_x_mm=D("2.5"), start=20),
)
SIZES = {
    "smallest": ("20", "12"),
    "vial": ("38", "15"),
    "stock": ("50", "22"),
    "bottle": ("60", "30"),
    "jar": ("100", "70"),
}


@pytest.fixture
def numbers(closed, studio):
    """The numbers of bottles, stocks and a blend."""
    return list(Lot.objects.of(studio).order_by("id").values_list("number", flat=True))


@pytest.mark.parametrize(("width", "height"), SIZES.values(), ids=SIZES.keys())
def test_every_size_is_read_by_a_scanner_and_finds_its_lot(width, height, numbers, studio):
    layout = LabelLayout(width_mm=D(width), height_mm=D(height))
    data = print_labels(labels_of(studio=studio, numbers=numbers[:3]), layout, COPY)
    assert pages(data) == 3
    assert [lot_number(text, studio) for text in codes(data)] == numbers[:3]
    for page, number in enumerate(numbers[:3], start=1):
        assert number in words(data, page)


def test_the_code_names_the_lot_and_its_last_day(shelved, studio):
    lot = shelved.bottle("vanillin 5g", expires_on=date(2027, 3, 1))
    [text] = codes(print_labels(labels_of(studio=studio, numbers=[lot.number]), LabelLayout(), COPY))
    code = read_lot_code(text, today=NOW.date())
    assert (code.lot, code.expires_on) == (lot.number, date(2027, 3, 1))
    assert lot_number(text, studio) == lot.number


def test_a_page_is_as_large_as_its_label(numbers, studio):
    layout = LabelLayout(width_mm=D(50), height_mm=D(25))
    seen = picture(print_labels(labels_of(studio=studio, numbers=numbers[:1]), layout, COPY), dots=254)
    assert abs(seen.width - 500) <= 1
    assert abs(seen.height - 250) <= 1


def test_a_sheet_begins_at_the_place_given_and_goes_on_over_the_page(numbers, studio):
    data = print_labels(labels_of(studio=studio, numbers=numbers[:4]), SHEET, COPY)
    assert pages(data) == 2
    assert [lot_number(text, studio) for text in codes(data)] == numbers[:4]
    seen = picture(data, 1, dots=254).convert("L")
    # Places 1 to 19 are used up: nothing is printed above the last row or left of its second column.
    last_row = round((15.1 + 6 * 38.1) * 10)
    assert seen.crop((0, 0, seen.width, last_row)).getextrema() == (255, 255)
    assert seen.crop((0, 0, round((7.2 + 66) * 10), seen.height)).getextrema() == (255, 255)
    assert seen.getextrema()[0] < 100


def test_nothing_of_one_label_runs_on_to_another(numbers, studio):
    labels = labels_of(studio=studio, numbers=numbers[:3])
    wordy = [
        replace(one, title=f"{word} " * 30, keeper=f"{word} " * 15, supplier_lot=word * 9)
        for one, word in zip(labels.labels, ("amber", "birch", "cedar"), strict=True)
    ]
    for layout in (
        LabelLayout(width_mm=D(50), height_mm=D(22)),
        LabelLayout(),
        LabelLayout(width_mm=D(20), height_mm=D(12)),
    ):
        data = print_labels(replace(labels, labels=tuple(wordy)), layout, COPY)
        assert pages(data) == 3
        for page, word in enumerate(("amber", "birch", "cedar"), start=1):
            told = words(data, page)
            assert word in told
            assert not {"amber", "birch", "cedar"} - {word} & set(told.split())
            assert numbers[page - 1] in told


def test_dangers_stand_in_words_and_in_symbols(shelved, studio):
    lot = shelved.bottle("linalool 5g")
    labels = labels_of(studio=studio, numbers=[lot.number])
    assert [one.code for one in labels.labels[0].pictograms] == ["GHS07"]
    large = print_labels(labels, LabelLayout(), COPY)
    assert "irritant, may cause allergy" in words(large)
    assert _red(picture(large)) > 50
    medium = print_labels(labels, LabelLayout(width_mm=D(50), height_mm=D(22)), COPY)
    assert "irritant, may cause allergy" in words(medium)


def _red(seen) -> int:
    """How many dots are red."""
    colours = seen.convert("RGB").getcolors(1 << 24)
    return sum(count for count, (red, green, blue) in colours if red > 150 and green < 90 and blue < 90)


def test_a_number_that_is_not_there_is_named(numbers, studio):
    with pytest.raises(NoSuchThing, match="26-4711"):
        labels_of(studio=studio, numbers=[numbers[0], "26-4711-X"])


def test_labels_take_two_statements_however_many(numbers, studio, django_assert_num_queries):
    for some in (numbers[:1], numbers * 3):
        with django_assert_num_queries(2):
            labels_of(studio=studio, numbers=some)


def test_a_code_is_never_smaller_than_a_scanner_reads():
    assert code_side(LabelLayout(width_mm=D(20), height_mm=D(12))) >= 9
