"""What notes say when they are taken together: by pairs of materials, by versions of a formula, by the cells of a grid.

Only notes that stand, and only those whose lot the asking member may know, are reckoned with: what is under a code that
was not revealed is in no figure. Everything takes a fixed number of statements.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import F, Prefetch, Q

from batches.calc.smelling_summary import Mean, Pairing, Summary, Told, pairings, summary_of
from batches.models import Batch, BatchKind, FormulaVersion, GridCell, Smelling, SmellingSaid
from batches.models.smelling import SmellingQuerySet
from batches.queries.smelling import smellings_of
from inventory.models import Lot, LotContent, MaterialKind, Movement, Reason
from studio.models import Member

LIKING, PLAIN, MAGNITUDE = "liking", "plain", "magnitude"
MEASURES = {
    LIKING: "liking, 1 to 9",
    PLAIN: "intensity, 0 to 10, plain",
    MAGNITUDE: "intensity, 0 to 10, by magnitude words",
}


@dataclass(frozen=True, slots=True)
class VersionSmelled:
    """One version of a formula by the noses: its lots with what was drawn off them, the notes, and their summary."""

    version: FormulaVersion
    lots: list[Lot]
    notes: list[Smelling]
    summary: Summary


@dataclass(frozen=True, slots=True)
class MapCell:
    """One vial of a laid out set, with its measure where it was noted."""

    lot: Lot
    mean: Mean | None


@dataclass(frozen=True, slots=True)
class SmelledMap:
    """Vials laid out in rows and columns; a cell holds the vials that share both."""

    columns: list[str]
    rows: list[tuple[str, list[list[MapCell]]]]


def going_together(member: Member) -> list[Pairing]:
    """What goes with what: the notes on vials of two materials.

    A vial of a grid stands for the materials of the two lots that were crossed in it, where each is a lot of one; any
    other lot for the two odorants of which, by its actual contents, it consists beside solvents. Five statements.
    """
    notes = known_notes(member)
    told = [_told(note) for note in notes]
    lots = {note.lot for note in told}
    return pairings(told, {**_by_contents(lots), **_by_grid(lots)})


def known_notes(member: Member, lots: Iterable[int] | None = None) -> list[Smelling]:
    """The standing notes whose lot a member may know, of all lots or of these; two statements."""
    said = SmellingSaid.objects.select_related("word__merged_into").order_by("position", "id")
    rows: SmellingQuerySet = Smelling.objects.of(member.studio_id).known_to(member).standing()
    if lots is not None:
        rows = rows.filter(lot__in=list(lots))
    return list(rows.order_by("id").prefetch_related(Prefetch("said", queryset=said)))


def smelled_versions(member: Member, versions: Sequence[FormulaVersion]) -> list[VersionSmelled]:
    """Versions side by side; a vial that was drawn off a lot of a version counts as that version."""
    batches: Any = Batch.objects.of(member.studio_id).filter(version__in=versions, made__isnull=False)
    made: dict[int, int] = dict(batches.order_by("id").values_list("made_id", "version_id"))
    drawn = Movement.objects.of(member.studio_id).filter(source__in=list(made), reason=Reason.DRAWN_OFF)
    version_of = dict(made)
    for source, target in drawn.order_by("id").values_list("source_id", "target_id"):
        assert source is not None
        assert target is not None
        version_of.setdefault(target, made[source])
    lots = list(Lot.objects.filter(pk__in=version_of).order_by("number", "id"))
    rows = smellings_of(member).standing().filter(lot__in=lots, told_lot__isnull=False)
    notes: dict[int, list[Smelling]] = defaultdict(list)
    for note in rows.order_by("minutes", "at", "id"):
        notes[version_of[note.lot_id]].append(note)
    return [
        VersionSmelled(
            version=version,
            lots=[lot for lot in lots if version_of[lot.pk] == version.pk],
            notes=notes[version.pk],
            summary=summary_of([_told(note) for note in notes[version.pk]]),
        )
        for version in versions
    ]


def measured(member: Member, lots: Iterable[int], measure: str) -> dict[int, Mean]:
    """The mean of a measure of `MEASURES` by lot, each with its count; lots without a note are left out."""
    told: dict[int, list[Told]] = defaultdict(list)
    for note in known_notes(member, lots):
        told[note.lot_id].append(_told(note))
    found = {lot: _measure(summary_of(notes), measure) for lot, notes in told.items()}
    return {lot: mean for lot, mean in found.items() if mean is not None}


def grid_map(member: Member, batch: Batch, measure: str) -> SmelledMap:
    """The vials of a grid: side B along the columns, side A with its ratios down the rows, controls at the end."""
    cells = list(
        GridCell.objects.filter(batch=batch, made__isnull=False)
        .select_related("lot_a", "lot_b", "made")
        .order_by("number", "attempt", "id")
    )
    means = measured(member, [cell.made_id for cell in cells if cell.made_id], measure)
    columns = list(dict.fromkeys(_column(cell) for cell in cells))
    rows: dict[str, dict[str, list[MapCell]]] = {}
    for cell in cells:
        assert cell.made is not None
        row = rows.setdefault(_row(cell), {})
        row.setdefault(_column(cell), []).append(MapCell(cell.made, means.get(cell.made.pk)))
    return SmelledMap(columns, [(name, [row.get(one, []) for one in columns]) for name, row in rows.items()])


def grids_with_vials(member: Member) -> list[Batch]:
    """The grids that were made, newest first; one statement."""
    rows = Batch.objects.of(member.studio_id).filter(kind=BatchKind.GRID, cells__made__isnull=False)
    return list(rows.distinct().order_by("-id")[:50])


def _row(cell: GridCell) -> str:
    if cell.lot_a is None:
        return "alone"
    return f"{cell.lot_a.title} {cell.ratio}".strip()


def _column(cell: GridCell) -> str:
    return "alone" if cell.lot_b is None else cell.lot_b.title


def _measure(summary: Summary, measure: str) -> Mean | None:
    return summary.liking if measure == LIKING else summary.intensity.get(measure)


def _told(note: Smelling) -> Told:
    return Told(
        lot=note.lot_id,
        nose=note.by_id,
        liking=note.liking,
        scale=note.scale,
        intensity=note.intensity,
        words=tuple(note.words),
    )


def _by_grid(lots: Iterable[int]) -> Mapping[int, tuple[str, str]]:
    rows: Any = GridCell.objects.filter(
        Q(made__in=list(lots)) & Q(lot_a__material__isnull=False) & Q(lot_b__material__isnull=False)
    ).order_by("id")
    names = rows.values_list("made_id", "lot_a__material__name", "lot_b__material__name")
    return {made: (a, b) for made, a, b in names if a != b}


def _by_contents(lots: Iterable[int]) -> Mapping[int, tuple[str, str]]:
    rows: Any = LotContent.objects.filter(
        lot__in=list(lots), revision=F("lot__contents_revision"), fraction__gt=0
    ).exclude(material__kind=MaterialKind.SOLVENT)
    odorants: dict[int, list[str]] = defaultdict(list)
    for lot, name in rows.order_by("id").values_list("lot_id", "material__name"):
        odorants[lot].append(name)
    return {lot: (names[0], names[1]) for lot, names in odorants.items() if len(names) == 2}
