"""What a person may type about pars, suppliers, offers and purchases: shape only, the actions judge the rest."""

from django import forms

from inventory.models import Supplier
from inventory.pages.forms import OfStudio
from studio.models import Studio
from studio.pages.fields import Choice, Day, Grams, Named, Number, Percent, Picked, Text, Whole


class ParForm(OfStudio):
    """How much of a material is wanted on the shelf."""

    strength = Percent(label="Strength, %", required=False, help_text="Empty means neat, 100 %.")
    solvent = Named("solvent", label="Solvent", required=False, help_text="Of a dilution.")
    low = Grams(zero=True, label="Low, g", help_text="Below it, it is to be made or bought again.")
    full = Grams(label="Full, g", help_text="Up to how much.")


class ParFiguresForm(forms.Form):
    """Other figures for a par that is there."""

    low = Grams(zero=True, label="Low, g", help_text="Below it, it is to be made or bought again.")
    full = Grams(label="Full, g", help_text="Up to how much.")


class SupplierForm(forms.Form):
    """Somebody bottles are bought from."""

    name = Text(longest=120, label="Name")
    delivery_days = Whole(least=0, most=365, label="Delivery takes, days", initial=7)
    note = Text(longest=4000, lines=True, label="Note", required=False)


class OfferForm(OfStudio):
    """A pack that a supplier offers."""

    supplier = Picked("supplier", label="Supplier")
    pack = Grams(label="Pack, g", help_text="Net.")
    price = Number(places=4, least=0, label="Price of a pack")
    from_packs = Whole(
        least=1, most=1000, label="From so many packs on", initial=1, help_text="For a price break."
    )
    strength = Percent(label="Strength, %", required=False, help_text="Empty means neat, 100 %.")
    solvent = Named("solvent", label="Solvent", required=False)
    delivery_days = Whole(
        least=0, most=365, label="Delivery takes, days", required=False, help_text="Empty: as usual there."
    )
    article = Text(longest=80, label="Article", required=False)

    def offer(self, studio: Studio) -> None:
        super().offer(studio)
        self._picked("supplier").offer(Supplier.objects.of(studio).order_by("name", "id"))


class OfferFiguresForm(forms.Form):
    """What may change of an offer."""

    price = Number(places=4, least=0, label="Price of a pack")
    delivery_days = Whole(
        least=0, most=365, label="Delivery takes, days", required=False, help_text="Empty: as usual there."
    )
    article = Text(longest=80, label="Article", required=False)


class ArrivalForm(OfStudio):
    """A purchase as it arrives; the same of every pack."""

    supplier_lot = Text(longest=80, label="Supplier’s lot", required=False)
    expires_on = Day(label="Use by", required=False, help_text="Empty: by the shelf life of the material.")
    purity = Percent(label="Purity, %", required=False, help_text="As its paper declares it.")
    tare = Grams(label="Empty bottle, g", required=False)
    capacity_ml = Number(places=3, above=0, most=999_999, label="Holds, mL", required=False)
    shelf = Picked("shelf", label="Shelf", required=False, nothing="no shelf yet")


class PurchasesFilter(forms.Form):
    """Which purchases are listed."""

    state = Choice(
        [("coming", "to order or on their way"), ("arrived", "arrived"), ("dropped", "dropped")],
        required=False,
        label="Show",
    )
