"""No floor reaches upward by a name in a string, where the import contracts cannot see it."""

import re
import sys
from collections.abc import Iterator

from django.apps import apps

from tests.architecture.source import FLOORS, Module, file_of, imported, seen_by, sees, texts

WIRING = {file_of("studio/settings.py"), file_of("studio/urls.py"), file_of("studio/celery.py")}
PURE_LIBRARIES = {"numpy", "highspy", "stdnum"}


def upward_names(module: Module) -> Iterator[str]:
    """Strings that name an app, a model or a table of a floor above the module's own."""
    above = "|".join(FLOORS[FLOORS.index(module.floor) + 1 :])
    if not above or module.path in WIRING:
        return
    named = re.compile(rf"({above})(\.\w+)*|.*\b({above})_[a-z]+\b.*", re.DOTALL)
    for line, text in texts(module):
        if named.fullmatch(text):
            yield f"{line} {text.strip()!r}"


def foreign_libraries(module: Module) -> Iterator[str]:
    """What a calc module imports besides the standard library, this project and the few libraries that know
    no framework."""
    for line, name in imported(module):
        library = name.split(".")[0]
        if library not in sys.stdlib_module_names | PURE_LIBRARIES | set(FLOORS):
            yield f"{line} {name}"


def test_no_string_names_something_on_a_floor_above():
    assert sees(upward_names, "key = ForeignKey('batches.Batch')", "inventory/models/example.py")
    assert sees(upward_names, "x = get_model('batches', 'Batch')", "inventory/models/example.py")
    assert sees(upward_names, "x = 'SELECT 1 FROM inventory_lot'", "studio/queries/example.py")
    assert not sees(upward_names, "key = ForeignKey('inventory.Lot')", "batches/models/example.py")
    assert seen_by(upward_names) == []


def test_no_relation_points_to_a_floor_above():
    relations = [
        (model, field)
        for floor in FLOORS
        for model in apps.get_app_config(floor).get_models()
        for field in model._meta.get_fields()
        if field.is_relation and not field.auto_created and field.related_model is not None
    ]
    assert relations
    assert [
        f"{model._meta.label}.{field.name}"
        for model, field in relations
        if field.related_model._meta.app_label in FLOORS
        and FLOORS.index(field.related_model._meta.app_label) > FLOORS.index(model._meta.app_label)
    ] == []


def test_calc_uses_only_the_standard_library_and_pure_libraries():
    assert sees(foreign_libraries, "import scipy.stats", "batches/calc/example.py")
    assert not sees(foreign_libraries, "import math, numpy", "batches/calc/example.py")
    assert seen_by(foreign_libraries, among=lambda module: module.is_in("calc")) == []
