"""A trace as a layered drawing: lots in columns by generation, pours between them as wide as
what of them is behind the traced lot, or of it in them.

A column that is longer than can be read is folded: the heaviest lots stay, the others stand together in one box, and
the pours of that box are added up. So five hundred lots are a drawing of a few dozen boxes, and a fold can be opened
by its link. Within a column lots stand in the order that their neighbours suggest (the mean place of what they are
joined to, swept forth and back twice), which untangles most crossings; finding the fewest crossings is a hard problem,
and nobody sees the difference. Everything is reckoned from the trace alone, so the same trace is always the same drawing.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from inventory.models.ancestry import LotCard
from inventory.queries.trace import Trace
from studio.kernel.mass import nearest_mass

BOX_WIDE, BOX_HIGH = 208, 52
GAP_ACROSS, GAP_DOWN = 92, 12
MARGIN = 10
WIDEST_POUR, THINNEST_POUR = 30.0, 1.2
SWEEPS = 2
TITLE_LETTERS = 23


@dataclass(slots=True)
class Box:
    """One lot, or several that are folded together; `mass` is grams of, or in, the traced lot."""

    key: str
    column: int
    mass: Decimal
    card: LotCard | None = None
    folded: int = 0
    generation: int = 0
    place: float = 0.0
    x: int = 0
    y: int = 0

    @property
    def title(self) -> str:
        """The first line in the box."""
        if self.card is None:
            return f"{self.folded} more lots" if self.folded > 1 else "1 more lot"
        name = self.card.title
        return name if len(name) <= TITLE_LETTERS else f"{name[: TITLE_LETTERS - 1].rstrip()}…"


@dataclass(frozen=True, slots=True)
class Band:
    """The pours from one box into another, drawn as one curve."""

    path: str
    width: float
    mass: Decimal
    source: Box
    target: Box


@dataclass(frozen=True, slots=True)
class Drawing:
    """What the template draws."""

    boxes: list[Box]
    bands: list[Band]
    wide: int
    high: int
    folded: int
    columns: int
    box_wide: int = BOX_WIDE
    box_high: int = BOX_HIGH


@dataclass(slots=True)
class _Layers:
    columns: dict[int, list[Box]] = field(default_factory=lambda: defaultdict(list))
    of_lot: dict[str, Box] = field(default_factory=dict)


def draw_trace(
    trace: Trace, *, most: int = 8, opened: frozenset[int] = frozenset(), generations: int | None = None
) -> Drawing:
    """Lay a trace out. `most` boxes stand in a column, unless its generation is `opened`; with `generations` only
    the nearest so many are drawn.
    """
    layers = _layered(trace, most, opened, generations)
    poured: dict[tuple[str, str], Decimal] = defaultdict(lambda: Decimal(0))
    part = _parts(trace)
    for pour in trace.pours:
        source, target = layers.of_lot.get(pour.source), layers.of_lot.get(pour.target)
        if source is not None and target is not None and source is not target:
            counted = pour.target if trace.direction == "back" else pour.source
            poured[(source.key, target.key)] += pour.mass * part.get(counted, Decimal(0))
    boxes = {box.key: box for column in layers.columns.values() for box in column}
    _arrange(layers.columns, poured)
    _place(layers.columns)
    tallest = max(len(column) for column in layers.columns.values())
    return Drawing(
        boxes=list(boxes.values()),
        bands=_bands(boxes, poured),
        wide=2 * MARGIN + len(layers.columns) * (BOX_WIDE + GAP_ACROSS) - GAP_ACROSS,
        high=2 * MARGIN + tallest * (BOX_HIGH + GAP_DOWN) - GAP_DOWN,
        folded=sum(box.folded for box in boxes.values()),
        columns=len(layers.columns),
    )


def _parts(trace: Trace) -> dict[str, Decimal]:
    """What part of each lot belongs to the traced one, so that a band is as wide as what of it is behind, or in, it."""
    parts = {
        traced.lot.number: traced.mass / traced.lot.made_mass for traced in trace.lots if traced.lot.made_mass
    }
    return {**parts, trace.lot.number: Decimal(1)}


def _layered(trace: Trace, most: int, opened: frozenset[int], generations: int | None) -> _Layers:
    """Every lot in its column, the columns from left to right in the order of making."""
    by_generation: dict[int, list[Box]] = defaultdict(list)
    for traced in trace.lots:
        if generations is None or traced.generation <= generations:
            box = Box(traced.lot.number, 0, traced.mass, traced.lot, generation=traced.generation)
            by_generation[traced.generation].append(box)
    by_generation[0] = [Box(trace.lot.number, 0, trace.lot.made_mass, trace.lot)]
    deepest = max(by_generation)
    layers = _Layers()
    for generation in sorted(by_generation):
        column = deepest - generation if trace.direction == "back" else generation
        ranked = sorted(by_generation[generation], key=lambda box: (-box.mass, box.key))
        fold = len(ranked) > most and generation not in opened
        kept, rest = (ranked[: most - 1], ranked[most - 1 :]) if fold else (ranked, [])
        for box in kept:
            layers.of_lot[box.key] = box
        if rest:
            together = Box(
                f"fold-{generation}",
                column,
                sum((box.mass for box in rest), Decimal(0)),
                folded=len(rest),
                generation=generation,
            )
            kept = [*kept, together]
            layers.of_lot.update({box.key: together for box in rest})
        for box in kept:
            box.column = column
        layers.columns[column] = kept
    return layers


def _arrange(columns: Mapping[int, list[Box]], poured: Mapping[tuple[str, str], Decimal]) -> None:
    """Sort each column by the mean place of its neighbours; a fold stays at the foot."""
    joined: dict[str, list[str]] = defaultdict(list)
    for source, target in sorted(poured):
        joined[source].append(target)
        joined[target].append(source)
    place = {box.key: float(row) for column in columns.values() for row, box in enumerate(column)}
    for sweep in range(2 * SWEEPS):
        for number in sorted(columns, reverse=sweep % 2 == 0):
            column = columns[number]
            for box in column:
                near = [place[key] for key in joined[box.key]]
                box.place = sum(near) / len(near) if near else place[box.key]
            column.sort(key=lambda box: (box.folded > 0, box.place, box.key))
            for row, box in enumerate(column):
                place[box.key] = row - (len(column) - 1) / 2


def _place(columns: Mapping[int, list[Box]]) -> None:
    tallest = max(len(column) for column in columns.values())
    for across, number in enumerate(sorted(columns)):
        column = columns[number]
        start = MARGIN + (tallest - len(column)) * (BOX_HIGH + GAP_DOWN) // 2
        for row, box in enumerate(column):
            box.x = MARGIN + across * (BOX_WIDE + GAP_ACROSS)
            box.y = start + row * (BOX_HIGH + GAP_DOWN)


def _bands(boxes: Mapping[str, Box], poured: Mapping[tuple[str, str], Decimal]) -> list[Band]:
    """The curves, heaviest first, so that thin ones lie on top."""
    heaviest = max(poured.values(), default=Decimal(1)) or Decimal(1)
    ranked: Sequence[tuple[tuple[str, str], Decimal]] = sorted(
        poured.items(), key=lambda item: (-item[1], item[0])
    )
    bands = []
    for (source_key, target_key), grams in ranked:
        source, target = boxes[source_key], boxes[target_key]
        x1, y1 = source.x + BOX_WIDE, source.y + BOX_HIGH // 2
        x2, y2 = target.x, target.y + BOX_HIGH // 2
        half = (x2 - x1) // 2
        bands.append(
            Band(
                path=f"M{x1} {y1}C{x1 + half} {y1} {x2 - half} {y2} {x2} {y2}",
                width=round(max(float(grams / heaviest) * WIDEST_POUR, THINNEST_POUR), 1),
                mass=nearest_mass(grams),
                source=source,
                target=target,
            )
        )
    return bands
