"""Choosing a password."""

from typing import Any

import pytest

from tests.conftest import NOW, PASSWORD

NEW = "another resin staple 8"


def test_the_new_password_opens_and_the_old_one_does_not(maker: Any) -> None:
    from studio.actions.passwords import choose_password
    from studio.models import Person

    choose_password(by=maker, at=NOW, password=NEW)
    person = Person.objects.get(pk=maker.person_id)
    assert person.check_password(NEW)
    assert not person.check_password(PASSWORD)


def test_that_it_was_changed_stands_in_the_history_and_the_password_does_not(maker: Any) -> None:
    from studio.actions.passwords import choose_password
    from studio.models import HistoryEntry

    choose_password(by=maker, at=NOW, password=NEW)
    entry = HistoryEntry.objects.filter(studio=maker.studio).order_by("id").last()
    assert (entry.verb, entry.changes, entry.by_id) == ("password changed", {}, maker.id)


@pytest.mark.parametrize("weak", ["short", "q1w2e3r4t5y6", ""])
def test_a_password_that_is_easily_guessed_is_refused(maker: Any, weak: str) -> None:
    from studio.actions.passwords import choose_password
    from studio.kernel.errors import Invalid
    from studio.models import Person

    with pytest.raises(Invalid):
        choose_password(by=maker, at=NOW, password=weak)
    assert Person.objects.get(pk=maker.person_id).check_password(PASSWORD)
