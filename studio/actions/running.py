"""Giving out the running numbers of lots and batches.

One statement creates the row on first use, or raises it by the whole block, and says where it now stands. It locks
the row until the work commits, so no number is given out twice and none is left out when the work fails.
"""

from django.db import connection

from studio.kernel.numbers import Sort, compose
from studio.models import Studio

_RESERVE = """
    INSERT INTO studio_runningnumber AS mine (studio_id, sort, year, last) VALUES (%s, %s, %s, %s)
    ON CONFLICT (studio_id, sort, year) DO UPDATE SET last = mine.last + excluded.last
    RETURNING last
"""


def next_number(*, studio: Studio, sort: Sort, year: int) -> str:
    """The next number of a studio's lots or batches in a year, in its written form."""
    return next_numbers(studio=studio, sort=sort, year=year, count=1)[0]


def next_numbers(*, studio: Studio, sort: Sort, year: int, count: int) -> list[str]:
    """The next `count` numbers, in order and without a gap. Must be called inside `work()`."""
    if not connection.in_atomic_block:
        raise RuntimeError("Numbers are given out inside the work that uses them.")
    if count < 1:
        return []
    with connection.cursor() as cursor:
        cursor.execute(_RESERVE, [studio.pk, sort, year, count])
        last: int = cursor.fetchone()[0]
    return [compose(sort, year, running) for running in range(last - count + 1, last + 1)]
