"""A fingerprint of everything the studios have written, to see that a refusal left nothing behind."""

import hashlib

from django.apps import apps
from django.db import connection

FLOORS = ("studio", "inventory", "batches")
USE_OF_KEYS = "studio_apikey"
"""Notes when a key was last used, which every request may do."""


def tables() -> list[str]:
    """Every table of the three floors, but for the notes of when keys were used."""
    models = [
        model
        for floor in FLOORS
        for model in apps.get_app_config(floor).get_models(include_auto_created=True)
    ]
    return sorted({model._meta.db_table for model in models} - {USE_OF_KEYS})


def fingerprint() -> dict[str, str]:
    """A digest of the rows of each table."""
    prints = {}
    with connection.cursor() as cursor:
        for table in tables():
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)} ORDER BY 1")
            prints[table] = hashlib.sha256(repr(cursor.fetchall()).encode()).hexdigest()
    return prints


def changed(before: dict[str, str]) -> list[str]:
    """The tables that differ from `before`."""
    now = fingerprint()
    return [table for table in before if before[table] != now[table]]
