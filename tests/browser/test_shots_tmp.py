import os

import pytest

from tests.browser.conftest import faults_of, sign_in
from tests.browser.making import Making

pytestmark = pytest.mark.usefixtures("committed")


def test_shots(open_page, owner, bench):
    making = Making(bench)
    out = "/tmp/hshots"
    os.makedirs(out, exist_ok=True)
    pages = {
        "list": "/formulas/",
        "formula": "/formulas/meadow/1/",
        "compare": "/formulas/meadow/compare/",
        "edit": "/formulas/meadow/1/edit/",
        "new": "/formula-new/",
        "plan": "/batches/plan/?formula=meadow&version=1",
        "choose": "/batches/plan/",
        "batches": "/batches/",
        "draft": f"/batches/{making.draft.number}/",
        "impossible": f"/batches/{making.impossible.number}/",
        "weighing": f"/batches/{making.weighing.number}/",
        "closed": f"/batches/{making.closed.number}/",
    }
    only = os.environ.get("SHOTS", "").split(",") if os.environ.get("SHOTS") else list(pages)
    for scheme, width in (("light", 1280), ("dark", 360), ("light", 768)):
        page = open_page(width=width, scheme=scheme)
        sign_in(page, owner)
        for name in only:
            page.goto(pages[name])
            page.screenshot(path=f"{out}/{name}-{width}.png", full_page=True)
            for f in faults_of(page):
                print("FAULT", name, width, f[:400])
