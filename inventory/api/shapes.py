"""The shapes of materials, shelves and balances: what comes in, and, separately, what goes out."""

from typing import Any

from rest_framework.serializers import ListField

from inventory.models import AccuracyClass, MaterialKind
from studio.api.fields import (
    DecimalText,
    Direction,
    GramsField,
    Moment,
    OneOf,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
    YesNo,
)
from studio.api.ids import IdField

ENTERED_KINDS = (MaterialKind.ODORANT.value, MaterialKind.SOLVENT.value)
LONGEST_LIFE = 36_500


class EditionField(WholeNumber):
    """Which edition of a thing this is; in quotes it is what `If-Match` takes."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            help_text="Goes up with every change; in quotes it is what If-Match takes.", **kwargs
        )


class CasField(PlainText):
    """A CAS number, or nothing; whether its check digit fits is judged with the rest of the card."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(longest=20, blank=True, **kwargs)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {**super().described(direction), "examples": ["78-70-6"]}


class HazardField(PlainText):
    """The code of a hazard statement."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(longest=10, **kwargs)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {**super().described(direction), "examples": ["H315"]}


class ClassOrNone(OneOf):
    """A word that is kept as an empty text where there is none, and answered as null."""

    def to_representation(self, value: Any) -> Any:
        return str(value) or None


class MaterialChange(Shape):
    name = PlainText(longest=120, required=False)
    kind = OneOf(ENTERED_KINDS, required=False)
    cas = CasField(required=False)
    synonyms = PlainText(longest=300, blank=True, required=False)
    density_g_ml = DecimalText(digits=8, places=6, above=0, most=25, required=False, allow_null=True)
    flash_point_c = DecimalText(digits=6, places=1, least=-200, most=1000, required=False, allow_null=True)
    hazards = ListField(child=HazardField(), max_length=40, required=False)
    shelf_life_days = WholeNumber(least=1, most=LONGEST_LIFE, required=False, allow_null=True)
    stock_shelf_life_days = WholeNumber(least=1, most=LONGEST_LIFE, required=False, allow_null=True)
    making_days = WholeNumber(most=365, required=False, help_text="From weighing a stock of it to its label.")
    resting_days = WholeNumber(
        most=365, required=False, help_text="That a stock of it dissolves or matures before it is used."
    )
    largest_stock = GramsField(
        required=False, allow_null=True, help_text="What the container of its stocks takes."
    )
    note = PlainText(longest=4000, lines=True, blank=True, required=False)


class MaterialIn(MaterialChange):
    name = PlainText(longest=120)


class MaterialOut(Shape):
    id = IdField()
    name = PlainText(longest=120)
    kind = OneOf(MaterialKind)
    cas = CasField()
    synonyms = PlainText(longest=300)
    density_g_ml = DecimalText(digits=8, places=6, allow_null=True)
    flash_point_c = DecimalText(digits=6, places=1, allow_null=True)
    hazards = ListField(child=HazardField())
    shelf_life_days = WholeNumber(allow_null=True)
    stock_shelf_life_days = WholeNumber(allow_null=True)
    making_days = WholeNumber()
    resting_days = WholeNumber()
    largest_stock = GramsField(allow_null=True)
    note = PlainText(longest=4000)
    edition = EditionField()


class SolubilityIn(Shape):
    solvent = IdField()
    limit = StrengthField()
    source = PlainText(longest=200, blank=True, required=False)


class SolubilityOut(Shape):
    solvent = IdField(source="solvent_id")
    solvent_name = PlainText(longest=120, source="solvent.name")
    limit = StrengthField()
    source = PlainText(longest=200)


class SolubilitiesOut(Shape):
    items = SolubilityOut(many=True)


class ShelfChange(Shape):
    name = PlainText(longest=80, required=False)
    note = PlainText(longest=4000, lines=True, blank=True, required=False)
    keeper = IdField(required=False, allow_null=True)


class ShelfIn(ShelfChange):
    name = PlainText(longest=80)


class ShelfOut(Shape):
    id = IdField()
    name = PlainText(longest=80)
    note = PlainText(longest=4000)
    keeper = IdField(source="keeper_id", allow_null=True)
    keeper_name = PlainText(longest=120, source="keeper.person.name", allow_null=True)
    edition = EditionField()


class BalanceChange(Shape):
    name = PlainText(longest=80, required=False)
    serial = PlainText(longest=80, blank=True, required=False)
    capacity = GramsField(required=False)
    readability = GramsField(required=False)
    repeatability = GramsField(zero=True, required=False)
    linearity = GramsField(zero=True, required=False)
    accuracy_class = OneOf(AccuracyClass, required=False, allow_null=True)
    verification_interval = GramsField(required=False, allow_null=True)
    check_every_days = WholeNumber(least=1, most=3660, required=False)


class BalanceIn(BalanceChange):
    name = PlainText(longest=80)
    capacity = GramsField()
    readability = GramsField()
    repeatability = GramsField(zero=True)
    linearity = GramsField(zero=True)


class BalanceOut(Shape):
    id = IdField()
    name = PlainText(longest=80)
    serial = PlainText(longest=80)
    capacity = GramsField()
    readability = GramsField()
    repeatability = GramsField()
    linearity = GramsField()
    accuracy_class = ClassOrNone(AccuracyClass, allow_null=True)
    verification_interval = GramsField(allow_null=True)
    check_every_days = WholeNumber()
    smallest_net_weight = GramsField(help_text="Smallest net mass for the studio's weighing tolerance.")
    last_check_at = Moment(allow_null=True)
    last_check_passed = YesNo(allow_null=True)
    edition = EditionField()


class BalanceCheckIn(Shape):
    reference = GramsField()
    reading = GramsField(zero=True)
    allowed_error = GramsField(
        required=False,
        allow_null=True,
        help_text="The studio's own bound; left out, OIML R 76 for the balance's class.",
    )
    at = Moment(required=False)


class BalanceCheckOut(Shape):
    id = IdField()
    reference = GramsField()
    reading = GramsField()
    allowed_error = GramsField()
    bound_source = PlainText(longest=200)
    passed = YesNo()
    at = Moment()
    by = PlainText(longest=120, source="by.person.name")
