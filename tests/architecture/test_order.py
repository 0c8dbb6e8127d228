"""Every order is total: it ends in a key, so that two readings of the same rows agree."""

import ast
from collections.abc import Iterator

from tests.architecture.source import Module, calls, seen_by, sees

WITHIN_THEIR_OWNER = {"number", "sequence", "position"}
"""Fields that no two rows of one studio, formula or batch share."""


def partial_orders(module: Module) -> Iterator[str]:
    """Calls of `order_by` whose last field is no key. An empty call and one that passes on a list cannot be
    judged here.
    """
    for call, method in calls(module):
        if method != "order_by" or not call.args or isinstance(call.args[-1], ast.Starred):
            continue
        last = call.args[-1]
        field = str(last.value).removeprefix("-") if isinstance(last, ast.Constant) else ""
        if not field.endswith(("id", "pk")) and field not in WITHIN_THEIR_OWNER:
            yield f"{call.lineno} {ast.unparse(call.args[-1])}"


def test_every_order_ends_in_a_key():
    assert sees(partial_orders, "rows.order_by('name')")
    assert sees(partial_orders, "rows.order_by('id', F('name').desc())")
    assert not sees(partial_orders, "rows.order_by('name', '-id')")
    assert not sees(partial_orders, "rows.order_by()")
    assert seen_by(partial_orders) == []
