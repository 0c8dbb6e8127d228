"""The forms of smelling: large and quick, because one hand holds a strip."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from batches.actions.smelling import LATEST_REMINDER, Said
from batches.actions.smelling_words import LONGEST_WORD
from batches.calc.smelling import LIKING_WORDS, MAGNITUDE_WORDS
from batches.models import IntensityScale
from studio.kernel.errors import Invalid
from studio.pages.fields import Choice, Text

USUAL_REMINDERS = "15, 60, 240, 1440"
"""Minutes after which a strip is commonly smelled again; common practice, no source."""
PLAIN = [(str(step), str(step)) for step in range(11)]
MAGNITUDE = [(str(figure), f"{word} ({figure})") for figure, word in MAGNITUDE_WORDS]
LIKING = [(str(figure), f"{figure} {word}") for figure, word in LIKING_WORDS.items()]


class NoteForm(forms.Form):
    """What a nose notes. Words are ticked among the usual ones, or typed with commas between."""

    scale = forms.CharField(widget=forms.HiddenInput, required=False)
    intensity = Choice([], widget=forms.RadioSelect, required=False, label="Intensity")
    usual = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple, required=False, label="Words used most"
    )
    words = Text(
        longest=1000, required=False, label="Words", help_text="With commas between; new ones join the list."
    )
    liking = Choice(LIKING, widget=forms.RadioSelect, required=False, label="Liking")
    text = Text(longest=4000, lines=True, required=False, label="In your own words")
    colour = Text(longest=60, required=False, label="A colour for it")
    picture = Text(longest=160, required=False, label="A picture it calls to mind")

    def __init__(self, *args: Any, usual: Sequence[str], scale: IntensityScale, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.of_scale = scale
        self.initial.setdefault("scale", scale.value)
        self.fields["intensity"].choices = PLAIN if scale == IntensityScale.PLAIN else MAGNITUDE  # type: ignore[attr-defined]
        self.fields["usual"].choices = [(word, word) for word in usual]  # type: ignore[attr-defined]

    @property
    def said(self) -> Said:
        told = self.cleaned_data
        typed = [word.strip() for word in told["words"].split(",") if word.strip()]
        return Said(
            intensity=Decimal(told["intensity"]) if told["intensity"] else None,
            scale=self.of_scale,
            liking=int(told["liking"]) if told["liking"] else None,
            words=[*told["usual"], *typed],
            text=told["text"],
            colour=told["colour"],
            picture=told["picture"],
        )


class Minutes(Text):
    """Whole minutes with commas between."""

    def __init__(self, **told: Any) -> None:
        super().__init__(longest=100, **told)

    def read(self, text: str) -> list[int]:  # type: ignore[override]
        parts = [part.strip() for part in text.split(",") if part.strip()]
        if not all(part.isascii() and part.isdigit() and len(part) <= 5 for part in parts):
            raise Invalid(f"Give whole minutes up to {LATEST_REMINDER} with commas between, such as 15, 60.")
        return [int(part) for part in parts]


class DipForm(forms.Form):
    """What a strip is dipped into: a lot by its number, or a code of a blind set."""

    lot = Text(longest=80, label="Lot number", help_text="Type it or scan the label.")
    remind_minutes = Minutes(
        required=False,
        label="Remind me after minutes",
        initial=USUAL_REMINDERS,
    )


class DipCodeForm(forms.Form):
    """A strip into a vial of a blind set."""

    code = Choice([], label="Code on the vial")
    remind_minutes = Minutes(required=False, label="Remind me after minutes", initial=USUAL_REMINDERS)

    def __init__(self, *args: Any, codes: Sequence[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].choices = [(str(code), str(code)) for code in codes]  # type: ignore[attr-defined]


class BlindForm(forms.Form):
    """Vials to be put under codes."""

    title = Text(longest=120, label="Title", help_text="It says nothing of what is in the vials.")
    lots = Text(
        longest=2000,
        lines=True,
        label="Lot numbers",
        help_text="One on a line, or with commas between; one may stand there twice.",
    )

    @property
    def numbers(self) -> list[str]:
        return [
            one.strip() for one in self.cleaned_data["lots"].replace(",", "\n").split("\n") if one.strip()
        ]


class RenameForm(forms.Form):
    text = Text(longest=LONGEST_WORD, label="What it is called from now on")


class MergeForm(forms.Form):
    into = Choice([], label="The word that stays")

    def __init__(self, *args: Any, words: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["into"].choices = words  # type: ignore[attr-defined]
