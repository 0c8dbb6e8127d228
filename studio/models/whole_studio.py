"""What belongs to a studio, in every table: for leaving with everything, and for proving that all of it arrived.

The tables are not listed anywhere. Every model of the floors is asked how its rows belong to a studio: by its own
reference to it, or by way of the rows it refers to. One that belongs to none must be named in `LEFT_OUT`, with the
reason; a test watches that there is no third kind.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.models import ForeignKey, Model, QuerySet

from studio.kernel.checkpoints import row_text
from studio.models.answers import RememberedAnswer
from studio.models.codes import OneTimeCodes, RecoveryCode
from studio.models.jobs import JobRun
from studio.models.keys import ApiKey
from studio.models.people import Person, Studio
from studio.models.sessions import BrowserSession

FORM = "studio export 1"
CHUNK = 2000
LEFT_OUT: dict[type[Model], str] = {
    ApiKey: "A key opens this installation; elsewhere new ones are issued.",
    BrowserSession: "A session opens this installation, and belongs to a browser.",
    JobRun: "How the jobs of this installation ran says nothing of a studio.",
    OneTimeCodes: "They open this installation; elsewhere each person turns them on again.",
    RecoveryCode: "They open this installation; elsewhere each person turns them on again.",
    RememberedAnswer: "Answers are remembered for two days, for repetitions of the same request here.",
}
"""Models that stay behind, with the reason."""
WITHHELD: dict[type[Model], dict[str, Any]] = {Person: {"password": "!", "last_login": None}}
"""Columns that stay behind, with what stands in them after an import: nobody can sign in before a new password."""


class BelongsNowhere(Exception):
    """A model that is neither a studio's nor left out, so that an export would forget it."""


@dataclass(frozen=True, slots=True)
class Belonging:
    """A model, and the look-up by which its rows belong to a studio."""

    model: type[Model]
    lookup: str

    @property
    def name(self) -> str:
        return self.model._meta.label_lower

    @property
    def fields(self) -> list[Any]:
        """The columns that go along, by their order in the model."""
        withheld = WITHHELD.get(self.model, {})
        return [field for field in self.model._meta.concrete_fields if field.attname not in withheld]

    def rows(self, studio: Studio) -> QuerySet[Any]:
        """The studio's rows, in order of their keys."""
        return self.model._base_manager.filter(**{self.lookup: studio.pk}).order_by("pk")

    def values(self, studio: Studio) -> Iterator[Sequence[Any]]:
        """Their values, in the order of `fields`; one statement."""
        names = [field.attname for field in self.fields]
        yield from self.rows(studio).values_list(*names).iterator(chunk_size=CHUNK)


def own_models() -> list[type[Model]]:
    """Every model of the project's own floors, the tables between two of them included."""
    floors = [config for config in apps.get_app_configs() if Path(config.path).parent == settings.BASE_DIR]
    return [model for config in floors for model in config.get_models(include_auto_created=True)]


@cache
def belongings() -> tuple[Belonging, ...]:
    """Everything that is a studio's, what is referred to before what refers to it; raises `BelongsNowhere`."""
    kept = [model for model in own_models() if model not in LEFT_OUT]
    found = {model: Belonging(model, _lookup(model)) for model in kept}
    order = TopologicalSorter({model: _referred(model) & set(kept) for model in kept})
    try:
        return tuple(found[model] for model in order.static_order())
    except CycleError:
        # References are checked when the import commits, so any order will do.
        return tuple(found.values())


def _lookup(model: type[Model]) -> str:
    """The shortest way from a model to its studio along references."""
    if model is Studio:
        return "pk"
    if model is Person:
        return "memberships__studio"
    ways: list[tuple[type[Model], str]] = [(model, "")]
    seen = {model}
    for here, way in ways:
        for field in _references(here):
            target = field.related_model
            if target is Studio:
                return f"{way}{field.name}"
            if target not in seen and target is not Person:
                seen.add(target)
                ways.append((target, f"{way}{field.name}__"))
    raise BelongsNowhere(
        f"{model._meta.label} refers to no studio, not even by way of others: "
        "give it a reference, or say in LEFT_OUT why it stays behind."
    )


def _references(model: type[Model]) -> list[Any]:
    """The foreign keys of a model that are never empty, nearest to the studio first."""
    found = [
        field for field in model._meta.concrete_fields if isinstance(field, ForeignKey) and not field.null
    ]
    return sorted(found, key=lambda field: field.related_model is not Studio)


def _referred(model: type[Model]) -> set[type[Model]]:
    return {
        field.related_model
        for field in model._meta.concrete_fields
        if isinstance(field, ForeignKey) and field.related_model is not model
    }


def lines_of(studio: Studio, belonging: Belonging) -> Iterator[bytes]:
    """The lines by which an export tells a table, one JSON object each."""
    columns = [field.attname for field in belonging.fields]
    for values in belonging.values(studio):
        yield f"{row_text(dict(zip(columns, values, strict=True)))}\n".encode()


def digest_of_table(studio: Studio, belonging: Belonging) -> tuple[int, str]:
    """How many rows a table has of a studio, and the SHA-256 of their lines."""
    count, digest = 0, hashlib.sha256()
    for line in lines_of(studio, belonging):
        count += 1
        digest.update(line)
    return count, digest.hexdigest()


def migrations_applied() -> list[str]:
    """The last migration of each floor that the database has: what an export and an import must agree on."""
    floors = {belonging.model._meta.app_label for belonging in belongings()}
    loader = MigrationLoader(connection)
    return sorted(
        f"{app}.{name}"
        for app, name in loader.graph.leaf_nodes()
        if app in floors and (app, name) in loader.applied_migrations
    )
