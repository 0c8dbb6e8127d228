"""Labels of lots as PDF, placed to the tenth of a millimetre, and as rows.

What a label can show depends on its size: on the smallest are the name, the number and the code; pictograms with their
words come with the room for them. A name that is too long for its label is set smaller and then cut, never
allowed to push the number or the code off.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from batches.calc.label_layout import LabelLayout, places
from batches.papers.printing import Copy, Told, printed, silent, written
from batches.papers.square_codes import code_address
from batches.queries.labels import Label, LabelSet

COLUMNS = (
    "lot", "code", "kind", "title", "strength", "solvent", "made_mass", "made_at", "made_in", "supplier_lot", "expires_on",
    "keeper", "pictograms",
)  # fmt: skip
TENTH = Decimal("0.1")
SMALL_HEIGHT, SMALL_WIDTH = Decimal(20), Decimal(36)
ROOMY_HEIGHT = Decimal(27)
LARGEST_CODE, SMALLEST_CODE = Decimal(26), Decimal(9)
SYMBOLS_DEPTH = Decimal(7)
WIDEST_SYMBOL = Decimal(21)
EDGE = Decimal("1.5")
SIZES = (("short", Decimal("2.35")), ("long", Decimal("1.85")))
"""Names are set in the first size whose letters, so many millimetres wide, fit; else in the smallest."""
Room = Literal["small", "medium", "roomy"]
SHRUNK: dict[Room, Decimal] = {"small": Decimal("0.8"), "medium": Decimal("0.85"), "roomy": Decimal(1)}


@dataclass(frozen=True, slots=True)
class PlacedSymbol:
    """A pictogram with its word, in the band along the foot of a label; millimetres as text."""

    code: str
    word: str
    left: str
    width: str


@dataclass(frozen=True, slots=True)
class PlacedLabel:
    """A label with its place on the page, in millimetres as text for the stylesheet."""

    label: Label
    code: str
    left: str
    top: str
    length: str
    symbols: tuple[PlacedSymbol, ...]


def print_labels(labels: LabelSet, layout: LabelLayout, copy: Copy, told: Told = silent) -> bytes:
    """The PDF: the labels in their order, on as many pages as they need."""
    return printed(labels_html(labels, layout, copy), style="labels.css", told=told)


def labels_html(labels: LabelSet, layout: LabelLayout, copy: Copy) -> str:
    """The labels before they are laid out."""
    pages: dict[int, list[PlacedLabel]] = {}
    for label, place in zip(labels.labels, places(layout, len(labels.labels)), strict=True):
        placed = PlacedLabel(
            label=label,
            code=code_address(label.link),
            left=_mm(place.left_mm),
            top=_mm(place.top_mm),
            length=_size_of_name(label.title, layout),
            symbols=_symbols(label, layout),
        )
        pages.setdefault(place.page, []).append(placed)
    width, height = layout.page_mm
    context = {
        "pages": list(pages.values()),
        "page_width": _mm(width),
        "page_height": _mm(height),
        "width": _mm(layout.width_mm),
        "height": _mm(layout.height_mm),
        "code": _mm(code_side(layout)),
        "text": _mm(_words_width(layout)),
        "depth": _mm(layout.height_mm - EDGE - _band(layout)),
        "room": room_of(layout),
        "copy": copy,
        "studio": labels.studio,
    }
    return written("labels.html", context)


def code_side(layout: LabelLayout) -> Decimal:
    """The side of the code: as large as helps a scanner and leaves room for the words."""
    free = layout.height_mm - 1 - _band(layout)
    return max(min(free, layout.width_mm * Decimal("0.42"), LARGEST_CODE), SMALLEST_CODE)


def room_of(layout: LabelLayout) -> Room:
    """What a label of this size can show beyond name, number, strength and last day.

    "small" nothing, "medium" the dangers in words, and origin and keeper as far as they fit, "roomy" the pictograms with
    their words along the foot.
    """
    if layout.height_mm < SMALL_HEIGHT or layout.width_mm < SMALL_WIDTH:
        return "small"
    return "medium" if layout.height_mm < ROOMY_HEIGHT else "roomy"


def _band(layout: LabelLayout) -> Decimal:
    return SYMBOLS_DEPTH if room_of(layout) == "roomy" else Decimal(0)


def _words_width(layout: LabelLayout) -> Decimal:
    return layout.width_mm - code_side(layout) - EDGE - Decimal("0.5")


def _symbols(label: Label, layout: LabelLayout) -> tuple[PlacedSymbol, ...]:
    if not label.pictograms or room_of(layout) != "roomy":
        return ()
    width = min((layout.width_mm - EDGE) / len(label.pictograms), WIDEST_SYMBOL)
    return tuple(
        PlacedSymbol(one.code, one.word, _mm(EDGE + place * width), _mm(width))
        for place, one in enumerate(label.pictograms)
    )


def _size_of_name(name: str, layout: LabelLayout) -> str:
    """How large the name can be set: its longest word has to fit a line, and all of it two."""
    letters = max(Decimal(len(name)) / 2, *(Decimal(len(word)) for word in name.split() or [name]))
    shrunk = SHRUNK[room_of(layout)]
    for size, letter_mm in SIZES:
        if letters * letter_mm * shrunk <= _words_width(layout):
            return size
    return "longest"


def _mm(size: Decimal) -> str:
    return f"{size.quantize(TENTH)}mm"


def label_rows(labels: LabelSet) -> Iterator[tuple[Any, ...]]:
    """The same as rows under `COLUMNS`; `code` is what the square code says."""
    for label in labels.labels:
        yield (
            label.lot,
            label.link,
            label.kind,
            label.title,
            label.strength,
            label.solvent,
            label.made_mass,
            label.made_at,
            label.made_in,
            label.supplier_lot,
            label.expires_on,
            label.keeper,
            ", ".join(f"{one.code} {one.word}" for one in label.pictograms),
        )
