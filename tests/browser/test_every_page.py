"""Every page of the shell and the shelf, at three widths, light and dark: nothing for axe to find, no sideways scroll,
no small target, no error in the console, no request to anybody else.
"""

from decimal import Decimal
from uuid import uuid4

import pytest

from inventory.actions.asking import ask_keeper
from inventory.actions.buying import OfferedPack, add_offer, add_supplier
from inventory.actions.holding import hold_lots
from inventory.actions.lending import lend
from inventory.actions.pars import WantedPar, set_pars
from inventory.actions.places import check_balance
from inventory.actions.purchases import note_purchase
from inventory.models import Wish
from studio.actions.studios import add_member
from tests.browser.conftest import SCHEMES, faults_of, sign_in
from tests.conftest import PASSWORD

pytestmark = pytest.mark.usefixtures("committed")


def furnish(bench):
    """A studio in which every page has something to show; returns the addresses of the pages."""
    bench.material(
        "linalool", hazards=["H315", "H317"], synonyms="3,7-dimethylocta-1,6-dien-3-ol", cas="78-70-6"
    )
    bench.material(
        "ethanol", hazards=["H225"], density_g_ml=Decimal("0.789239"), flash_point_c=Decimal("12.0")
    )
    bottle = bench.bottle(
        "linalool 100g", purity=Decimal("0.98"), supplier="Fernhill", supplier_lot="F-1", tare=Decimal(80)
    )
    bench.bottle("ethanol 900g")
    old = bench.bottle(
        "vetiver-oil-from-the-roots-of-the-second-and-the-third-year 5g", expires_on=bench.now.date()
    )
    hold_lots(by=bench.by, now=bench.now, lot_ids=[old.pk], why="smells of phenol")
    balance = bench.balance()
    check_balance(
        by=bench.by,
        now=bench.now,
        balance=balance,
        reference=Decimal(100),
        reading=Decimal("100.001"),
        allowed_error=Decimal("0.01"),
    )
    offer = offered(bench, bottle.material)
    [par] = set_pars(
        by=bench.by,
        now=bench.now,
        pars=[WantedPar(material=bottle.material, low=Decimal(50), full=Decimal(200))],
    )
    stock = bench.stock("linalool@10%/ethanol 40g")
    blend = bench.make(bench.formula("accord", "linalool@10% 5", "ethanol 5", name="Accord"), "8")
    bench.reserve(bench.plan(bench.formula("other", "linalool@10% 5", "ethanol 5", name="Other"), "8"))
    lots = [
        f"/lots/{stock.number}/{path}" for path in ("", "draw-off/", "count/", "discard/", "hold/", "move/")
    ]
    return [
        "/",
        "/shelf/",
        "/shelf/?q=nothing-like-that",
        "/shelf/receive/",
        "/shelf/import/",
        "/remakes/",
        "/remakes/?days=91&use=on",
        "/remakes/day/",
        "/remakes/pars/",
        "/remakes/what-if/",
        "/remakes/what-if/?vials=40&mass=2",
        "/places/",
        "/places/new/",
        *lots,
        f"/lots/{old.number}/",
        f"/lots/{old.number}/release/",
        f"/lots/{blend.number}/trace/",
        f"/lots/{bottle.number}/trace/?direction=forward",
        "/materials/",
        f"/materials/{bottle.material_id}/",
        f"/materials/{bottle.material_id}/change/",
        "/materials/new/",
        "/materials/import/",
        f"/materials/{bottle.material_id}/par/",
        f"/materials/{bottle.material_id}/offer/",
        "/materials/import-pars/",
        f"/pars/{par.pk}/",
        "/suppliers/",
        "/suppliers/new/",
        f"/suppliers/{offer.supplier_id}/",
        f"/offers/{offer.pk}/",
        "/purchases/",
        f"/purchases/{offer.purchases.get().pk}/receive/",
        "/purchases/?state=dropped",
        "/balances/",
        f"/balances/{balance.pk}/",
        f"/balances/{balance.pk}/check/",
        "/balances/new/",
        *sharing(bench),
        "/find/?q=linal",
        "/find/?q=xyz",
        "/you/",
        "/you/password/",
        "/you/codes/",
        "/you/sessions/",
        "/nowhere/",
    ]


def sharing(bench):
    """The pages of sharing, with something asked, something lent and something overdue."""
    keeper = add_member(
        by=bench.by,
        name="Maud Maker",
        email=f"maud-{uuid4().hex[:12]}@example.org",
        password=PASSWORD,
        role="maker",
        at=bench.now,
    )
    keeper.studio = bench.by.studio
    mine, theirs = bench.bottle("vanillin 5g", keeper=bench.by), bench.bottle("rose oxide 5g", keeper=keeper)
    asked = ask_keeper(
        by=keeper, now=bench.now, lot=mine, wish=Wish.SOME, mass=Decimal(2), word="for a trial"
    )
    ask_keeper(by=bench.by, now=bench.now, lot=theirs, wish=Wish.SOME, mass=Decimal(1))
    loan = lend(by=bench.by, now=bench.now, lot=mine, to=keeper, due_on=bench.now.date())
    return [
        "/team/",
        f"/lots/{theirs.number}/ask/",
        f"/lots/{theirs.number}/",
        f"/lots/{mine.number}/",
        f"/lots/{mine.number}/lend/",
        f"/requests/{asked.pk}/grant/",
        f"/requests/{asked.pk}/decline/",
        f"/loans/{loan.pk}/return/",
    ]


def offered(bench, material):
    """A supplier who offers it, with some of it to be ordered."""
    supplier = add_supplier(by=bench.by, now=bench.now, name="Fernhill", note="Closed in August.")
    pack = OfferedPack(supplier=supplier, material=material, pack=Decimal(100), price=Decimal("9.80"))
    offer = add_offer(by=bench.by, now=bench.now, offered=pack)
    note_purchase(by=bench.by, now=bench.now, offer=offer, packs=2)
    return offer


def looked_at(page, paths, widths):
    """The faults of each page that has some, at these widths in the page's colours."""
    faults = {}
    for path in paths:
        page.goto(path)
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            if found := faults_of(page):
                faults[f"{path} at {width}"] = found
    return faults


@pytest.mark.looks
@pytest.mark.parametrize(("scheme", "widths"), SCHEMES.items())
def test_nothing_is_wrong_with_any_page(open_page, owner, bench, scheme, widths):
    page = open_page(scheme=scheme)
    assert looked_at(page, ["/sign-in/", "/password/", "/password/sent/"], widths) == {}
    sign_in(page, owner)
    assert looked_at(page, ["/", "/shelf/", "/materials/", "/balances/", "/places/"], widths) == {}
    assert looked_at(page, furnish(bench), widths) == {}


def test_nothing_is_wrong_with_a_form_that_has_faults(page, owner, bench):
    bench.material("linalool")
    sign_in(page, owner)
    page.goto("/shelf/receive/")
    page.get_by_label("Material", exact=True).fill("linalool")
    page.get_by_label("Net mass, g").fill("2,5")
    page.get_by_role("button", name="Receive it").click()
    page.get_by_text("Use a point, not a comma.").wait_for()
    assert page.evaluate("document.activeElement.name") == "mass"
    assert faults_of(page) == []
