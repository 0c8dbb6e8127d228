"""What a person may type about bottles, lots, materials and balances: shape only, the actions judge the rest."""

from typing import Any

from django import forms

from inventory.models import AccuracyClass, LotKind, Material, MaterialKind, Shelf
from inventory.queries.finding import STATES, materials_by_name
from studio.models import Member, Studio
from studio.pages.fields import (
    Choice,
    Day,
    Grams,
    Moment,
    Named,
    Number,
    Percent,
    Picked,
    Sheet,
    Text,
    Whole,
    YesNo,
)
from studio.queries.members import members_of

STATE_WORDS = {
    "open": "on the shelf",
    "soon": "expiring within 30 days",
    "expired": "expired",
    "held": "on hold",
    "short": "claimed beyond what is there",
    "emptied": "emptied",
    "all": "all there ever were",
}
SORTS = {
    "title": "name",
    "-id": "newest first",
    "expires_on": "first to expire",
    "on_hand": "least on hand",
}


class OfStudio(forms.Form):
    """A form whose fields offer rows of the studio."""

    def __init__(self, studio: Studio, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer(studio)

    def offer(self, studio: Studio) -> None:
        """Fill the fields that name something; a statement for each sort of thing."""
        named = [field for field in self.fields.values() if isinstance(field, Named)]
        if named:
            materials = materials_by_name(studio)
            for field in named:
                solvents_only = field.what == "solvent"
                field.offer(row for row in materials if not solvents_only or row.kind == MaterialKind.SOLVENT)
        if "shelf" in self.fields:
            self._picked("shelf").offer(shelves_of(studio))
        for name in {"keeper", "to"} & self.fields.keys():
            self._picked(name).offer(keepers_of(studio))

    def _picked(self, name: str) -> Picked:
        field = self.fields[name]
        assert isinstance(field, Picked)
        return field


def shelves_of(studio: Studio) -> list[Shelf]:
    """The studio's shelves by name."""
    return list(Shelf.objects.of(studio).order_by("name", "id"))


def keepers_of(studio: Studio) -> list[Member]:
    """The members who can keep something, by name."""
    return list(members_of(studio).filter(left_at=None).order_by("person__name", "id"))


class ShelfFilters(forms.Form):
    """What the list of lots can be narrowed to; what is not understood narrows nothing."""

    q = Text(longest=120, required=False, label="Name, number or scan")
    state = Choice([(state, STATE_WORDS[state]) for state in STATES], required=False, label="State")
    kind = Choice(
        [("", "any"), *((kind.value, kind.value) for kind in LotKind)], required=False, label="Kind"
    )
    sort = Choice(list(SORTS.items()), required=False, label="Order")

    def chosen(self) -> dict[str, Any]:
        """What was asked for, with what is usual in the place of what was not."""
        self.is_valid()
        found = self.cleaned_data
        return {
            "q": found.get("q") or "",
            "state": found.get("state") or "open",
            "kind": found.get("kind") or "",
            "sort": found.get("sort") or "title",
        }


class BottleForm(OfStudio):
    """A bottle as it arrives."""

    material = Named("material", label="Material")
    mass = Grams(label="Net mass, g", help_text="What is in it, without the bottle.")
    strength = Percent(label="Strength, %", required=False, help_text="Empty means neat, 100 %.")
    solvent = Named("solvent", label="Solvent", required=False, help_text="Of a bottle below 100 %.")
    supplier = Text(longest=120, label="Supplier", required=False)
    supplier_lot = Text(longest=80, label="Supplier’s lot", required=False)
    expires_on = Day(label="Use by", required=False, help_text="Empty: by the shelf life of the material.")
    purity = Percent(label="Purity, %", required=False, help_text="As its paper declares it.")
    price = Number(places=4, least=0, label="Price", required=False, help_text="Of the whole bottle.")
    tare = Grams(label="Empty bottle, g", required=False, help_text="With its closure; needed to count it.")
    capacity_ml = Number(places=3, above=0, most=999_999, label="Holds, mL", required=False)
    received_at = Moment(label="Received (UTC)", required=False, help_text="Empty means now.")
    shelf = Picked("shelf", label="Shelf", required=False, nothing="no shelf yet")
    keeper = Picked("member", label="Keeper", required=False, nothing="the studio")
    note = Text(longest=4000, lines=True, label="Note", required=False)


class DrawOffForm(OfStudio):
    """Some of a lot into a container of its own."""

    mass = Grams(label="Mass, g", help_text="What goes into the vial.")
    kind = Choice(
        [("vial", "a vial, to smell or to give away"), ("same", "another lot of the same kind")], label="Into"
    )
    title = Text(longest=160, label="Label", required=False, help_text="Empty: as the lot it comes from.")
    tare = Grams(label="Empty vial, g", required=False)
    shelf = Picked("shelf", label="Shelf", required=False, nothing="no shelf yet")
    keeper = Picked("member", label="Keeper", required=False, nothing="the studio")
    note = Text(longest=4000, lines=True, label="Note", required=False)
    expired_reason = Text(
        longest=1000, label="Why, though it has expired", required=False, help_text="Stands in the record."
    )


class CountForm(forms.Form):
    """A lot on the balance, container and all."""

    gross = Grams(zero=True, label="Gross, g", help_text="The container with what is in it.")
    tare = Grams(label="Empty container, g", required=False)
    loss = Choice(
        [
            ("spilled", "spilled or poured unnoticed: the strength stays"),
            ("evaporated", "evaporated solvent: what is left is stronger"),
        ],
        label="If some is gone, it was",
    )
    why = Text(longest=1000, label="Remark", required=False)


class DiscardForm(forms.Form):
    """Throwing some or all of a lot away."""

    mass = Grams(label="Mass, g", required=False, help_text="Empty means all that is left.")
    why = Text(longest=1000, label="Why")
    despite_claims = YesNo(label="Also what open batches have claimed")


class HoldForm(forms.Form):
    """Putting a lot on hold."""

    why = Text(longest=1000, label="Why")
    descendants = YesNo(label="Also everything that was made of it")


class ReleaseForm(forms.Form):
    """Taking a lot off hold."""

    why = Text(longest=1000, label="Why it may be used again")


class MoveForm(OfStudio):
    """Where a lot stands and whose it is, and what is noted of it."""

    shelf = Picked("shelf", label="Shelf", required=False, nothing="no shelf")
    keeper = Picked("member", label="Keeper", required=False, nothing="the studio")
    ask_above = Grams(
        zero=True,
        label="Others ask above, g",
        required=False,
        help_text="What others may claim or draw off at once unasked. Empty: as much as there is.",
    )
    title = Text(longest=160, label="Label")
    tare = Grams(label="Empty container, g", required=False)
    expires_on = Day(label="Use by", required=False)
    note = Text(longest=4000, lines=True, label="Note", required=False)


class MaterialForm(forms.Form):
    """What is known of a material."""

    name = Text(longest=120, label="Name")
    kind = Choice([("odorant", "odorant"), ("solvent", "solvent")], label="Kind")
    cas = Text(longest=20, label="CAS number", required=False)
    synonyms = Text(longest=300, label="Also called", required=False)
    density_g_ml = Number(places=6, above=0, most=25, label="Density at 20 °C, g/mL", required=False)
    flash_point_c = Number(places=1, least=-200, most=1000, label="Flash point, °C", required=False)
    hazards = Text(
        longest=400,
        label="Hazard codes",
        required=False,
        help_text="From the supplier’s data sheet, parted by spaces: H225 H319.",
    )
    shelf_life_days = Whole(least=1, most=36_500, label="Keeps unopened, days", required=False)
    stock_shelf_life_days = Whole(
        least=1, most=36_500, label="What is made with it keeps, days", required=False
    )
    making_days = Whole(
        least=0, most=365, label="Making a stock of it takes, days", required=False, help_text="Empty: none."
    )
    resting_days = Whole(
        least=0,
        most=365,
        label="A stock of it rests, days",
        required=False,
        help_text="To dissolve or to mature before it is used. Empty: none.",
    )
    largest_stock = Grams(
        label="The container of its stocks takes, g", required=False, help_text="More is made in parts."
    )
    note = Text(longest=4000, lines=True, label="Note", required=False)

    def card(self) -> dict[str, Any]:
        """The fields as the actions take them."""
        codes = self.cleaned_data["hazards"].replace(",", " ").replace(";", " ").split()
        days = {name: self.cleaned_data[name] or 0 for name in ("making_days", "resting_days")}
        return {**self.cleaned_data, **days, "hazards": codes}


class BalanceForm(forms.Form):
    """A balance as its plate and its papers describe it."""

    name = Text(longest=80, label="Name")
    serial = Text(longest=80, label="Serial number", required=False)
    capacity = Grams(label="Capacity, g")
    readability = Grams(label="Readability d, g", help_text="The smallest step it shows.")
    repeatability = Grams(
        zero=True, label="Repeatability s, g", help_text="Standard deviation of repeated weighings."
    )
    linearity = Grams(zero=True, label="Linearity ±, g", help_text="Largest deviation over its range.")
    accuracy_class = Choice(
        [("", "not verified"), *((one.value, one.value) for one in AccuracyClass)],
        label="Accuracy class",
        required=False,
    )
    verification_interval = Grams(label="Verification interval e, g", required=False)
    check_every_days = Whole(least=1, most=3660, label="Check every, days", initial=7)


class CheckForm(forms.Form):
    """A weighing of a reference mass."""

    reference = Grams(label="Reference mass, g")
    reading = Grams(zero=True, label="Reading, g")
    allowed_error = Grams(
        label="Allowed error, g",
        required=False,
        help_text="The studio’s own bound; empty, that of OIML R 76 for the balance’s class.",
    )


class PlaceForm(OfStudio):
    """A shelf to put lots on."""

    name = Text(longest=80, label="Name")
    keeper = Picked("member", label="Keeper", required=False, nothing="the studio")
    note = Text(longest=4000, label="Note", required=False)


class SheetForm(forms.Form):
    """A CSV sheet, to be tried or taken."""

    sheet = Sheet(label="CSV file")


def values_of(material: Material) -> dict[str, Any]:
    """What the form for changing a material begins with."""
    fields = {name: getattr(material, name) for name in MaterialForm.base_fields if name != "hazards"}
    return {**fields, "hazards": " ".join(material.hazards)}
