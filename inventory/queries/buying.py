"""Pars, suppliers, offers and purchases of a studio, with what their answers show of other rows."""

from typing import Any

from django.db.models import Count, Q

from inventory.models import Offer, Par, Purchase, Supplier
from studio.models import ScopedQuerySet, Studio


def pars_of(studio: Studio) -> ScopedQuerySet[Par]:
    return (
        Par.objects.of(studio)
        .select_related("material", "solvent")
        .order_by("material__name", "-strength", "id")
    )


def suppliers_of(studio: Studio) -> ScopedQuerySet[Any]:
    """With `offered`, how many packs each offers now."""
    standing = Count("offers", filter=Q(offers__withdrawn_at=None))
    return Supplier.objects.of(studio).annotate(offered=standing)


def offers_of(studio: Studio) -> ScopedQuerySet[Offer]:
    return Offer.objects.of(studio).select_related("supplier", "material", "solvent")


def purchases_of(studio: Studio) -> ScopedQuerySet[Purchase]:
    return Purchase.objects.of(studio).select_related(
        "offer__supplier", "offer__material", "offer__solvent", "by__person"
    )
