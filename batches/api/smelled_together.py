"""Notes taken together, over the API: what goes with what."""

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from batches.api.documents import SHEET, PaperEndpoint
from batches.calc.smelling_summary import COLUMNS, pairing_row
from batches.queries.smelled_together import going_together
from studio.api.fields import DecimalText, PlainText, Shape, WholeNumber
from studio.api.views import Endpoint


class LikingMeanOut(Shape):
    value = DecimalText(digits=2, places=1, help_text="Of 9.")
    count = WholeNumber(help_text="Notes it is the mean of.")


class WordCountOut(Shape):
    word = PlainText(longest=60)
    count = WholeNumber(help_text="Notes that say it.")


class PairingOut(Shape):
    material = PlainText(longest=160, source="a")
    other_material = PlainText(longest=160, source="b")
    vials = WholeNumber(source="summary.vials")
    notes = WholeNumber(source="summary.notes")
    noses = WholeNumber(source="summary.noses")
    liking = LikingMeanOut(source="summary.liking", allow_null=True)
    words = WordCountOut(source="summary.counted_words", many=True)


class PairingsOut(Shape):
    items = PairingOut(many=True)


class Pairings(Endpoint):
    @extend_schema(responses=PairingsOut)
    def get(self, request: Request) -> HttpResponse:
        """Read what goes with what: the notes on vials of two materials by pair, each figure with its count."""
        return self.answer(PairingsOut, {"items": going_together(self.by)})


class PairingsSheet(PaperEndpoint):
    @extend_schema(responses=SHEET)
    def get(self, request: Request) -> HttpResponseBase:
        """Read what goes with what as CSV."""
        rows = [pairing_row(pair) for pair in going_together(self.by)]
        return self.rows_of(COLUMNS, rows, "going-together")
