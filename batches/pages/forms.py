"""What a person may type about formulas and batches: shape only, the actions judge the rest."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.text import slugify

from batches.models import FormulaVersion
from inventory.models import Balance, Material, MaterialKind
from inventory.queries.finding import materials_by_name
from studio.kernel.errors import Invalid
from studio.models import Member
from studio.pages.fields import Day, Grams, Named, Number, Percent, Picked, Text
from studio.pages.tags import percent

LONGEST_CODE = 40


class Code(Text):
    """A formula's code as it is kept: short, in small letters, safe in an address."""

    def __init__(self, **told: Any) -> None:
        super().__init__(longest=LONGEST_CODE, **told)

    def read(self, text: str) -> str:
        code = super().read(text).lower()
        if not all(letter.isascii() and (letter.isalnum() or letter in "-.") for letter in code):
            raise Invalid("A code has only letters a to z, digits, hyphens and points.")
        return code


class FormulaForm(forms.Form):
    """The head of a new formula."""

    name = Text(longest=120, label="Name")
    code = Code(
        label="Code", required=False, help_text="Short, for addresses and sheets. Empty: from the name."
    )
    note = Text(longest=4000, lines=True, label="Note", required=False)

    def clean(self) -> dict[str, Any]:
        told = self.cleaned_data
        if told.get("name") and not told.get("code") and "code" not in self.errors:
            told["code"] = slugify(told["name"])[:LONGEST_CODE].strip("-")
            if not told["code"]:
                self.add_error("code", "The name has no letters a to z to make a code from; give one.")
        return told


class VersionForm(forms.Form):
    """What is said of a version besides its lines."""

    note = Text(longest=4000, lines=True, label="What is tried with this version", required=False)


class HeadForm(forms.Form):
    """What of a formula can be changed apart from its versions."""

    name = Text(longest=120, label="Name")
    note = Text(longest=4000, lines=True, label="Note", required=False)


class AdoptForm(forms.Form):
    """Adopting a version as a base."""

    name = Text(longest=120, label="Name of the base", help_text="It becomes a material of this name.")


class Share(Number):
    """A share of the whole typed in percent, from 0 to 100: "5" is the fraction 0.05."""

    def __init__(self, **told: Any) -> None:
        super().__init__(places=7, least=0, most=100, **told)

    def read(self, text: str) -> Decimal:
        return super().read(text.removesuffix("%").strip()) / 100


class CircumstancesForm(forms.Form):
    """What every batch is planned with."""

    mass = Grams(label="Mass, g", help_text="Of the whole batch.")
    strength = Percent(label="Strength, %", required=False)
    vessel_capacity = Grams(label="Vessel holds, g", required=False, help_text="The batch stays below it.")
    balance = Picked("balance", label="Balance", required=False, nothing="the finest that carries it")
    tolerance = Percent(label="Tolerance, %", required=False)
    planned_on = Day(label="To be made on", required=False, help_text="Empty: no day yet.")
    title = Text(longest=160, label="Title", required=False, help_text="Empty: by what is made.")
    note = Text(longest=4000, lines=True, label="Note", required=False)

    def __init__(self, member: Member, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        studio = member.studio
        balance = self.fields["balance"]
        assert isinstance(balance, Picked)
        balance.offer(Balance.objects.of(studio).filter(retired_at__isnull=True).order_by("name", "id"))
        self.fields["tolerance"].help_text = f"Empty: the studio’s, {percent(studio.weighing_tolerance)}."

    def circumstances(self) -> dict[str, Any]:
        """What the actions call so: all but mass and strength."""
        names = ("vessel_capacity", "balance", "tolerance", "planned_on", "title", "note")
        return {name: self.cleaned_data[name] for name in names}


class BatchForm(CircumstancesForm):
    """A batch of a formula version; `least` and `most` of each of its solvents may be bounded."""

    def __init__(self, member: Member, version: FormulaVersion, *args: Any, **kwargs: Any) -> None:
        super().__init__(member, *args, **kwargs)
        self.fields["strength"].help_text = "Empty: as written."
        self.solvents = _solvents_in(version)
        for solvent in self.solvents:
            name = solvent.name
            self.fields[f"least-{solvent.pk}"] = Share(label=f"{name}, at least %", required=False)
            self.fields[f"most-{solvent.pk}"] = Share(label=f"{name}, at most %", required=False)

    @property
    def plain(self) -> list[forms.BoundField]:
        """The short fields that are not bounds."""
        return [self[name] for name in CircumstancesForm.base_fields if name != "note"]

    @property
    def bounds(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name not in CircumstancesForm.base_fields]

    @property
    def bounds_said(self) -> bool:
        """Whether any bound was typed or refused: then they are not folded away."""
        return any(bound.value() or bound.errors for bound in self.bounds)

    def solvent_bounds(self) -> dict[Material, tuple[Decimal | None, Decimal | None]]:
        """Least and greatest share of the solvents for which one is given."""
        told = {
            row: tuple(self.cleaned_data[f"{end}-{row.pk}"] for end in ("least", "most"))
            for row in self.solvents
        }
        return {row: (low, high) for row, (low, high) in told.items() if low is not None or high is not None}


class StockForm(CircumstancesForm):
    """A batch of a stock."""

    material = Named("material", label="Material")
    solvent = Named("solvent", label="Solvent")
    strength = Percent(label="Strength, %")
    field_order = ("material", "strength", "solvent", "mass")

    def __init__(self, member: Member, *args: Any, **kwargs: Any) -> None:
        super().__init__(member, *args, **kwargs)
        materials = materials_by_name(member.studio)
        for name in ("material", "solvent"):
            named = self.fields[name]
            assert isinstance(named, Named)
            named.offer(row for row in materials if (row.kind == MaterialKind.SOLVENT) == (name == "solvent"))


class DayForm(forms.Form):
    """The day a batch is to be made on."""

    planned_on = Day(label="To be made on", required=False, help_text="Empty: no day yet.")


class VoidForm(forms.Form):
    """Giving a batch up."""

    why = Text(longest=1000, label="Why")


def _solvents_in(version: FormulaVersion) -> list[Material]:
    """The solvents a version brings, free or with a dilution, in the order they are met."""
    met: dict[int, Material] = {}
    for line in version.lines.all():
        solvent = line.material if line.material.kind == MaterialKind.SOLVENT else line.solvent
        if solvent is not None:
            met.setdefault(solvent.pk, solvent)
    return list(met.values())
