"""Only actions write, only the ledger locks lots, and nothing happens behind an action's back."""

import ast
import re
from collections.abc import Iterator

import pytest
from django.apps import apps

from tests.architecture.source import FLOORS, Module, calls, file_of, imported, seen_by, sees, texts

LEDGER = file_of("inventory/actions/ledger.py")
PEOPLE = file_of("studio/models/people.py")
WRITES = {"save", "create", "delete", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}
WRITING_SQL = re.compile(r"\s*(INSERT INTO|UPDATE \w+|DELETE FROM|MERGE INTO|TRUNCATE \w+)\b", re.IGNORECASE)
REFUSALS = {"has_add_permission", "has_change_permission", "has_delete_permission"}


def may_write(module: Module) -> bool:
    """Actions do; migrations must; and a person is stored by the manager that Django's own commands call."""
    return module.is_in("actions", "migrations") or module.path == PEOPLE


def updates_rows(call: ast.Call) -> bool:
    """Rows are updated by keywords alone, a set or dictionary with what stands in the parentheses; the
    attributes of a form field are a dictionary that is updated by keywords too.
    """
    return bool(call.keywords) and not call.args and not ast.unparse(call.func).endswith(".attrs.update")


def writes(module: Module) -> Iterator[str]:
    """Calls that write rows, through the ORM or in SQL."""
    for call, method in calls(module):
        of_rows = method == "update" and updates_rows(call)
        if method in WRITES or of_rows:
            yield f"{call.lineno} {ast.unparse(call)}"
    for line, text in texts(module):
        if WRITING_SQL.match(text):
            yield f"{line} {text.strip()!r}"


def locks(module: Module) -> Iterator[str]:
    """Calls and SQL that lock rows."""
    for call, method in calls(module):
        if method == "select_for_update":
            yield f"{call.lineno} {ast.unparse(call)}"
    for line, text in texts(module):
        if re.search(r"\bFOR (NO KEY )?UPDATE\b", text, re.IGNORECASE):
            yield f"{line} {text.strip()!r}"


def lot_locks(module: Module) -> Iterator[str]:
    """Locks that name lots themselves."""
    for place in locks(module):
        if re.search(r"\bLot\b|\binventory_lot\b|\blots\b", place):
            yield place


def signals(module: Module) -> Iterator[str]:
    """Imports of Django's signals, which make things happen that no action says."""
    for line, name in imported(module):
        if name.startswith(("django.db.models.signals", "django.dispatch", "django.core.signals")):
            yield f"{line} {name}"


def writable_admins(module: Module) -> Iterator[str]:
    """Admin pages that do not refuse adding, changing and deleting by a plain `return False`."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ClassDef) and any("Admin" in ast.unparse(base) for base in node.bases):
            refused = {
                member.name
                for member in node.body
                if isinstance(member, ast.FunctionDef) and ast.unparse(member.body[-1]) == "return False"
            }
            if not refused >= REFUSALS:
                yield f"{node.lineno} {node.name}"
    for call, method in calls(module):
        if method == "register" and "admin" in ast.unparse(call.func) and len(call.args) < 2:
            yield f"{call.lineno} {ast.unparse(call)}"


def test_an_exception_for_a_file_that_is_gone_fails():
    with pytest.raises(LookupError, match="take it out"):
        file_of("studio/kernel/gone.py")


def test_only_actions_write():
    assert sees(writes, "lot.save()")
    assert sees(writes, "Lot.objects.filter(id=1).update(shelf=None)")
    assert sees(writes, "cursor.execute(f'UPDATE inventory_lot SET {x}')")
    assert not sees(writes, "seen.update(others)")
    assert seen_by(writes, among=lambda module: not may_write(module)) == []


def test_only_actions_lock():
    assert sees(locks, "Lot.objects.select_for_update()")
    assert sees(locks, "sql = 'SELECT 1 FROM lot FOR UPDATE'")
    assert seen_by(locks, among=lambda module: not may_write(module)) == []


def test_only_the_ledger_locks_lots():
    assert sees(lot_locks, "Lot.objects.filter(id=1).select_for_update()")
    assert not sees(lot_locks, "Batch.objects.select_for_update()")
    assert seen_by(lot_locks, among=lambda module: module.path != LEDGER) == []


def test_there_are_no_signals():
    assert sees(signals, "from django.db.models.signals import post_save")
    assert sees(signals, "from django.dispatch import receiver")
    assert seen_by(signals) == []


def test_the_admin_site_changes_nothing():
    assert sees(writable_admins, "class LotAdmin(admin.ModelAdmin):\n    list_display = ()")
    assert sees(writable_admins, "admin.site.register(Lot)")
    assert seen_by(writable_admins) == []


def test_no_model_has_a_default_order():
    """An order that nobody asked for costs a sort in every query and hides a missing one."""
    models = [model for floor in FLOORS for model in apps.get_app_config(floor).get_models()]
    assert models
    assert [model._meta.label for model in models if model._meta.ordering] == []
