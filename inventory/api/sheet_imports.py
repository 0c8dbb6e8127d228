"""What every import of a CSV sheet has in common: read whole, every fault named by line and column, all or nothing.

Each row goes through the shape that a single request goes through, so a sheet can say exactly what the API can. With
`dry_run` everything is checked and done, and then undone, so that not even a number is used up. A list exported as CSV
can be imported again: columns that follow from others, or that only the studio it came from can know, are read over.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, ClassVar, cast

from django.db import transaction
from django.http import HttpResponse
from rest_framework.exceptions import UnsupportedMediaType, ValidationError
from rest_framework.request import Request

from studio.api.fields import Shape, YesNo
from studio.api.parsers import SheetParser
from studio.api.refusals import MediaUnknown
from studio.api.views import Endpoint
from studio.kernel.errors import Faults, Invalid
from studio.kernel.sheets import Row, place, read_rows
from studio.kernel.work import work

_PLACED = re.compile(r"(\d+)\.(.+)")


class BadRows(Invalid):
    """Rows of a sheet that cannot be taken. Nothing of it was written; `errors` names every line and column."""

    code = "bad-rows"
    title = "Rows that cannot be taken"


class ImportAsk(Shape):
    dry_run = YesNo(required=False, help_text="Check everything and write nothing.")


class SheetImport(Endpoint):
    """Base of the imports: subclasses name their columns and turn rows into one action."""

    parser_classes = [SheetParser]
    asks = {"POST": ImportAsk}
    untagged = frozenset({"POST"})
    required: ClassVar[Sequence[str]] = ()
    optional: ClassVar[Sequence[str]] = ()
    ignored: ClassVar[Sequence[str]] = ()
    """Columns that an export has and an import reads over."""
    told: ClassVar[type[Shape]]
    """The shape of the answer: how many `rows`, what was `written`, and whether it was a `dry_run`."""
    given_out: ClassVar[str]
    """The field of a written row that a dry run cannot know."""

    def take(self, rows: list[Row]) -> list[dict[str, Any]]:
        """Write the rows by one action, and tell what was written with the line it came from.

        Faults are keyed by `place`; their sentences need not repeat it.
        """
        raise NotImplementedError

    def do_import(self, request: Request) -> HttpResponse:
        data = request.data if isinstance(request.data, bytes) else b""
        rows = read_rows(data, required=self.required, optional=[*self.optional, *self.ignored])
        dry_run = self.asked.get("dry_run", False)
        written = self._done(rows, undo=dry_run)
        if dry_run:
            written = [{**row, self.given_out: None} for row in written]
        result = {"rows": len(rows), "written": written, "dry_run": dry_run}
        return self.answer(self.told, result, status=200 if dry_run else 201, etag=False)

    def _done(self, rows: list[Row], *, undo: bool) -> list[dict[str, Any]]:
        if not rows:
            return []
        read_over = set(self.ignored)
        kept = [
            (line, {column: cell for column, cell in cells.items() if cell and column not in read_over})
            for line, cells in rows
        ]
        try:
            with work():
                written = self.take(kept)
                if undo:
                    transaction.set_rollback(True)
        except Invalid as refusal:
            raise by_line(refusal) from None
        return written

    def handle_exception(self, exc: Exception) -> Any:
        if isinstance(exc, UnsupportedMediaType):
            exc = MediaUnknown(f"{exc.detail} Send the sheet as text/csv.")
        return super().handle_exception(exc)


def by_line(refusal: Invalid) -> Invalid:
    """`refusal` with every sentence opening with its line and column; one that concerns no row stays as it is."""
    placed = {key: _PLACED.fullmatch(key) for key in refusal.errors}
    if not placed or not all(placed.values()):
        return refusal
    faults = Faults()
    for key, match in sorted(placed.items(), key=lambda one: int(one[1][1]) if one[1] else 0):
        for sentence in refusal.errors[key] if match else ():
            faults.add(key, f"Line {match[1]}, column {match[2]}: {sentence}" if match else sentence)
    sentences = [sentence for under in faults.errors.values() for sentence in under]
    more = f" ({len(sentences) - 1} more below)" if len(sentences) > 1 else ""
    return BadRows(sentences[0] + more, errors=faults.errors)


def through(shape: Shape, line: int, cells: Mapping[str, Any], faults: Faults) -> dict[str, Any]:
    """One row through the shape of a single request; its faults are gathered by line and column.

    One instance of the shape reads all the rows of a sheet: making it anew for each would take most of the time.
    """
    try:
        return dict(shape.run_validation(dict(cells)))
    except ValidationError as error:
        for column, sentences in cast(Mapping[str, Any], error.detail).items():
            for sentence in _sentences(sentences):
                faults.add(place(line, column), sentence)
    return {}


def _sentences(told: Any) -> Iterator[str]:
    if isinstance(told, Mapping):
        for inner in told.values():
            yield from _sentences(inner)
    elif isinstance(told, list):
        for inner in told:
            yield from _sentences(inner)
    else:
        yield str(told)
