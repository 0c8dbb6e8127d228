"""Tables that only grow, generated from the migrations: the database refuses to change, delete or empty any of them."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from batches.actions.answering import look_at_panel
from batches.actions.blind_smelling import reveal_blind, set_up_blind
from batches.actions.refusing import Refused, note_refused
from batches.actions.smelling import Said, dip, end_strip, note_smelling
from batches.actions.weighing import strike_weighing
from batches.models import PanelMethod, RefusedFor, RemakeAcceptance, Weighing
from inventory.actions.places import check_balance
from studio.actions.studios import add_member, found_studio
from studio.kernel.guarded import Guarded, guarded_tables
from tests.api.world_of_panels import answer, panel_for
from tests.batches.kept import kept, undone
from tests.batches.signed import sign
from tests.conftest import NOW, PASSWORD
from tests.studio.checkpointing import checkpoint
from tests.workbench import Workbench

TABLES = list(guarded_tables().values())
ROWS_OF = {
    "studio_historyentry",
    "studio_sealedrecord",
    "inventory_movement",
    "inventory_lotcontent",
    "inventory_balancecheck",
    "batches_weighing",
    "studio_signature",
    "studio_checkpoint",
    "batches_remakeacceptance",
    "batches_refusedreading",
    "batches_panelstep",
    "batches_panelsitter",
    "batches_panelserving",
    "batches_panelanswer",
    "batches_panellook",
    "batches_blindset",
    "batches_blindvial",
    "batches_strip",
    "batches_smelling",
    "batches_smellingsaid",
}


def everything_recorded() -> Workbench:
    """At least one row in every such table: a balance checked, a batch weighed, corrected and closed."""
    owner = found_studio(
        name="Recorded", owner_name="Ada", email="recorded@example.org", password=PASSWORD, at=NOW
    )
    bench = Workbench(owner, NOW)
    balance = bench.balance()
    check_balance(
        by=bench.by,
        now=bench.now,
        balance=balance,
        reference=Decimal(100),
        reading=Decimal(100),
        allowed_error=Decimal("0.005"),
    )
    bench.bottle("linalool 10g")
    batch = bench.plan(bench.formula("neat", "linalool 1"), "1", balance=balance)
    bench.reserve(batch)
    slip = bench.weigh(batch, 1, "1")
    strike_weighing(by=bench.by, now=bench.now, number=batch.number, weighing_id=slip.id, why="slip")
    bench.weigh(batch, 1, "1")
    refused = Refused(operation="r-1", position=1, kind=RefusedFor.UNCLEAR, told="1,000", why="May be two.")
    note_refused(by=bench.by, now=bench.now, number=batch.number, refused=refused, at=bench.now)
    bench.close(batch)
    sign(bench, batch, "weighed")
    checkpoint(owner.studio, NOW)
    RemakeAcceptance.objects.create(
        studio=bench.by.studio,
        operation="once",
        digest="0" * 64,
        rows=[],
        batches=[batch.number],
        purchases=[],
        by=bench.by,
        at=bench.now,
    )
    panel_with_answer(bench)
    smelled(bench)
    return bench


def smelled(bench: Workbench) -> None:
    """A strip with a note and a word, and a blind set."""
    lot = bench.bottle("linalool 7g")
    strip = dip(by=bench.by, now=bench.now, into=lot, remind_minutes=[15])
    note_smelling(by=bench.by, now=bench.now, on=strip.pk, said=Said(liking=5, words=["green"]))
    end_strip(by=bench.by, now=bench.now, strip_id=strip.pk)
    blind = set_up_blind(by=bench.by, now=bench.now, title="recorded", lots=[lot, lot])
    reveal_blind(by=bench.by, now=bench.now, set_id=blind.pk)


def panel_with_answer(bench: Workbench) -> None:
    """A panel that was answered once and looked at."""
    told = {"lot_a": bench.bottle("linalool 5g"), "lot_b": bench.bottle("linalool 6g")}
    sitter = add_member(
        by=bench.by,
        name="Sitter",
        email="sitter@recorded.example.org",
        password=PASSWORD,
        role="maker",
        at=NOW,
    )
    panel = panel_for(bench.by, [sitter], method=PanelMethod.TRIANGLE, **told, title="recorded", answers=2)
    answer(sitter, panel, 1)
    look_at_panel(by=bench.by, now=NOW, panel_id=panel.pk, why="curious")


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Iterator[Workbench]:
    yield from kept(everything_recorded, django_db_blocker)


@pytest.fixture(autouse=True)
def bench(made: Workbench, django_db_blocker: Any) -> Iterator[Workbench]:
    with undone(django_db_blocker):
        yield made


def fetch(statement: str) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall()


def refused(statement: str) -> str:
    with pytest.raises(DatabaseError, match="append-only") as caught, transaction.atomic():
        connection.cursor().execute(statement)
    return str(caught.value)


def test_the_tables_of_record_are_among_them() -> None:
    assert {one.table for one in TABLES} >= ROWS_OF


@pytest.mark.parametrize("guarded", TABLES, ids=lambda one: one.table)
def test_no_column_of_the_table_was_forgotten(guarded: Guarded) -> None:
    with connection.cursor() as cursor:
        there = {
            column.name for column in connection.introspection.get_table_description(cursor, guarded.table)
        }
    assert set(guarded.columns) == there
    assert set(guarded.once) <= there


@pytest.mark.parametrize("guarded", TABLES, ids=lambda one: one.table)
def test_no_column_can_be_changed(guarded: Guarded) -> None:
    """Of every row, each column is set to nothing, or to something where it is nothing; all of it is refused."""
    assert fetch(f"SELECT 1 FROM {guarded.table}"), "there is nothing to change"
    kinds = column_kinds(guarded.table)
    for column in guarded.columns:
        filled = f"WHERE {column} IS NOT NULL" if column in guarded.once else ""
        sample = SAMPLES.get(kinds[column], "'z'")
        other = f"CASE WHEN {column} IS NULL THEN {sample} ELSE NULL END" if column != "id" else "id + 1000"
        assert "no update" in refused(f"UPDATE {guarded.table} SET {column} = {other} {filled}"), column


SAMPLES = {
    "bigint": "1",
    "smallint": "1",
    "integer": "1",
    "numeric": "1",
    "decimal": "1",
    "boolean": "true",
    "bool": "1",
    "jsonb": "'{}'::jsonb",
    "timestamp with time zone": "'1999-01-01 00:00:00+00'::timestamptz",
}


def column_kinds(table: str) -> dict[str, str]:
    """The declared type of each column, in the words of the engine."""
    if connection.vendor == "postgresql":
        rows = fetch(
            f"SELECT column_name, data_type FROM information_schema.columns WHERE table_name = '{table}'"
        )
        return dict(rows)
    return {row[1]: row[2] for row in fetch(f"PRAGMA table_info({table})")}


@pytest.mark.parametrize("guarded", TABLES, ids=lambda one: one.table)
def test_no_row_can_be_deleted_emptied_or_replaced(guarded: Guarded) -> None:
    table = guarded.table
    assert "no delete" in refused(f"DELETE FROM {table}")
    if connection.vendor == "postgresql":
        connection.cursor().execute("SET CONSTRAINTS ALL IMMEDIATE")
        assert "no truncate" in refused(f"TRUNCATE {table} CASCADE")
    else:
        columns = ", ".join(guarded.columns)
        statement = f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table}"
        assert "no delete" in refused(statement)


@pytest.mark.parametrize("guarded", TABLES, ids=lambda one: one.table)
def test_an_upsert_is_an_update(guarded: Guarded) -> None:
    columns = ", ".join(guarded.columns)
    changed = next(column for column in guarded.columns if column not in ("id", *guarded.once))
    assert "no update" in refused(
        f"INSERT INTO {guarded.table} ({columns}) SELECT {columns} FROM {guarded.table} WHERE true "
        f"ON CONFLICT (id) DO UPDATE SET {changed} = NULL"
    )


# What may be filled once


def standing_weighings(bench: Workbench) -> Any:
    return Weighing.objects.of(bench.by.studio).filter(struck_at__isnull=True)


def test_a_weighing_is_struck_once_and_for_ever(bench: Workbench) -> None:
    standing = standing_weighings(bench).get()
    struck = {"struck_at": bench.now, "struck_by": bench.by, "strike_reason": "slip"}
    assert Weighing.objects.filter(pk=standing.pk).update(**struck) == 1
    for again in ({"strike_reason": "another"}, dict.fromkeys(struck), struck):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            Weighing.objects.filter(pk=standing.pk).update(**again)


def test_a_weighing_is_not_struck_without_saying_by_whom_and_why(bench: Workbench) -> None:
    standing = standing_weighings(bench)
    for part in ({"struck_at": bench.now}, {"strike_reason": "slip"}, {"struck_by": bench.by}):
        with pytest.raises(DatabaseError), transaction.atomic():
            standing.update(**part)


def test_striking_changes_nothing_else_on_the_way(bench: Workbench) -> None:
    struck = {"struck_at": bench.now, "struck_by": bench.by, "strike_reason": "slip", "mass": Decimal(9)}
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        standing_weighings(bench).update(**struck)
