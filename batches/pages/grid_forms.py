"""What a person may type about a grid: its sides, one lot a line, its ratios, and what is to become of a vial."""

from decimal import Decimal
from typing import Any

from django import forms

from batches.calc.grid import Ratio
from inventory.models import Balance, Lot, MaterialKind
from inventory.queries.finding import lot_number
from studio.kernel.errors import Invalid
from studio.kernel.mass import finite_decimal
from studio.models import Member, Studio
from studio.pages.fields import Choice, Day, Grams, Percent, Picked, Text
from studio.pages.tags import percent

LONGEST_SIDE = 6000
MOST_LOTS = 30
PART_PLACES = 6


class Ratios(Text):
    """Ratios of side A to side B, parted by commas, semicolons or lines: "1:1, 3:1"."""

    def read(self, text: str) -> Any:
        parts = [part.strip() for part in super().read(text).replace(";", ",").replace("\n", ",").split(",")]
        return [_ratio(part) for part in parts if part]

    def prepare_value(self, value: Any) -> Any:
        return value


class GridForm(forms.Form):
    """A grid to be laid out."""

    side_a = Text(
        longest=LONGEST_SIDE, lines=True, label="Side A", help_text="One lot a line, by its number."
    )
    side_b = Text(
        longest=LONGEST_SIDE, lines=True, label="Side B", help_text="One lot a line, by its number."
    )
    ratios = Ratios(longest=300, label="Ratios, A : B", help_text="Parted by commas: 1:1, 3:1.")
    vial_mass = Grams(label="A vial holds, g")
    solvent = Picked("lot", label="Controls", required=False, nothing="none")
    balance = Picked("balance", label="Balance", required=False, nothing="the finest that carries a vial")
    tolerance = Percent(label="Tolerance, %", required=False)
    planned_on = Day(label="To be made on", required=False, help_text="Empty: no day yet.")
    title = Text(longest=160, label="Title", required=False, help_text="Empty: by its size.")
    note = Text(longest=4000, lines=True, label="Note", required=False)

    def __init__(self, member: Member, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.studio: Studio = member.studio
        solvent, balance = self.fields["solvent"], self.fields["balance"]
        assert isinstance(solvent, Picked)
        assert isinstance(balance, Picked)
        plain = Lot.objects.of(self.studio).open().filter(material__kind=MaterialKind.SOLVENT)
        solvent.offer(plain.order_by("title", "id"))
        solvent.help_text = "Each lot alone as well, let down with this to the strength it has in the grid."
        balance.offer(Balance.objects.of(self.studio).filter(retired_at__isnull=True).order_by("name", "id"))
        self.fields[
            "tolerance"
        ].help_text = f"Empty: the studio’s, {percent(self.studio.weighing_tolerance)}."

    def clean(self) -> dict[str, Any]:
        """The sides become lots; every line that names none is told."""
        told = self.cleaned_data
        numbers = {side: self._numbers(side) for side in ("side_a", "side_b")}
        wanted = {number for side in numbers.values() for number in side.values() if number}
        lots = {lot.number: lot for lot in Lot.objects.of(self.studio).filter(number__in=wanted)}
        for side, lines in numbers.items():
            for line, number in lines.items():
                if number not in lots:
                    self.add_error(side, f"“{line[:40]}” is no lot of this studio.")
            if len(lines) > MOST_LOTS:
                self.add_error(side, f"At most {MOST_LOTS} lots stand on a side; here are {len(lines)}.")
            if side not in self.errors:
                told[side] = [lots[number] for number in lines.values() if number]
        return told

    def crossing(self) -> dict[str, Any]:
        """What laying a grid out takes."""
        names = ("side_a", "side_b", "ratios", "vial_mass", "solvent", "balance", "tolerance")
        return {name: self.cleaned_data[name] for name in names}

    def circumstances(self) -> dict[str, Any]:
        """What drafting takes besides."""
        return {name: self.cleaned_data[name] for name in ("planned_on", "title", "note")}

    def _numbers(self, side: str) -> dict[str, str | None]:
        """The lot number in each line: of the whole line, as a label's code may be, or of its first word."""
        lines = [line.strip() for line in (self.cleaned_data.get(side) or "").splitlines() if line.strip()]
        return {
            line: lot_number(line, self.studio) or lot_number(line.split()[0], self.studio) for line in lines
        }


class VialForm(forms.Form):
    """What is to become of a vial that went wrong or is not wanted."""

    do = Choice(
        (
            ("anew", "Make it anew: all of it is reserved once more"),
            ("leave-out", "Leave it out of the grid"),
        ),
        label="What is to be done",
        initial="anew",
    )
    why = Text(longest=300, label="Why")


def _ratio(text: str) -> Ratio:
    parts = text.split(":")
    if len(parts) != 2:
        raise Invalid(f"“{text[:30]}” is no ratio; write 1:1, or 3:1 for three parts of A to one of B.")
    a, b = (finite_decimal(part.strip(), "a part of a ratio") for part in parts)
    if a <= 0 or b <= 0:
        raise Invalid(f"Both parts of a ratio are above 0; {text[:30]} is none.")
    if any(part != round(part, PART_PLACES) for part in (a, b)):
        raise Invalid(f"Give the parts of a ratio with at most {PART_PLACES} decimal places.")
    return Ratio(Decimal(a), Decimal(b))
