"""Suppliers, their offers, and purchases from being decided to standing on the shelf."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from inventory.actions.buying import (
    OfferedAlready,
    OfferedPack,
    OfferWithdrawn,
    add_offer,
    add_supplier,
    change_offer,
    withdraw_offer,
)
from inventory.actions.places import NameTaken
from inventory.actions.purchases import (
    PurchaseIsOver,
    drop_purchase,
    note_purchase,
    order_purchase,
    receive_purchase,
)
from inventory.models import Lot, Offer, PurchaseState, Supplier
from studio.kernel.errors import Invalid
from tests.client import Api
from tests.pages import Visitor
from tests.workbench import Workbench, assert_everything_holds

Offering = Callable[..., Offer]


@pytest.fixture
def supplier(bench: Workbench) -> Supplier:
    return add_supplier(by=bench.by, now=bench.now, name="Fernhill", delivery_days=5)


@pytest.fixture
def offering(bench: Workbench, supplier: Supplier) -> Offering:
    def offer(name: str = "linalool", pack: str = "100", price: str = "9.80", **told: Any) -> Offer:
        offered = OfferedPack(
            supplier=supplier,
            material=bench.material(name),
            pack=Decimal(pack),
            price=Decimal(price),
            **told,
        )
        return add_offer(by=bench.by, now=bench.now, offered=offered)

    return offer


def test_a_name_is_taken_whatever_its_case(bench: Workbench, supplier: Supplier) -> None:
    with pytest.raises(NameTaken):
        add_supplier(by=bench.by, now=bench.now, name="FERNHILL")


def test_the_same_pack_is_offered_once_until_it_is_withdrawn(bench: Workbench, offering: Offering) -> None:
    first = offering()
    with pytest.raises(OfferedAlready):
        offering(price="9")
    withdraw_offer(by=bench.by, now=bench.now, offer=first)
    again = offering(price="9")
    with pytest.raises(OfferWithdrawn):
        note_purchase(by=bench.by, now=bench.now, offer=Offer.objects.get(pk=first.pk), packs=1)
    assert note_purchase(by=bench.by, now=bench.now, offer=again, packs=1).price == 9


def test_nobody_sells_a_solvent_diluted(bench: Workbench, offering: Offering) -> None:
    with pytest.raises(Invalid):
        offering("ethanol", strength=Decimal("0.5"))


def test_a_price_break_counts_from_its_number_of_packs_on(bench: Workbench, offering: Offering) -> None:
    single = offering(price="10")
    offering(price="8", from_packs=3)
    prices = {
        packs: note_purchase(by=bench.by, now=bench.now, offer=single, packs=packs).price
        for packs in (1, 2, 3, 4)
    }
    assert prices == {1: 10, 2: 20, 3: 24, 4: 32}


def test_it_is_due_by_the_days_of_the_offer_or_else_of_the_supplier(
    bench: Workbench, offering: Offering
) -> None:
    today = bench.now.date()
    usual = note_purchase(by=bench.by, now=bench.now, offer=offering(), packs=1)
    slow = offering(pack="10", delivery_days=20)
    later = note_purchase(by=bench.by, now=bench.now, offer=slow, packs=1, order_on=today + timedelta(days=2))
    assert (usual.due_on - today).days == 5
    assert (later.due_on - today).days == 22
    bench.later(days=1)
    ordered = order_purchase(by=bench.by, now=bench.now, purchase=later)
    assert (ordered.due_on - today).days == 21


def test_each_pack_arrives_as_a_bottle_with_its_share_of_the_price(
    bench: Workbench, offering: Offering
) -> None:
    purchase = note_purchase(by=bench.by, now=bench.now, offer=offering(), packs=2)
    change_offer(
        by=bench.by, now=bench.now, offer=purchase.offer, changes={"price": Decimal(99)}, expected=None
    )
    arrived, lots = receive_purchase(by=bench.by, now=bench.now, purchase=purchase)
    assert arrived.state == PurchaseState.ARRIVED
    assert arrived.arrived_as == [lot.number for lot in lots]
    assert [(lot.on_hand, lot.supplier, lot.cost_per_gram) for lot in lots] == [
        (Decimal(100), "Fernhill", Decimal("0.098"))
    ] * 2
    assert_everything_holds()


def test_what_arrived_arrives_no_second_time(bench: Workbench, offering: Offering) -> None:
    purchase = note_purchase(by=bench.by, now=bench.now, offer=offering(), packs=1)
    receive_purchase(by=bench.by, now=bench.now, purchase=purchase)
    for again in (receive_purchase, order_purchase, drop_purchase):
        with pytest.raises(PurchaseIsOver):
            again(by=bench.by, now=bench.now, purchase=purchase)
    assert Lot.objects.count() == 1


def test_a_purchase_is_received_over_the_api_with_what_its_paper_says(
    bench: Workbench, api: Api, offering: Offering
) -> None:
    noted = api.post("purchases/", {"offer": str(offering().pk), "packs": 2}).json()
    told = api.post(f"purchases/{noted['id']}/receive/", {"supplier_lot": "F-77", "purity": "0.98"}).json()
    assert [lot["supplier_lot"] for lot in told["bottles"]] == ["F-77", "F-77"]
    assert told["purchase"]["state"] == "arrived"
    again = api.post(f"purchases/{noted['id']}/receive/", {})
    assert (again.status_code, again.json()["type"].rsplit("/", 1)[-1].rsplit("#", 1)[-1]) == (
        409,
        "purchase-is-over",
    )


def test_on_the_pages_from_the_supplier_to_the_bottle(bench: Workbench) -> None:
    material = bench.material("linalool")
    visitor = Visitor(bench.by)
    assert "within 5 days" in visitor.send_and_follow("/suppliers/new/", name="Fernhill", delivery_days="5")
    supplier = Supplier.objects.get()
    read = visitor.send_and_follow(
        f"/materials/{material.pk}/offer/",
        supplier=str(supplier.pk),
        pack="100",
        price="9.80",
        from_packs="1",
    )
    assert "Fernhill within 5 days 100.000 g 9.8" in read
    purchase = note_purchase(by=bench.by, now=bench.now, offer=Offer.objects.get(), packs=1)
    assert "to order now" in visitor.text("/purchases/")
    visitor.client.post(f"/purchases/{purchase.pk}/order/", {"once": visitor.key("/purchases/")})
    assert "ordered" in visitor.text("/purchases/")
    read = visitor.send_and_follow(f"/purchases/{purchase.pk}/receive/", supplier_lot="F-77")
    assert f"linalool is on the shelf as {Lot.objects.get().number}." in read
