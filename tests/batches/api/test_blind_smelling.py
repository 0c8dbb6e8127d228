"""Nobody who smells learns from any address what a code stands for, before who set the vials up reveals it.

Two studios' worth of one thing: in a studio with a blind set, the lots behind two codes are swapped in the database. Whatever
the description offers to read, a smelling member must be answered the same before and after, byte for byte. So no field,
filter, count, file name, tag or order can tell. That the same walk sees the swap once the set is revealed shows that it
can see.
"""

import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

from django.db import connection

from batches.actions.blind_smelling import reveal_blind
from batches.actions.smelling import Said, UnderCode, dip, note_smelling
from batches.models import BlindSet, BlindVial
from inventory.models import Lot
from tests.api.contract import of_floors
from tests.api.world import World, furnished
from tests.conftest import NOW
from tests.pages import Visitor

STAMP = re.compile(r"(cursor=[^%&\">]+)%3A[^\">&]+")
"""The moment and the signature of a cursor; the row that it leads to stays to be compared."""
SMELLED = ("smellings/", "strips/", "blind-sets/", "vials/")


def smelled_blind(world: World) -> BlindSet:
    """The owner's set, with a strip and notes of the maker on two of its codes, and one of another lot knowingly."""
    blind = BlindSet.objects.get(pk=world.names["own set"])
    for vial in blind.vials.order_by("code")[:2]:
        under = UnderCode(set_id=blind.pk, code=vial.code)
        strip = dip(by=world.maker, now=NOW, into=under)
        note_smelling(by=world.maker, now=NOW, on=strip.pk, said=Said(liking=2, words=["murky"]))
    return blind


def swap(blind: BlindSet) -> None:
    """Put other lots behind the first two codes, in every table that knows; the triggers are let sleep for it."""
    one, other = BlindVial.objects.filter(blind_set=blind).order_by("code")[:2]
    lots = {one.pk: other.lot_id, other.pk: one.lot_id}
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # Rows whose references are still to be checked would keep a table from being altered.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in ("batches_blindvial", "batches_strip", "batches_smelling"):
            if connection.vendor == "postgresql":
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            else:
                cursor.execute("SELECT sql FROM sqlite_master WHERE name = %s", [f"{table}_no_update"])
                [made] = cursor.fetchone()
                cursor.execute(f"DROP TRIGGER {table}_no_update")
            column = "id" if table == "batches_blindvial" else "blind_id"
            whens = " ".join(f"WHEN {vial} THEN {lot}" for vial, lot in lots.items())
            vials = ", ".join(map(str, lots))
            cursor.execute(
                f"UPDATE {table} SET lot_id = CASE {column} {whens} END WHERE {column} IN ({vials})"
            )
            if connection.vendor == "postgresql":
                cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
            else:
                cursor.execute(made)


def asked(world: World, blind: BlindSet) -> Iterator[str]:
    """Every address of the description that only reads; what is about smelling, in every order, by every lot, as a sheet."""
    numbers = list(Lot.objects.of(world.owner.studio).order_by("id").values_list("number", flat=True))
    own = {"set_id": str(blind.pk)}
    for operation in of_floors():
        if operation.method != "GET":
            continue
        places = {**world.place(operation), **(own if "set_id" in world.place(operation) else {})}
        address = operation.path.format(**places)
        yield address
        if not operation.is_list:
            yield f"{address}?{urlencode(world.query(operation))}"
        if not any(f"/{part}" in address for part in SMELLED) or not operation.is_list:
            continue
        filters = operation.parameters("query")
        yield f"{address}?format=csv"
        for order in filters["ordering"]["pattern"].removeprefix("^-?(").partition(")")[0].split("|"):
            yield f"{address}?{urlencode({'ordering': f'-{order}', 'limit': 1})}"
        if "lot" in filters:
            yield from (f"{address}?{urlencode({'lot': number})}" for number in numbers)
    yield from (f"/api/v1/vials/{number}/smellings/" for number in numbers)


PAGES = (
    "/",
    "/smelling/",
    "/smelling/together/",
    "/smelling/compare/",
    "/shelf/",
    "/records/",
    "/history/",
    "/documents/",
    "/batches/",
)


def told(world: World, blind: BlindSet, api: Any) -> dict[str, tuple[int, str, str]]:
    """What a member is answered everywhere: status, body, and the headers that are not of the moment."""
    found = {}
    for address in asked(world, blind):
        answer = api.get(address)
        body = b"".join(answer.streaming_content) if answer.streaming else answer.content
        headers = {name: value for name, value in answer.headers.items() if name != "X-Request-Id"}
        said = STAMP.sub(r"\1", body.decode(errors="replace"))
        found[address] = (answer.status_code, said, STAMP.sub(r"\1", repr(sorted(headers.items()))))
    visitor = Visitor(world.maker)
    for page in PAGES:
        found[page] = (200, visitor.text(page), "")
    return found


def test_no_address_links_a_code_and_a_lot(owner, maker, reader, api_of, monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    world = furnished(owner, maker, reader)
    blind = smelled_blind(world)
    api = api_of(maker)
    before = told(world, blind, api)
    assert len(before) > 100
    swap(blind)
    after = told(world, blind, api)
    assert {address: answer for address, answer in before.items() if after[address] != answer} == {}

    codes = api.all(f"blind-sets/{blind.pk}/vials/")
    assert [row["lot"] for row in codes] == [None] * 3
    assert [row["code"] for row in codes] == sorted(row["code"] for row in codes)
    reveal_blind(by=owner, now=NOW, set_id=blind.pk)
    seen = told(world, blind, api)
    swap(blind)
    changed = [address for address, answer in told(world, blind, api).items() if answer != seen[address]]
    assert any("smellings" in address for address in changed)
    assert f"/api/v1/blind-sets/{blind.pk}/vials/" in changed


def test_one_nose_does_not_read_another_before_the_set_is_revealed(owner, maker, reader, api_of):
    world = furnished(owner, maker, reader)
    blind = smelled_blind(world)
    [*notes] = api_of(owner).all(f"smellings/?blind_set={blind.pk}")
    assert [note["lot"] is not None for note in notes] == [True, True]
    assert api_of(reader).all(f"smellings/?blind_set={blind.pk}") == []
    assert len(api_of(maker).all(f"smellings/?blind_set={blind.pk}")) == 2
