"""Tables that only grow: the database itself refuses everything else."""

import pytest
from django.db import DatabaseError, connection, transaction

from studio.actions.records import seal_record
from studio.models import HistoryEntry, SealedRecord
from tests.conftest import NOW

pytestmark = pytest.mark.django_db
TABLES = [HistoryEntry, SealedRecord]


@pytest.fixture(autouse=True)
def rows(maker):
    seal_record(by=maker, at=NOW, subject="batch", name="x", record={"a": "1"})


def refused(statement):
    with pytest.raises(DatabaseError, match="append-only") as caught, transaction.atomic():
        connection.cursor().execute(statement)
    return str(caught.value)


def changing(column):
    """An UPDATE that changes `column`, whatever it is and whatever it refers to."""
    if column.is_relation:
        return f"{column.column} = CASE WHEN {column.column} IS NULL THEN 1 ELSE NULL END"
    plain = {
        "CharField": "'z'",
        "TextField": "'z'",
        "JSONField": "'{\"z\": 1}'",
        "DateTimeField": "'1999-01-01 00:00:00'",
    }
    return f"{column.column} = {plain.get(column.get_internal_type(), '77')}"


@pytest.mark.parametrize(
    ("model", "column"),
    [
        pytest.param(model, field, id=f"{model.__name__}.{field.name}")
        for model in TABLES
        for field in model._meta.fields
    ],
)
def test_no_column_can_be_changed(model, column):
    assert "no update" in refused(f"UPDATE {model._meta.db_table} SET {changing(column)}")


@pytest.mark.parametrize("model", TABLES)
def test_no_row_can_be_deleted(model):
    assert "no delete" in refused(f"DELETE FROM {model._meta.db_table}")


@pytest.mark.parametrize("model", TABLES)
def test_there_is_no_way_around_the_refusal_to_delete(model):
    """TRUNCATE is PostgreSQL's own way to get rid of rows, REPLACE is SQLite's."""
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        connection.cursor().execute("SET CONSTRAINTS ALL IMMEDIATE")
        assert "no truncate" in refused(f"TRUNCATE {table} CASCADE")
    else:
        columns = ", ".join(field.column for field in model._meta.fields)
        assert "no delete" in refused(
            f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table}"
        )


@pytest.mark.parametrize("model", TABLES)
def test_an_upsert_is_an_update(model):
    columns = ", ".join(field.column for field in model._meta.fields)
    assert "no update" in refused(
        f"INSERT INTO {model._meta.db_table} ({columns}) SELECT {columns} FROM {model._meta.db_table} WHERE true "
        "ON CONFLICT (id) DO UPDATE SET name = 'z'"
    )


@pytest.mark.parametrize("model", TABLES)
def test_rows_can_still_be_added(model):
    assert model.objects.exists()
