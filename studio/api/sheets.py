"""Lists as CSV: every filtered row, streamed, with the columns of the list's shape.

The sheet opens with a byte order mark, because the spreadsheets it is made for otherwise guess another encoding
and spoil every accent. Cells that could start a formula are neutralised; importing takes that back.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from rest_framework.renderers import BaseRenderer
from rest_framework.serializers import Serializer

from studio.api.rendering import dump, moment_text
from studio.kernel.sheets import neutralised

CHUNK = 1000


class SheetForm(BaseRenderer):
    """Names the form of answer for the choice by `Accept` and `format`; the writing is `sheet`'s."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        raise TypeError("A sheet is streamed by studio.api.sheets.sheet.")


def sheet(shape: Serializer, rows: QuerySet[Any], *, name: str) -> StreamingHttpResponse:
    """All `rows` as a CSV sheet called `name`."""
    return StreamingHttpResponse(
        _lines(shape, rows.iterator(chunk_size=CHUNK)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}.csv"'},
    )


def _lines(shape: Serializer, rows: Iterable[Any]) -> Iterator[str]:
    class Line:
        """What the csv module writes to: it hands the line back."""

        def write(self, line: str) -> str:
            return line

    columns = [name for name, field in shape.fields.items() if not field.write_only]
    writer = csv.writer(Line())
    yield "\ufeff" + writer.writerow(columns)
    for row in rows:
        values = shape.to_representation(row)
        yield writer.writerow([cell(values.get(name)) for name in columns])


def cell(value: Any) -> str:
    """One value as the text of a cell: nothing as empty, a list or an object as JSON."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (dict, list)):
        return neutralised(dump(value).decode())
    return neutralised(str(value))


def rows_sheet(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Rows that are no list of the API as a CSV sheet; figures and times are written as in lists."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([cell(_written(value)) for value in row])
    return ("\ufeff" + out.getvalue()).encode()


def _written(value: Any) -> Any:
    if isinstance(value, datetime):
        return moment_text(value)
    return format(value, "f") if isinstance(value, Decimal) else value
