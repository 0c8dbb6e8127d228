"""Leaving with everything: all rows of a studio as JSON lines and as CSV, and its bundle of records, in one zip file.

`tables/NAME.jsonl` holds one JSON object a row, with every column by its name; what another row is referred to by is
its key. `tables/NAME.csv` says the same for spreadsheets. `manifest.json` tells counts and digests, by which an import
is proved to be equal.
"""

import csv
import hashlib
import io
import json
from datetime import datetime
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from studio.kernel.checkpoints import row_text, utc_text
from studio.kernel.sheets import neutralised
from studio.models import Studio
from studio.models.whole_studio import (
    FORM,
    LEFT_OUT,
    WITHHELD,
    Belonging,
    belongings,
    lines_of,
    migrations_applied,
)
from studio.queries.bundle import add_bundle


def write_everything(*, studio: Studio, at: datetime, into: Any) -> None:
    """Write everything of a studio, as a zip file, into the binary file `into`; memory does not grow with it."""
    told = []
    with ZipFile(into, "w", ZIP_DEFLATED) as everything:
        add_bundle(studio, everything)
        for belonging in belongings():
            told.append(_write_table(studio, belonging, everything))
            _write_sheet(studio, belonging, everything)
        manifest = {
            "form": FORM,
            "studio": studio.pk,
            "name": studio.name,
            "made_at": utc_text(at),
            "migrations": migrations_applied(),
            "tables": told,
            "left_out": {model._meta.label_lower: why for model, why in LEFT_OUT.items()},
            "withheld": {model._meta.label_lower: sorted(columns) for model, columns in WITHHELD.items()},
        }
        everything.writestr("manifest.json", json.dumps(manifest, indent=1, ensure_ascii=False))


def _write_table(studio: Studio, belonging: Belonging, everything: ZipFile) -> dict[str, Any]:
    count, digest = 0, hashlib.sha256()
    with everything.open(f"tables/{belonging.name}.jsonl", "w") as file:
        for line in lines_of(studio, belonging):
            count += 1
            digest.update(line)
            file.write(line)
    return {"name": belonging.name, "rows": count, "sha256": digest.hexdigest()}


def _write_sheet(studio: Studio, belonging: Belonging, everything: ZipFile) -> None:
    with (
        everything.open(f"tables/{belonging.name}.csv", "w") as file,
        io.TextIOWrapper(file, "utf-8-sig", newline="") as text,
    ):
        sheet = csv.writer(text)
        sheet.writerow([field.attname for field in belonging.fields])
        for values in belonging.values(studio):
            sheet.writerow([_cell(value) for value in json.loads(row_text(list(values)))])


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return neutralised(value if isinstance(value, str) else row_text(value))
