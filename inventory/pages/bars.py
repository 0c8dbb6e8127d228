"""Amounts drawn as bars: what part of a container is free and spoken for, what part of a lot each material is.

Everything is a number between 0 and `WIDE`, for the `width` attributes of an SVG; styles of single elements are not
allowed on these pages.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.models import Lot, MaterialKind
from inventory.queries.shelf import Content

WIDE = 1000


@dataclass(frozen=True, slots=True)
class StockBar:
    """Widths of what is free and what is spoken for, of a bar as long as the lot was ever full."""

    free: int
    spoken: int
    free_mass: Decimal
    spoken_mass: Decimal
    short: Decimal


@dataclass(frozen=True, slots=True)
class ContentBar:
    """One material with the width of its share, and of its share less and plus twice its uncertainty."""

    content: Content
    width: int
    least: int
    most: int
    doubt: Decimal | None


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """A lot in a list, with its bar."""

    lot: Lot
    bar: StockBar


def stock_bar(lot: Lot) -> StockBar:
    """The bar of a lot; what is spoken for beyond what is there is told as short, not drawn."""
    full = max(lot.made_mass, lot.on_hand)
    spoken = min(lot.reserved, lot.on_hand)
    return StockBar(
        free=_width(lot.available, full),
        spoken=_width(spoken, full),
        free_mass=lot.available,
        spoken_mass=lot.reserved,
        short=max(lot.reserved - lot.on_hand, Decimal(0)),
    )


def shelf_rows(lots: Sequence[Lot]) -> list[ShelfRow]:
    """Lots with their bars."""
    return [ShelfRow(lot, stock_bar(lot)) for lot in lots]


def content_bars(contents: Sequence[Content]) -> list[ContentBar]:
    """The contents of a lot. Bars compare what is dissolved with each other; beside a solvent all would be specks."""
    dissolved = [content.fraction for content in contents if content.kind != MaterialKind.SOLVENT]
    longest = max(dissolved, default=Decimal(0)) or Decimal(1)
    return [_content_bar(content, longest) for content in contents]


def _content_bar(content: Content, longest: Decimal) -> ContentBar:
    doubt = 2 * content.standard_uncertainty if content.standard_uncertainty is not None else None
    spread = doubt or Decimal(0)
    return ContentBar(
        content=content,
        width=0 if content.kind == MaterialKind.SOLVENT else _width(content.fraction, longest),
        least=_width(max(content.fraction - spread, Decimal(0)), longest),
        most=_width(min(content.fraction + spread, longest), longest),
        doubt=doubt,
    )


def _width(part: Decimal, whole: Decimal) -> int:
    """Nearest whole step; what is more than nothing is at least a hairline."""
    if part <= 0 or whole <= 0:
        return 0
    return max(3, min(WIDE, round(part / whole * WIDE)))
