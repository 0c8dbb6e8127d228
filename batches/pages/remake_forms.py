"""What a person may type about the remake plan: how far it looks, and what could be made on a day."""

from django import forms

from batches.models import FormulaVersion
from studio.models import Studio
from studio.pages.fields import Choice, Day, Grams, Percent, Picked, Whole, YesNo

DAYS_AHEAD = [
    ("7", "one week"),
    ("28", "four weeks"),
    ("91", "a quarter of a year"),
    ("182", "half a year"),
]


class OutlookForm(forms.Form):
    """How far the plan looks ahead, and with what it reckons."""

    days = Choice(DAYS_AHEAD, label="Look ahead", required=False)
    use = YesNo(label="Reckon with the usual use of the last weeks too")


class WhatIfForm(forms.Form):
    """So much of a formula version on a day."""

    version = Picked("version", label="What")
    vials = Whole(least=1, most=10_000, label="Vials", initial=1)
    mass = Grams(label="Grams in each")
    strength = Percent(label="Strength, %", required=False, help_text="Empty: as written.")
    day = Day(label="On", required=False, help_text="Empty: today.")

    def __init__(self, studio: Studio, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        picked = self.fields["version"]
        assert isinstance(picked, Picked)
        rows = FormulaVersion.objects.of(studio).select_related("formula", "studio")
        picked.offer(rows.order_by("formula__name", "-number", "id"))
