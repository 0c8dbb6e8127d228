"""Moving a studio that was exported elsewhere into this installation, which must be empty.

Keys are kept as they were, because sealed records and checkpoints name them; that is why nobody may be here yet. All
of it arrives in one transaction, is read again and compared with the digests of the export, or nothing arrives.
"""

import base64
import json
from collections.abc import Iterator
from decimal import Decimal
from itertools import islice
from typing import Any
from zipfile import BadZipFile, ZipFile

from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection
from django.db.models import BinaryField, DecimalField, JSONField

from studio.kernel.checkpoint_files import KeptCheckpoint, keep_checkpoints
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.mass_field import MassField
from studio.kernel.signing_key import signed_by, take_over_key
from studio.kernel.work import work
from studio.models import Person, Studio
from studio.models.whole_studio import (
    FORM,
    WITHHELD,
    Belonging,
    belongings,
    digest_of_table,
    migrations_applied,
)

AT_ONCE = 500


class UnreadableExport(Invalid):
    """The file is no export of a studio, or not whole."""

    code = "unreadable-export"
    title = "Not an export"


class OtherEdition(Conflict):
    """The export was made by another edition of the service, whose tables differ from those here."""

    code = "other-edition"
    title = "Made by another edition"


class NotEmpty(Conflict):
    """There are people or studios in this installation already; an import needs an empty one."""

    code = "not-empty"
    title = "Not an empty installation"


class NotEqual(Conflict):
    """What arrived differs from what was exported, so nothing was kept of it."""

    code = "not-equal"
    title = "Not what was exported"


def move_in(*, file: Any) -> Studio:
    """Import the studio in the zip file `file`, and take its checkpoints and public keys over.

    Raises `UnreadableExport`, `OtherEdition`, `NotEmpty`, `NotEqual`.
    """
    try:
        with ZipFile(file) as export:
            manifest = json.loads(export.read("manifest.json"))
            _refuse_unfit(manifest)
            with work():
                studio = _import_rows(export, manifest)
                kept = _checkpoints(export)
            _take_over(studio, kept)
    except (BadZipFile, KeyError, TypeError, ValueError, ValidationError, EOFError) as error:
        raise UnreadableExport(f"This is no whole export of a studio: {error}.") from None
    except DatabaseError as error:
        raise NotEqual(f"The database does not take what is in the export: {error}") from None
    return studio


def _refuse_unfit(manifest: dict[str, Any]) -> None:
    if manifest["form"] != FORM:
        raise UnreadableExport(f"This is a {str(manifest['form'])[:60]}, not a {FORM}.")
    here = migrations_applied()
    if manifest["migrations"] != here:
        raise OtherEdition(
            f"The export was made with {', '.join(manifest['migrations'])}; here is {', '.join(here)}. "
            "Bring both to the same edition of the service, then export again."
        )
    if Person.objects.exists() or Studio.objects.exists():
        raise NotEmpty("There is somebody in this installation already; import into an empty one.")


def _import_rows(export: ZipFile, manifest: dict[str, Any]) -> Studio:
    told = {table["name"]: table for table in manifest["tables"]}
    for belonging in belongings():
        for rows in _batches(export, belonging):
            belonging.model._base_manager.bulk_create(rows)
    _give_out_higher_keys()
    studio = Studio.objects.get(pk=manifest["studio"])
    for belonging in belongings():
        count, digest = digest_of_table(studio, belonging)
        if (count, digest) != (told[belonging.name]["rows"], told[belonging.name]["sha256"]):
            raise NotEqual(
                f"Of {belonging.name} {count} rows arrived and {told[belonging.name]['rows']} were exported, "
                "or they say something else. Nothing was kept."
            )
    return studio


def _batches(export: ZipFile, belonging: Belonging) -> Iterator[list[Any]]:
    withheld = WITHHELD.get(belonging.model, {})
    fields = belonging.fields
    with export.open(f"tables/{belonging.name}.jsonl") as lines:
        while part := list(islice(lines, AT_ONCE)):
            yield [
                belonging.model(
                    **withheld, **{field.attname: _back(field, row[field.attname]) for field in fields}
                )
                for row in map(json.loads, part)
            ]


def _back(field: Any, value: Any) -> Any:
    """The value of a column as the export's text of it was made from."""
    if value is None or isinstance(field, JSONField):
        return value
    if isinstance(field, BinaryField):
        return base64.b64decode(value)
    if isinstance(field, (DecimalField, MassField)):
        return Decimal(value)
    return field.to_python(value)


def _give_out_higher_keys() -> None:
    """Keys that are given out from now on lie above those that came along.

    None is taken back: another connection may hold a higher one in work that is not committed yet.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for belonging in belongings():
            table = connection.ops.quote_name(belonging.model._meta.db_table)
            key = belonging.model._meta.pk.column
            cursor.execute(
                f"SELECT setval(sequence, GREATEST(pg_sequence_last_value(sequence), (SELECT max({key}) FROM {table}), 1))"
                " FROM (SELECT pg_get_serial_sequence(%s, %s)::regclass AS sequence) AS of_keys WHERE sequence IS NOT NULL",
                [table, key],
            )


def _checkpoints(export: ZipFile) -> list[KeptCheckpoint]:
    with export.open("checkpoints.jsonl") as lines:
        return [KeptCheckpoint(**json.loads(line)) for line in lines]


def _take_over(studio: Studio, kept: list[KeptCheckpoint]) -> None:
    """Hold for sound what is soundly signed; `verify` compares the rest."""
    for one in kept:
        if signed_by(one.text, one.signature, one.key):
            take_over_key(one.key)
    keep_checkpoints(studio.pk, kept)
