"""The shapes of documents and of what is asked for to be printed."""

from rest_framework.serializers import ListField

from batches.calc.label_layout import MOST_LABELS, MOST_PLACES
from batches.models.documents import DocumentKind, DocumentState
from studio.api.fields import DecimalText, Moment, NumberField, OneOf, PlainText, Shape, WholeNumber, YesNo
from studio.api.ids import IdField


class DocumentOut(Shape):
    id = IdField()
    kind = OneOf(DocumentKind)
    subject = PlainText(longest=10, help_text="What sort of thing it is of: batch, lot or shelf.")
    name = PlainText(longest=40, help_text="The number or id of that thing.")
    title = PlainText(longest=200)
    copy = WholeNumber(help_text="Which print of its subject it is; counted for tickets.")
    state = OneOf(DocumentState)
    progress = WholeNumber(help_text="In percent.")
    content_digest = PlainText(longest=64, help_text="SHA-256 of what it is printed from.")
    sha256 = PlainText(longest=64, help_text="Of the file; empty until it is made.")
    size = WholeNumber(allow_null=True, help_text="Bytes.")
    media_type = PlainText(longest=60)
    file_name = PlainText(longest=120)
    asked_by = PlainText(longest=120, source="asked_by.person.name")
    asked_at = Moment()
    made_at = Moment(allow_null=True)
    removed_at = Moment(allow_null=True)


class PaperAsk(Shape):
    again = YesNo(required=False, help_text="Another numbered copy, also when nothing has changed.")


def millimetres(**told: object) -> DecimalText:
    return DecimalText(digits=5, places=1, least=0, most=420, **told)  # type: ignore[arg-type]


class SheetIn(Shape):
    page_width_mm = millimetres(required=False, help_text="A4 when left out.")
    page_height_mm = millimetres(required=False)
    columns = WholeNumber(least=1, most=MOST_PLACES)
    rows = WholeNumber(least=1, most=MOST_PLACES)
    left_mm = millimetres(required=False)
    top_mm = millimetres(required=False)
    gap_x_mm = millimetres(required=False)
    gap_y_mm = millimetres(required=False)
    start = WholeNumber(
        least=1, most=MOST_PLACES, required=False, help_text="First free place, by rows from 1."
    )


class LabelIn(Shape):
    width_mm = millimetres(required=False, help_text="60 when left out.")
    height_mm = millimetres(required=False, help_text="30 when left out.")
    sheet = SheetIn(required=False)


class LabelsIn(LabelIn):
    lots = ListField(
        child=NumberField("lot"),
        allow_empty=False,
        max_length=MOST_LABELS,
        help_text="In the order they are printed; a number that stands twice is printed twice.",
    )
