"""What is asked at the bench beyond a lot and a weight: why an entry is struck through, and what a batch is filled into."""

from typing import Any

from django import forms

from inventory.models import Shelf
from studio.models import Studio
from studio.pages.fields import Choice, Grams, Number, Picked, Text

OTHER = "other"
SLIPS = (
    ("mistyped", "The weight was mistyped"),
    ("not zeroed", "The balance was not at zero"),
    ("poured elsewhere", "It went into another vessel, or was spilt"),
    (OTHER, "Something else, said below"),
)


class StrikeForm(forms.Form):
    """Why an entry is struck through."""

    slip = Choice(SLIPS, widget=forms.RadioSelect, label="What was wrong with it", initial="mistyped")
    why = Text(longest=300, required=False, label="More about it")

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        if told.get("slip") == OTHER and not told.get("why"):
            self.add_error("why", "Say what was wrong with it.")
        return told

    @property
    def reason(self) -> str:
        """The reason as the record keeps it."""
        slip, more = self.cleaned_data["slip"], self.cleaned_data["why"]
        said = "" if slip == OTHER else dict(SLIPS)[slip]
        return ": ".join(part for part in (said, more) if part)


class CloseForm(forms.Form):
    """What the made lot is called and filled into; decisions are asked for only where one is to be made."""

    title = Text(longest=160, label="Name of the lot")
    tare = Grams(
        required=False, label="Empty container", help_text="In grams, with its cap; the label keeps it."
    )
    capacity_ml = Number(required=False, above=0, label="Container holds", help_text="In millilitres.")
    shelf = Picked("shelf", nothing="On no shelf yet", required=False, label="It will stand on")
    left_out_reason = Text(longest=300, required=False, label="Why lines are left out")
    strength_decision = Choice(
        (("declare actual", "Declare what the weighings say"), ("keep declared", "Keep what was declared")),
        widget=forms.RadioSelect,
        required=False,
        label="Which strength the label says",
    )
    strength_reason = Text(longest=300, required=False, label="Why")

    def __init__(self, studio: Studio, *args: Any, lines_open: bool, decision: bool, **told: Any) -> None:
        super().__init__(*args, **told)
        self.fields["shelf"].offer(Shelf.objects.of(studio).order_by("name", "id"))  # type: ignore[attr-defined]
        self.fields["left_out_reason"].required = lines_open
        if not lines_open:
            del self.fields["left_out_reason"]
        if not decision:
            del self.fields["strength_decision"], self.fields["strength_reason"]
        else:
            self.fields["strength_decision"].required = True
