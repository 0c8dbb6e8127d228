"""What a person may type about panels: what is compared, how sure it is to be, who sits, which number was chosen."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from batches.actions.panels import MOST_TRIANGLES, USUAL_LEVEL, USUAL_POWER, USUAL_SHARE, USUAL_TRIANGLES
from batches.calc.panel_plan import MOST_SERVINGS
from inventory.models import Lot
from inventory.pages.forms import OfStudio
from inventory.queries.finding import lot_number, lots_likely_meant
from inventory.queries.shelf import lots_of
from studio.models import Member, Studio
from studio.pages.fields import NEEDED, Choice, Named, Percent, Text, Whole
from studio.pages.tags import plain
from studio.queries.members import members_of

METHODS = [
    ("triangle", "triangle: three samples, which one is different"),
    ("duo-trio", "duo-trio: a reference and two, which one is the same as it"),
    ("pair", "pair: which of two has more of something, and you know which should"),
    ("pair-either-way", "pair: which of two has more of something, either may"),
]


class LotField(Text):
    """A lot by its number, typed or scanned; `studio` says whose."""

    studio: Studio | None = None

    def __init__(self, **told: Any) -> None:
        super().__init__(longest=80, **told)

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text or self.studio is None:
            return text
        number = lot_number(text, self.studio)
        lot = lots_of(self.studio).filter(number=number).first() if number else None
        if lot is None:
            meant = [one.number for one in lots_likely_meant(self.studio, text)]
            hint = f" Did you mean {' or '.join(meant)}?" if meant else " Scan its label or type it anew."
            raise ValidationError(f"There is no lot {text[:40]} here.{hint}")
        return lot


class PeopleField(forms.TypedMultipleChoiceField):
    """Members by ticks; gives the members."""

    def __init__(self, **told: Any) -> None:
        super().__init__(coerce=str, widget=forms.CheckboxSelectMultiple(), error_messages=NEEDED, **told)
        self.rows: dict[str, Member] = {}

    def offer(self, people: list[Member]) -> None:
        self.rows = {str(one.pk): one for one in people}
        self.choices = [(key, str(one)) for key, one in self.rows.items()]

    def clean(self, value: Any) -> Any:
        return [self.rows[key] for key in super().clean(value)]


class StrengthForm(forms.Form):
    """How sure a panel is to be, and by which method."""

    method = Choice(METHODS, label="Method")
    level = Percent(
        label="False alarms, %", help_text="How often guessing alone may look like telling.", required=False
    )
    power = Percent(
        label="Sureness, %", help_text="How often the share below is to be found out.", required=False
    )
    share = Percent(
        label="Share to be found, %", help_text="Of people who truly tell the two apart.", required=False
    )
    answers = Whole(
        least=1,
        most=MOST_SERVINGS,
        label="Answers",
        help_text="Empty: as many as are needed.",
        required=False,
    )

    def usual(self) -> dict[str, Any]:
        """What was typed, with what is usual where nothing was."""
        told = self.cleaned_data
        return {
            "level": told.get("level") or USUAL_LEVEL,
            "power": told.get("power") or USUAL_POWER,
            "share": told.get("share") or USUAL_SHARE,
            "answers": told.get("answers"),
        }


class PanelForm(StrengthForm):
    """A comparison of two lots."""

    title = Text(longest=120, label="Name", help_text="Those who sit read it, so let it tell nothing.")
    lot_a = LotField(label="One lot", help_text="Scan its label or type its number.")
    lot_b = LotField(label="The other lot", help_text="Of a pair, the one that should have more.")
    attribute = Text(
        longest=60, label="More of what", help_text="Only for a pair, such as rose.", required=False
    )
    people = PeopleField(label="Who sits")
    note = Text(longest=1000, lines=True, label="Note", required=False)

    def __init__(self, by: Member, *args: Any, **kwargs: Any) -> None:
        usual = {"level": USUAL_LEVEL, "power": USUAL_POWER, "share": USUAL_SHARE}
        shown = {name: plain(value * 100) for name, value in usual.items()}
        kwargs["initial"] = {**shown, **kwargs.get("initial", {})}
        super().__init__(*args, **kwargs)
        for name in ("lot_a", "lot_b"):
            field = self.fields[name]
            assert isinstance(field, LotField)
            field.studio = by.studio
        people = self.fields["people"]
        assert isinstance(people, PeopleField)
        people.offer(who_may_sit(by))


class MaterialForm(OfStudio):
    """What a nose is to be tried on."""

    material = Named("material", label="Material")


class TrialForm(forms.Form):
    """A trial of one nose, with the stocks on the shelf to choose from."""

    title = Text(longest=120, label="Name")
    person = forms.ChoiceField(label="Whose nose", error_messages=NEEDED)
    solvent = forms.ChoiceField(label="Bare solvent", error_messages=NEEDED)
    stocks = forms.MultipleChoiceField(
        label="Strengths", widget=forms.CheckboxSelectMultiple(), error_messages=NEEDED
    )
    triangles = Whole(
        least=1,
        most=MOST_TRIANGLES,
        label="Triangles at each strength",
        help_text="Three are the fewest that can show anything; six are surer.",
        initial=USUAL_TRIANGLES,
    )

    def __init__(
        self, by: Member, solvents: list[Lot], stocks: list[tuple[Lot, str]], *args: Any, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.people = {str(one.pk): one for one in who_may_sit(by)}
        self.lots = {lot.number: lot for lot in [*solvents, *(lot for lot, _ in stocks)]}
        self._choose("person", [(key, str(one)) for key, one in self.people.items()])
        self._choose("solvent", [(lot.number, f"{lot.title}, {lot.number}") for lot in solvents])
        self._choose("stocks", [(lot.number, words) for lot, words in stocks])

    def _choose(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def chosen(self) -> dict[str, Any]:
        """What was chosen, as rows."""
        told = self.cleaned_data
        return {
            "title": told["title"],
            "sitter": self.people[told["person"]],
            "solvent": self.lots[told["solvent"]],
            "stocks": [self.lots[number] for number in told["stocks"]],
            "triangles": told["triangles"],
        }


class WhyForm(forms.Form):
    """Why a panel is looked at or ended before its time."""

    why = Text(longest=1000, label="Why", help_text="It stands on the result.")


def who_may_sit(by: Member) -> list[Member]:
    """Makers and owners other than who sets the panel up, by name; one statement."""
    rows = members_of(by.studio).filter(left_at=None).exclude(pk=by.pk).order_by("person__name", "id")
    return [one for one in rows if one.may_write]
