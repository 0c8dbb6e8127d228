"""The shapes of pars: what comes in, and, separately, what goes out."""

from inventory.api.shapes import EditionField
from studio.api.fields import GramsField, PlainText, Shape, StrengthField, WholeNumber, YesNo
from studio.api.ids import IdField


class ParIn(Shape):
    strength = StrengthField(required=False, help_text="Left out, neat.")
    solvent = IdField(required=False, allow_null=True, help_text="Of a dilution; a base brings its own.")
    low = GramsField(zero=True, help_text="Below it, it is to be made or bought again.")
    full = GramsField(help_text="Up to how much.")


class ParRowIn(ParIn):
    material = IdField()


class ParChange(Shape):
    low = GramsField(zero=True, required=False)
    full = GramsField(required=False)


class ParOut(Shape):
    id = IdField()
    material = IdField(source="material_id")
    material_name = PlainText(longest=120, source="material.name")
    strength = StrengthField()
    solvent = IdField(source="solvent_id", allow_null=True)
    solvent_name = PlainText(longest=120, source="solvent.name", allow_null=True)
    low = GramsField()
    full = GramsField()
    edition = EditionField()


class ParsOut(Shape):
    items = ParOut(many=True)


class ParSheetOut(Shape):
    material = PlainText(longest=120, source="material.name")
    strength = StrengthField()
    solvent = PlainText(longest=120, source="solvent.name", allow_null=True)
    low = GramsField()
    full = GramsField()


class WrittenPar(Shape):
    line = WholeNumber(help_text="Of the sheet.")
    id = IdField(allow_null=True, help_text="Not known in a dry run.")
    material = PlainText(longest=120)


class ParsImportedOut(Shape):
    rows = WholeNumber()
    written = WrittenPar(many=True)
    dry_run = YesNo()
