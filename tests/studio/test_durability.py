"""The service does not start on a database that may lose what it has acknowledged."""

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import connection

from studio.kernel.durability import check_durability, refuse_unsafe_database

postgresql = pytest.mark.skipif("connection.vendor != 'postgresql'", reason="SQLite has its own settings")
pytestmark = pytest.mark.django_db


def test_the_database_of_the_service_keeps_what_it_says():
    assert check_durability(databases=["default"]) == []
    call_command("check", databases=["default"])


@postgresql
def test_a_database_that_answers_before_it_is_on_disk_is_refused():
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL synchronous_commit = off")
    [found] = check_durability(databases=["default"])
    assert "synchronous_commit off" in found.msg
    with pytest.raises(SystemCheckError, match="synchronous_commit"):
        call_command("check", databases=["default"])


@postgresql
def test_a_worker_of_the_service_does_not_start_on_it(monkeypatch):
    monkeypatch.setattr("studio.kernel.durability.OFF", {"synchronous_commit": ("on",)})
    monkeypatch.setattr(connection, "close", lambda: None)
    with pytest.raises(ImproperlyConfigured, match="synchronous_commit"):
        refuse_unsafe_database()


def test_sqlite_is_told_to_wait_for_the_disk():
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous")
            assert cursor.fetchone() == (2,)
