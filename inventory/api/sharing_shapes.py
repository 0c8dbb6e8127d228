"""The shapes of requests and loans."""

from inventory.api.shapes import EditionField
from inventory.models import RequestState, Wish
from studio.api.fields import Day, GramsField, Moment, NumberField, OneOf, PlainText, Shape, StrengthField
from studio.api.ids import IdField


class RequestIn(Shape):
    lot = NumberField("lot")
    wish = OneOf([Wish.SOME.value, Wish.LOAN.value], help_text="Some to take away, or all of it for a while.")
    mass = GramsField(required=False, help_text="For some of it.")
    until = Day(required=False, help_text="For a loan.")
    word = PlainText(longest=1000, lines=True, blank=True, required=False)


class RequestOut(Shape):
    id = IdField()
    lot = NumberField("lot", source="lot.number")
    title = PlainText(longest=160, source="lot.title")
    strength = StrengthField(source="lot.actual_strength", allow_null=True)
    keeper = PlainText(longest=120, source="lot.keeper.person.name", allow_null=True)
    asker = PlainText(longest=120, source="asker.person.name")
    wish = OneOf(Wish, help_text="A claim is what a batch may claim beyond what goes unasked.")
    mass = GramsField(allow_null=True)
    until = Day(allow_null=True)
    batch = PlainText(longest=20, source="purpose", help_text="Number of the batch that would claim it.")
    word = PlainText(longest=1000)
    state = OneOf(RequestState)
    asked_at = Moment()
    answered_at = Moment(allow_null=True)
    answered_by = PlainText(longest=120, source="answered_by.person.name", allow_null=True)
    answer = PlainText(longest=1000)
    granted_mass = GramsField(allow_null=True)
    given = NumberField(
        "lot", source="given.number", allow_null=True, help_text="The lot that was handed over."
    )
    edition = EditionField()


class GrantIn(Shape):
    mass = GramsField(required=False, help_text="Less than was asked for; all of it when left out.")
    until = Day(required=False, help_text="Another day than was asked for.")
    answer = PlainText(longest=1000, lines=True, blank=True, required=False)
    tare = GramsField(required=False, help_text="The empty container that some of it is drawn off into.")
    shelf = IdField(required=False)
    expired_reason = PlainText(longest=1000, lines=True, blank=True, required=False)


class DeclineIn(Shape):
    answer = PlainText(longest=1000, lines=True)


class LendIn(Shape):
    to = IdField(help_text="The member who takes it.")
    until = Day()


class LoanOut(Shape):
    id = IdField()
    lot = NumberField("lot", source="lot.number")
    title = PlainText(longest=160, source="lot.title")
    keeper = PlainText(longest=120, source="lot.keeper.person.name", allow_null=True)
    borrower = PlainText(longest=120, source="borrower.person.name")
    lender = PlainText(longest=120, source="lender.person.name")
    due_on = Day()
    lent_at = Moment()
    mass_out = GramsField()
    returned_at = Moment(allow_null=True)
    returned_by = PlainText(longest=120, source="returned_by.person.name", allow_null=True)
    mass_back = GramsField(allow_null=True)
    edition = EditionField()


class TakeBackIn(Shape):
    gross = GramsField(zero=True, help_text="The container with what is in it.")
    tare = GramsField(required=False, help_text="The empty container, when it is not known yet.")
