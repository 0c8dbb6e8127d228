"""The trace of a vial with some five hundred lots behind it: folded by generation, and still read at a glance."""

from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from batches.actions.formulas import adopt_as_base
from batches.actions.weighing import Reading, log_weighings
from batches.models import Batch, FormulaVersion
from inventory.actions.drawing_off import draw_off
from inventory.actions.receiving import Bottle, receive_bottles
from inventory.models import Lot
from studio.models import Member
from tests.browser.conftest import SCHEMES, faults_of, sign_in
from tests.workbench import Workbench

pytestmark = pytest.mark.usefixtures("committed")

LETTERS = "abcdefghijklmnopqrstuvwxyz"
BASES = 19
OF_EACH = 25
LOTS = BASES * OF_EACH + BASES + 1
"""Bottles, bases of them, and the composition of the bases: 495 lots behind the vial."""


def made(bench: Workbench, version: FormulaVersion, mass: str) -> Lot:
    """A composition with all its lines weighed at once."""
    batch: Batch = bench.reserve(bench.plan(version, mass))
    readings = [
        Reading(position=line.position, lot=line.lot.number, mass=line.target, confirmed=True)
        for line in batch.lines.select_related("lot")
    ]
    log_weighings(by=bench.by, now=bench.now, number=batch.number, readings=readings)
    return bench.close(batch)


def vial_of_many(bench: Workbench) -> Lot:
    bases = LETTERS[:BASES]
    names = {base: [f"odorant-{base}{letter}" for letter in LETTERS[:OF_EACH]] for base in bases}
    bottles = [
        Bottle(material=bench.material(name), mass=Decimal(20), supplier="Fernhill")
        for row in names.values()
        for name in row
    ]
    receive_bottles(by=bench.by, now=bench.now, bottles=bottles)
    for base, row in names.items():
        version = bench.formula(
            f"base-{base}", *(f"{name} {1 + place % 7}" for place, name in enumerate(row))
        )
        bench.materials[f"base-{base}"] = adopt_as_base(
            by=bench.by, now=bench.now, version=version, name=f"base-{base}"
        )
        made(bench, version, "20")
    whole = bench.formula("whole", *(f"base-{base} {1 + place}" for place, base in enumerate(bases)))
    return draw_off(by=bench.by, now=bench.now, number=made(bench, whole, "60").number, mass=Decimal(2))


@pytest.mark.looks
def test_five_hundred_lots_are_folded_and_nothing_is_wrong_with_the_page(
    page: Page, owner: Member, bench: Workbench
) -> None:
    vial = vial_of_many(bench)
    sign_in(page, owner)
    page.goto(f"/lots/{vial.number}/trace/")
    expect(page.get_by_text(f"{LOTS} lots stand behind its 2.000 g")).to_be_visible()
    expect(page.get_by_text("lots are folded together")).to_be_visible()
    assert page.locator("svg.trace a").count() < 60
    for scheme, widths in SCHEMES.items():
        page.emulate_media(color_scheme=scheme)
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            assert faults_of(page) == []
