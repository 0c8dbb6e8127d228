"""Random tampering by somebody with full power over the database: every time found, and named where it was done.

How often is in `STILLROOM_TAMPERINGS` (60 without it); the seed is printed by a failure and can be given by
`STILLROOM_SEED`. What was done before a checkpoint is found whatever it was; that is the promise.
"""

import json
import os
import random
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.db.models import Model

from studio.actions.studios import add_member, found_studio
from studio.kernel.guarded import guarded_tables
from studio.kernel.seals import FIRST_SEAL, canonical, seal
from studio.models import Checkpoint, SealedRecord, Studio
from studio.models.settled_rows import model_of
from studio.queries.chain import broken_links, broken_signatures
from studio.queries.checkpoints import broken_checkpoints
from tests.batches.kept import kept, undone
from tests.batches.signed import amend, sign
from tests.batches.test_append_only import everything_recorded
from tests.conftest import NOW, PASSWORD
from tests.studio.checkpointing import checkpoint
from tests.studio.tampering import without_triggers
from tests.workbench import Workbench

TIMES = int(os.environ.get("STILLROOM_TAMPERINGS") or 60)
SEED = int(os.environ.get("STILLROOM_SEED") or random.randrange(10**9))
Found = list[str]
Done = str
"""What the finding has to name."""


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[Workbench]:
    def make() -> Workbench:
        bench = everything_recorded()
        add_member(
            by=bench.by, name="Bo", email="bo@tampered.example.org", password=PASSWORD, role="maker", at=NOW
        )
        found_studio(
            name="Elsewhere", owner_name="Cy", email="cy@tampered.example.org", password=PASSWORD, at=NOW
        )
        bench.bottle("vanillin 100g")
        bench.bottle("ethanol 100g")
        for code in ("one", "two", "three"):
            batch = bench.plan(bench.formula(code, "vanillin 1", "ethanol 3"), "2")
            bench.reserve(batch)
            bench.weigh_all(batch)
            bench.close(batch)
            sign(bench, batch, "weighed")
            amend(bench, batch, "misread", **{"/lines/0/supplier": code})
        return bench

    yield from kept(make, django_db_blocker)


@pytest.fixture
def studio(world: Workbench, django_db_blocker: Any) -> Iterator[Studio]:
    """The studio, its end under a checkpoint. A few things happened between the checkpoints."""
    with undone(django_db_blocker):
        studio = world.by.studio
        world.bottle("linalool 1g")
        checkpoint(studio, NOW + timedelta(days=1))
        yield studio


def found(studio: Studio) -> Found:
    return [
        *(f"record {link.sequence}: {link.sentence}" for link in broken_links(studio)),
        *(f"record {link.sequence}: {link.sentence}" for link in broken_signatures(studio)),
        *(f"{broken.where}: {broken.sentence}" for broken in broken_checkpoints(studio)),
    ]


def other_value(field: Any, value: Any, dice: random.Random) -> Any:
    """A value of the same sort that is another one."""
    if field.is_relation:
        keys = field.related_model._base_manager.exclude(pk=value).order_by("pk").values_list("pk", flat=True)
        return dice.choice([*keys[:20], *([None] if field.null and value else [])] or [None])
    match value:
        case None:
            kind = field.get_internal_type()
            samples = {"DateTimeField": NOW, "DateField": NOW.date(), "DecimalField": Decimal(1)}
            return 7 if kind.endswith("IntegerField") else samples.get(kind, "another")
        case bool():
            return not value
        case int():
            return value + dice.choice([1, 1000])
        case Decimal():
            return value + Decimal(1).scaleb(-(getattr(field, "decimal_places", None) or 6))
        case datetime():
            return value + timedelta(microseconds=dice.choice([1, 10**6, 10**12]))
        case date():
            return value + timedelta(days=1)
        case dict():
            return {**value, "another": [None, "x"]}
        case list():
            return [*value, "another"]
        case str():
            place = dice.randrange(len(value) + 1)
            return value[:place] + dice.choice(["0", "x", " "]) + value[place + dice.choice([0, 1]) :]
    raise AssertionError(f"no other value for {value!r}")


def rows_of(studio: Studio, model: type[Model]) -> list[Any]:
    return list(model._base_manager.filter(studio=studio).order_by("pk"))


def place_of(row: Any) -> str:
    """The place a finding about this row must name: a record by itself, any other by its table."""
    if isinstance(row, SealedRecord):
        return f"record {row.sequence}"
    return f"checkpoint {row.number}" if isinstance(row, Checkpoint) else row._meta.db_table


def any_row(studio: Studio, dice: random.Random) -> Any:
    table = dice.choice(sorted(guarded_tables()))
    model = model_of(table)
    rows = rows_of(studio, model) if model is not None else []
    return dice.choice(rows) if rows else any_row(studio, dice)


def change_a_value(studio: Studio, dice: random.Random) -> Done:
    row = any_row(studio, dice)
    guarded = guarded_tables()[row._meta.db_table]
    # By which key a record or a checkpoint is found says nothing; their numbers do.
    chained = isinstance(row, (SealedRecord, Checkpoint))
    fields = [one for one in row._meta.concrete_fields if one.column in guarded.settled]
    field = dice.choice([one for one in fields if not (chained and one.primary_key)])
    value = other_value(field, getattr(row, field.attname), dice)
    if value == getattr(row, field.attname):
        raise DatabaseError("that changes nothing")
    write(row, **{field.attname: value})
    # A record or a checkpoint under another number is missed at its own place, or stands at one that is another's.
    return "record" if isinstance(row, SealedRecord) else place_of(row)


def remove_a_row(studio: Studio, dice: random.Random) -> Done:
    row = any_row(studio, dice)
    with without_triggers(row._meta.db_table):
        type(row)._base_manager.filter(pk=row.pk)._raw_delete(using="default")
    # A row that others refer to is missed there too; a record goes before all that hang on it.
    return place_of(row)


def insert_a_row(studio: Studio, dice: random.Random) -> Done:
    row = any_row(studio, dice)
    if isinstance(row, (SealedRecord, Checkpoint)):
        return change_a_value(studio, dice)
    row.pk = dice.choice([-1, 0, row.pk - 1, row.pk + 1])
    rows = type(row)._base_manager
    if rows.filter(pk=row.pk).exists() or not rows.filter(pk__gt=row.pk).exists():
        raise DatabaseError("there is a row of that key, or it comes after the checkpoint like any new one")
    for name in ("operation", "reverses"):
        if hasattr(row, name):
            setattr(row, name, None)
    row.save(force_insert=True)
    return place_of(row)


def swap_two_rows(studio: Studio, dice: random.Random) -> Done:
    row = any_row(studio, dice)
    other = dice.choice([one for one in rows_of(studio, type(row)) if one.pk != row.pk] or [row])
    columns = [
        field.attname
        for field in row._meta.concrete_fields
        if field.column in guarded_tables()[row._meta.db_table].settled
        and not field.unique
        and field.attname not in ("operation", "record_id")
    ]
    if all(getattr(row, name) == getattr(other, name) for name in columns):
        raise DatabaseError("nothing to swap")
    if isinstance(row, (SealedRecord, Checkpoint)):
        columns = ["text"]
    write(row, **{name: getattr(other, name) for name in columns})
    write(other, **{name: getattr(row, name) for name in columns})
    return (
        "record"
        if isinstance(row, SealedRecord)
        else "checkpoint"
        if isinstance(row, Checkpoint)
        else place_of(row)
    )


def cut_the_tail(studio: Studio, dice: random.Random) -> Done:
    """The last records, perhaps with every checkpoint that tells of them."""
    records = rows_of(studio, SealedRecord)
    first = dice.randrange(len(records) // 2, len(records))
    with without_triggers("studio_sealedrecord"):
        SealedRecord.objects.of(studio).filter(sequence__gte=records[first].sequence)._raw_delete(
            using="default"
        )
    if dice.random() < 0.5:
        return f"record {records[first].sequence}"
    with without_triggers("studio_checkpoint"):
        Checkpoint.objects.of(studio)._raw_delete(using="default")
    return "checkpoint 1"


def write_the_chain_anew(studio: Studio, dice: random.Random) -> Done:
    """A record changed, and every seal behind it reckoned anew as it should be."""
    records = rows_of(studio, SealedRecord)
    place = dice.randrange(len(records))
    previous = records[place - 1].seal if place else FIRST_SEAL
    for row in records[place:]:
        says = json.loads(row.text)
        if row == records[place]:
            says["record"]["note"] = "never mind"
        text = canonical(says)
        write(row, text=text, previous=previous, seal=(now := seal(previous, text)))
        previous = now
    return f"record {records[place].sequence}"


def write(row: Any, **columns: Any) -> None:
    with without_triggers(row._meta.db_table):
        type(row)._base_manager.filter(pk=row.pk).update(**columns)


WAYS: list[Callable[[Studio, random.Random], Done]] = [
    change_a_value,
    change_a_value,
    remove_a_row,
    insert_a_row,
    swap_two_rows,
    cut_the_tail,
    write_the_chain_anew,
]


def test_every_tampering_is_found_and_named_and_nothing_else_ever(studio: Studio) -> None:
    dice = random.Random(SEED)
    assert found(studio) == []
    done = 0
    while done < TIMES:
        way = WAYS[done % len(WAYS)]
        with transaction.atomic():
            try:
                with transaction.atomic():
                    place = way(studio, dice)
            except DatabaseError:
                # The database itself did not take it; something else is tried.
                transaction.set_rollback(True)
                continue
            told = found(studio)
            assert told, f"{way.__name__} was not found (tampering {done}, seed {SEED})"
            assert any(place in one for one in told), (
                f"{way.__name__} at {place} was found only as {told} (tampering {done}, seed {SEED})"
            )
            transaction.set_rollback(True)
        done += 1
    assert found(studio) == []


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL's own locks")
def test_the_lock_that_settles_ids_is_let_go_at_once(studio: Studio) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_locks WHERE mode = 'ShareLock' AND pid = pg_backend_pid() AND locktype = 'relation'"
        )
        assert cursor.fetchone() == (0,)
