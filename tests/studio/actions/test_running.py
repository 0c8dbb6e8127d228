"""Running numbers: in order, without a gap, never one twice."""

import pytest

from studio.actions.running import next_number, next_numbers
from studio.kernel.numbers import compose
from studio.kernel.work import work
from studio.models import RunningNumber
from tests.together import raised, together


def test_the_first_number_of_a_year_is_one(studio):
    assert next_number(studio=studio, sort="lot", year=2026) == compose("lot", 26, 1)


def test_numbers_go_up_by_one_and_a_block_is_taken_at_once(studio, django_assert_num_queries):
    next_number(studio=studio, sort="lot", year=2026)
    with django_assert_num_queries(1):
        block = next_numbers(studio=studio, sort="lot", year=2026, count=3)
    assert block == [compose("lot", 26, running) for running in (2, 3, 4)]
    assert next_number(studio=studio, sort="lot", year=2026) == compose("lot", 26, 5)


def test_sorts_years_and_studios_count_for_themselves(studio, stranger):
    next_number(studio=studio, sort="lot", year=2026)
    assert next_number(studio=studio, sort="batch", year=2026) == compose("batch", 26, 1)
    assert next_number(studio=studio, sort="lot", year=2027) == compose("lot", 27, 1)
    assert next_number(studio=stranger.studio, sort="lot", year=2026) == compose("lot", 26, 1)


def test_an_empty_block_takes_nothing(studio, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert next_numbers(studio=studio, sort="lot", year=2026, count=0) == []


def test_a_number_outside_of_any_work_is_refused(committed, studio):
    with pytest.raises(RuntimeError, match="inside the work"):
        next_number(studio=studio, sort="lot", year=2026)


def test_work_that_fails_leaves_no_gap(committed, studio):
    def fail():
        with work():
            next_number(studio=studio, sort="lot", year=2026)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with work():
        assert next_number(studio=studio, sort="lot", year=2026) == compose("lot", 26, 1)


def take(studio, count):
    with work():
        return next_numbers(studio=studio, sort="lot", year=2026, count=count)


def test_many_at_once_get_different_numbers_without_a_gap_from_the_first_use_on(committed, studio):
    outcomes = together(*[lambda: take(studio, 3)] * 8)
    assert raised(outcomes) == []
    given = sorted(number for block in outcomes for number in block)
    assert given == sorted(compose("lot", 26, running) for running in range(1, 25))


def read_then_write(studio, meet):
    """The same without the lock: look, let the others look too, then write."""
    row = RunningNumber.objects.get(studio=studio)
    meet.wait()
    RunningNumber.objects.filter(pk=row.pk).update(last=row.last + 1)
    return row.last + 1


def test_without_the_lock_two_would_get_the_same_number(committed, studio):
    import threading

    take(studio, 1)
    meet = threading.Barrier(2)
    outcomes = together(*[lambda: read_then_write(studio, meet)] * 2)
    assert outcomes == [2, 2]
