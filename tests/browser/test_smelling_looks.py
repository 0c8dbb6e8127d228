"""The pages of smelling as a browser shows them: nothing for axe to find, nothing too wide or too small to hit."""

from decimal import Decimal

import pytest

from batches.actions.blind_smelling import set_up_blind
from batches.actions.smelling import Said, dip, note_smelling
from tests.browser.conftest import SCHEMES, faults_of, sign_in

pytestmark = [pytest.mark.usefixtures("committed"), pytest.mark.looks]


@pytest.mark.parametrize(("scheme", "widths"), SCHEMES.items())
def test_nothing_is_wrong_with_the_pages_of_smelling(open_page, owner, bench, scheme, widths):
    lot = bench.bottle("linalool 5g")
    strip = dip(by=owner, now=bench.now, into=lot, remind_minutes=[15])
    said = Said(intensity=Decimal(4), liking=7, words=["green"], colour="green", picture="a lane")
    note_smelling(by=owner, now=bench.now, on=strip.pk, said=said)
    blind = set_up_blind(by=owner, now=bench.now, title="Afternoon", lots=[lot, lot])
    bench.formula("rain", "linalool 1")
    page = open_page(scheme=scheme)
    sign_in(page, owner)
    faults = {}
    for path in (
        "", f"strips/{strip.pk}/", f"lots/{lot.number}/", f"blind/{blind.pk}/", "blind/", "words/", "together/",
        "compare/", "compare/rain/",
    ):  # fmt: skip
        page.goto(f"/smelling/{path}")
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            if found := faults_of(page):
                faults[f"{path} at {width}"] = found
    assert faults == {}
