"""Where labels go on paper: one label a page, or a sheet of rows and columns with the first free place given.

Everything is in millimetres and checked before anything is printed: a sheet that its labels do not fit on is
refused with the figures, since a sheet of labels that was printed askew is thrown away.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from studio.kernel.errors import Faults, Invalid

SMALLEST_WIDTH, SMALLEST_HEIGHT = Decimal(20), Decimal(12)
LARGEST_MM = Decimal(420)
MOST_PLACES = 400
MOST_LABELS = 1000
A4 = (Decimal(210), Decimal(297))


class LabelsDoNotFit(Invalid):
    """The sizes given make no sheet: labels too small to be read, or more of them than the paper holds."""

    code = "labels-do-not-fit"
    title = "The labels do not fit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet of labels; `start` is the first free place, counted by rows from 1."""

    page_width_mm: Decimal = A4[0]
    page_height_mm: Decimal = A4[1]
    columns: int = 1
    rows: int = 1
    left_mm: Decimal = Decimal(0)
    top_mm: Decimal = Decimal(0)
    gap_x_mm: Decimal = Decimal(0)
    gap_y_mm: Decimal = Decimal(0)
    start: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelLayout:
    """The size of one label, and the sheet it is one of; without a sheet each label is a page of its own."""

    width_mm: Decimal = Decimal(60)
    height_mm: Decimal = Decimal(30)
    sheet: Sheet | None = None

    @property
    def page_mm(self) -> tuple[Decimal, Decimal]:
        """Width and height of the paper."""
        if self.sheet is None:
            return self.width_mm, self.height_mm
        return self.sheet.page_width_mm, self.sheet.page_height_mm


@dataclass(frozen=True, slots=True)
class Place:
    """Where one label goes: page counted from 0, and millimetres from the left and the top of it."""

    page: int
    left_mm: Decimal
    top_mm: Decimal


def check_layout(layout: LabelLayout, labels: int = 1) -> None:
    """Raise `LabelsDoNotFit` with every fault: sizes, what the sheet holds, where it starts, how many there are."""
    faults = Faults()
    if not SMALLEST_WIDTH <= layout.width_mm <= LARGEST_MM:
        faults.add("width_mm", f"A label is {SMALLEST_WIDTH} to {LARGEST_MM} mm wide.")
    if not SMALLEST_HEIGHT <= layout.height_mm <= LARGEST_MM:
        faults.add("height_mm", f"A label is {SMALLEST_HEIGHT} to {LARGEST_MM} mm high.")
    if not 1 <= labels <= MOST_LABELS:
        faults.add("lots", f"At least one and at most {MOST_LABELS} labels are printed at once.")
    if layout.sheet is not None:
        _check_sheet(layout, layout.sheet, faults)
    if faults:
        first = next(iter(faults.errors.values()))[0]
        raise LabelsDoNotFit(first, errors=faults.errors)


def _check_sheet(layout: LabelLayout, sheet: Sheet, faults: Faults) -> None:
    for name, size in (("page_width_mm", sheet.page_width_mm), ("page_height_mm", sheet.page_height_mm)):
        if not 0 < size <= LARGEST_MM:
            faults.add(f"sheet.{name}", f"Paper is up to {LARGEST_MM} mm long.")
    for name in ("left_mm", "top_mm", "gap_x_mm", "gap_y_mm"):
        if not 0 <= getattr(sheet, name) <= LARGEST_MM:
            faults.add(f"sheet.{name}", f"Margins and gaps are 0 to {LARGEST_MM} mm.")
    if sheet.columns < 1 or sheet.rows < 1 or sheet.columns * sheet.rows > MOST_PLACES:
        faults.add("sheet.columns", f"A sheet has at least one and at most {MOST_PLACES} places.")
        return
    if not 1 <= sheet.start <= sheet.columns * sheet.rows:
        faults.add("sheet.start", f"This sheet has places 1 to {sheet.columns * sheet.rows}.")
    width = sheet.left_mm + sheet.columns * layout.width_mm + (sheet.columns - 1) * sheet.gap_x_mm
    if width > sheet.page_width_mm:
        faults.add(
            "sheet.columns",
            f"{sheet.columns} columns need {width} mm with the left margin; the paper is {sheet.page_width_mm} mm wide.",
        )
    height = sheet.top_mm + sheet.rows * layout.height_mm + (sheet.rows - 1) * sheet.gap_y_mm
    if height > sheet.page_height_mm:
        faults.add(
            "sheet.rows",
            f"{sheet.rows} rows need {height} mm with the top margin; the paper is {sheet.page_height_mm} mm high.",
        )


def places(layout: LabelLayout, labels: int) -> Iterator[Place]:
    """The place of each of so many labels, by rows from the first free place on, page after page."""
    sheet = layout.sheet
    for index in range(labels):
        if sheet is None:
            yield Place(index, Decimal(0), Decimal(0))
            continue
        page, place = divmod(index + sheet.start - 1, sheet.columns * sheet.rows)
        row, column = divmod(place, sheet.columns)
        yield Place(
            page,
            sheet.left_mm + column * (layout.width_mm + sheet.gap_x_mm),
            sheet.top_mm + row * (layout.height_mm + sheet.gap_y_mm),
        )
