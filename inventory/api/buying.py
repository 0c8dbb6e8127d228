"""Suppliers, offers and purchases over the API."""

from dataclasses import replace

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.actions.buying import (
    OfferedPack,
    add_offer,
    add_supplier,
    change_offer,
    change_supplier,
    withdraw_offer,
)
from inventory.actions.purchases import (
    bottle_of,
    drop_purchase,
    note_purchase,
    order_purchase,
    receive_purchase,
)
from inventory.api.buying_shapes import (
    ArrivalIn,
    ArrivalOut,
    DropIn,
    OfferChange,
    OfferIn,
    OfferOut,
    OrderIn,
    PurchaseIn,
    PurchaseOut,
    SupplierChange,
    SupplierIn,
    SupplierOut,
)
from inventory.api.filters import OfferFilters, PurchaseFilters
from inventory.api.references import naming, resolved
from inventory.models import Offer, Purchase, Supplier
from inventory.queries.buying import offers_of, purchases_of, suppliers_of
from inventory.queries.shelf import lots_of
from studio.api.views import Endpoint, ListEndpoint


class SupplierList(ListEndpoint):
    model = Supplier
    shape = SupplierOut
    orderings = ("name", "delivery_days")
    ordering = "name"

    def rows(self) -> QuerySet[Supplier]:
        return suppliers_of(self.studio)

    @extend_schema(request=SupplierIn, responses={201: SupplierOut})
    def post(self, request: Request) -> HttpResponse:
        """Add a supplier."""
        supplier = add_supplier(by=self.by, now=self.now, **self.read(SupplierIn))
        return self.created(SupplierOut, supplier, location=f"/api/v1/suppliers/{supplier.id}/")


class SupplierDetail(Endpoint):
    @extend_schema(responses=SupplierOut)
    def get(self, request: Request, supplier_id: int) -> HttpResponse:
        """Read a supplier."""
        return self.answer(SupplierOut, Supplier.objects.one(self.studio, "supplier", id=supplier_id))

    @extend_schema(request=SupplierChange, responses=SupplierOut)
    def patch(self, request: Request, supplier_id: int) -> HttpResponse:
        """Change a supplier; bottles keep the name they were received with."""
        supplier = change_supplier(
            by=self.by,
            now=self.now,
            supplier=Supplier.objects.one(self.studio, "supplier", id=supplier_id),
            changes=self.read(SupplierChange),
            expected=self.edition(),
        )
        return self.answer(SupplierOut, supplier)


class OfferList(ListEndpoint):
    model = Offer
    shape = OfferOut
    filterset_class = OfferFilters
    orderings = {"material": "material__name", "price": "price", "pack": "pack"}
    ordering = "material"

    def rows(self) -> QuerySet[Offer]:
        return offers_of(self.studio)

    @extend_schema(request=OfferIn, responses={201: OfferOut})
    def post(self, request: Request) -> HttpResponse:
        """Add a pack that a supplier offers; a price from more packs on is an offer of its own."""
        wanted = resolved(self.studio, self.read(OfferIn))
        with naming("supplier"):
            wanted["supplier"] = Supplier.objects.one(self.studio, "supplier", id=wanted["supplier"])
        offer = add_offer(by=self.by, now=self.now, offered=OfferedPack(**wanted))
        return self.created(OfferOut, offer, location=f"/api/v1/offers/{offer.id}/")


class OfferDetail(Endpoint):
    @extend_schema(responses=OfferOut)
    def get(self, request: Request, offer_id: int) -> HttpResponse:
        """Read an offer."""
        return self.answer(OfferOut, offers_of(self.studio).one(self.studio, "offer", id=offer_id))

    @extend_schema(request=OfferChange, responses=OfferOut)
    def patch(self, request: Request, offer_id: int) -> HttpResponse:
        """Change an offer's price, days of delivery or article; purchases keep the price they were noted at."""
        offer = change_offer(
            by=self.by,
            now=self.now,
            offer=offers_of(self.studio).one(self.studio, "offer", id=offer_id),
            changes=self.read(OfferChange),
            expected=self.edition(),
        )
        return self.answer(OfferOut, offer)


class OfferWithdraw(Endpoint):
    @extend_schema(request=DropIn, responses=OfferOut)
    def post(self, request: Request, offer_id: int) -> HttpResponse:
        """Buy by an offer no more."""
        offer = offers_of(self.studio).one(self.studio, "offer", id=offer_id)
        withdraw_offer(by=self.by, now=self.now, offer=offer, **self.read(DropIn))
        return self.answer(OfferOut, offers_of(self.studio).get(pk=offer.pk))


class PurchaseList(ListEndpoint):
    model = Purchase
    shape = PurchaseOut
    filterset_class = PurchaseFilters
    orderings = ("due_on", "order_on", "created_at")
    ordering = "due_on"

    def rows(self) -> QuerySet[Purchase]:
        return purchases_of(self.studio)

    @extend_schema(request=PurchaseIn, responses={201: PurchaseOut})
    def post(self, request: Request) -> HttpResponse:
        """Note that packs of an offer are to be ordered."""
        wanted = self.read(PurchaseIn)
        with naming("offer"):
            offer = offers_of(self.studio).one(self.studio, "offer", id=wanted.pop("offer"))
        purchase = note_purchase(by=self.by, now=self.now, offer=offer, **wanted)
        return self.created(PurchaseOut, purchase, location=f"/api/v1/purchases/{purchase.id}/")


class PurchaseDetail(Endpoint):
    @extend_schema(responses=PurchaseOut)
    def get(self, request: Request, purchase_id: int) -> HttpResponse:
        """Read a purchase."""
        return self.answer(PurchaseOut, purchase_at(self, purchase_id))


class PurchaseOrder(Endpoint):
    @extend_schema(request=OrderIn, responses=PurchaseOut)
    def post(self, request: Request, purchase_id: int) -> HttpResponse:
        """Note that a purchase was ordered today."""
        purchase = purchase_at(self, purchase_id)
        order_purchase(by=self.by, now=self.now, purchase=purchase, **self.read(OrderIn))
        return self.answer(PurchaseOut, purchase_at(self, purchase_id))


class PurchaseDrop(Endpoint):
    @extend_schema(request=DropIn, responses=PurchaseOut)
    def post(self, request: Request, purchase_id: int) -> HttpResponse:
        """Give up a purchase that has not arrived."""
        purchase = purchase_at(self, purchase_id)
        drop_purchase(by=self.by, now=self.now, purchase=purchase, **self.read(DropIn))
        return self.answer(PurchaseOut, purchase_at(self, purchase_id))


class PurchaseReceive(Endpoint):
    @extend_schema(request=ArrivalIn, responses=ArrivalOut)
    def post(self, request: Request, purchase_id: int) -> HttpResponse:
        """Receive a purchase: each pack becomes a bottle of its own."""
        purchase = purchase_at(self, purchase_id)
        told = resolved(self.studio, self.read(ArrivalIn))
        bottle = replace(bottle_of(purchase), **told)
        _, lots = receive_purchase(by=self.by, now=self.now, purchase=purchase, bottle=bottle)
        bottles = lots_of(self.studio).filter(pk__in=[lot.pk for lot in lots]).order_by("pk")
        return self.answer(ArrivalOut, {"purchase": purchase_at(self, purchase_id), "bottles": bottles})


def purchase_at(view: Endpoint, purchase_id: int) -> Purchase:
    """The studio's purchase of that id."""
    return purchases_of(view.studio).one(view.studio, "purchase", id=purchase_id)
