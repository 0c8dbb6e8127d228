"""Formulas over the API: versions and what changed between them."""

from typing import Any

from batches.actions.formulas import write_next_version
from tests.workbench import Workbench


def test_a_version_is_compared_with_the_one_before_and_the_first_with_nothing(
    api: Any, bench: Workbench
) -> None:
    first = bench.formula("rain", "linalool 3", "ethanol 7")
    lines = [bench.line(told) for told in ("linalool 3", "ethanol 8")]
    write_next_version(by=bench.by, now=bench.now, formula=first.formula, lines=lines)

    def told(number: int, asked: str = "") -> Any:
        diff = api.get(f"formulas/rain/versions/{number}/diff/{asked}").json()
        return diff["before"], [(line["name"], line["change"]) for line in diff["lines"]]

    assert told(2) == (1, [("linalool", "kept"), ("ethanol", "more")])
    assert told(1) == (None, [("linalool", "added"), ("ethanol", "added")])
    assert told(1, "?with_version=1") == (1, [("linalool", "kept"), ("ethanol", "kept")])
