"""A batch on the bench for tests in a browser, and the hands that work there."""

from decimal import Decimal
from typing import Any

from batches.models import Batch, Weighing

LINES = ("linalool@10% 3", "vanillin@10% 2", "phenethyl alcohol 1", "ethanol 4")


def laid_out(bench: Any, mass: str = "10", lines: tuple[str, ...] = LINES) -> Batch:
    """A reserved batch of four lines: 3, 2, 1 and 4 g when `mass` is 10; two percent are allowed."""
    bench.material("linalool", hazards=["H315", "H317"])
    bench.material("ethanol", hazards=["H225"], flash_point_c="12.0")
    for bottle in (
        "linalool@10%/ethanol 90g",
        "vanillin@10%/ethanol 90g",
        "phenethyl alcohol 90g",
        "ethanol 500g",
    ):
        bench.bottle(bottle)
    version = bench.formula("accord", *lines, name="Spring accord")
    batch = bench.plan(version, mass, balance=bench.balance())
    bench.reserve(batch)
    batch.refresh_from_db()
    return batch


def lots_of(batch: Batch) -> dict[int, str]:
    """The lot number of each line."""
    return {line.position: line.lot.number for line in batch.lines.select_related("lot")}


def standing(batch: Batch) -> list[tuple[int, Decimal]]:
    """Line and mass of every weighing that stands, in the order recorded."""
    rows = Weighing.objects.filter(batch=batch, struck_at=None).select_related("line").order_by("id")
    return [(weighing.line.position, weighing.mass) for weighing in rows]


def open_bench(page: Any, batch: Batch) -> None:
    page.goto(f"/batches/{batch.number}/bench/")
    page.locator("#confirm-lot").wait_for()


def scan(page: Any, text: str) -> None:
    """What a scanner does: every key at once, then Enter."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def type_weight(page: Any, text: str) -> None:
    """Type a weight into the field that has the focus, as a hand does, and press Enter."""
    page.keyboard.type(text, delay=60)
    page.keyboard.press("Enter")


def balance_says(page: Any, *lines: str) -> None:
    """Feed lines as they come from a balance."""
    page.evaluate(
        "lines => lines.forEach(line => document.dispatchEvent("
        "new CustomEvent('still:balance-line', {detail: {line}})))",
        list(lines),
    )
