"""The shapes of panels: planned, set up, answered, told."""

from decimal import Decimal
from typing import Any

from rest_framework.serializers import ListField

from batches.actions.panels import MOST_SITTERS, MOST_STRENGTHS, MOST_TRIANGLES
from batches.calc.panel_plan import MOST_SERVINGS
from batches.models import PanelMethod
from studio.api.fields import (
    DecimalText,
    Moment,
    NumberField,
    OneOf,
    PlainText,
    Shape,
    StrengthField,
    WholeNumber,
    YesNo,
)
from studio.api.ids import IdField

STATES = ("open", "closed", "ended")


def chance(**told: Any) -> DecimalText:
    """A level, power or share that a person chooses."""
    field = DecimalText(digits=5, places=4, least=Decimal("0.0001"), most=Decimal("0.9999"), **told)
    field.example = "0.0500"
    return field


def reckoned(**told: Any) -> DecimalText:
    """A chance or share that was reckoned."""
    field = DecimalText(digits=7, places=6, least=0, most=1, **told)
    field.example = "0.050000"
    return field


class PlanAsk(Shape):
    method = OneOf(PanelMethod, required=False, help_text="A triangle when left out.")
    level = chance(required=False, help_text="How often guessing alone may come out significant; 0.05.")
    power = chance(required=False, help_text="How often the share is to be found; 0.8.")
    share = chance(required=False, help_text="Of people who truly tell the two apart; 0.5.")
    answers = WholeNumber(least=1, most=MOST_SERVINGS, required=False, help_text="Plan with so many instead.")


class ShareRowOut(Shape):
    share = reckoned()
    answers = WholeNumber(allow_null=True, help_text="Needed for it; null when it would be too many.")
    found = reckoned(help_text="How often the planned number finds it.")


class PanelPlanOut(Shape):
    method = OneOf(PanelMethod, source="method.name")
    standard = PlainText(longest=20, source="method.standard")
    level = reckoned()
    power = reckoned(source="wanted_power")
    share = reckoned()
    answers = WholeNumber(help_text="Planned.")
    needed = WholeNumber(allow_null=True, help_text="Fewest right ones that are significant.")
    found = reckoned(help_text="How often the share is found.")
    sentence = PlainText(longest=600)
    rows = ShareRowOut(many=True)


class PanelIn(Shape):
    title = PlainText(longest=120)
    method = OneOf(PanelMethod)
    lot = NumberField("lot")
    other_lot = NumberField(
        "lot", help_text="In a pair that counts one way, this one is expected to have more."
    )
    attribute = PlainText(
        longest=60, blank=True, required=False, help_text="Of a pair: what is asked for more of."
    )
    people = ListField(
        child=IdField(),
        min_length=1,
        max_length=MOST_SITTERS,
        help_text="Members who sit, as often as they like.",
    )
    level = chance(required=False, help_text="0.05 when left out.")
    power = chance(required=False, help_text="0.8 when left out.")
    share = chance(required=False, help_text="0.5 when left out.")
    answers = WholeNumber(
        least=1, most=MOST_SERVINGS, required=False, help_text="As many as are needed when left out."
    )
    note = PlainText(longest=1000, lines=True, blank=True, required=False)


class TrialIn(Shape):
    """From which strength on one person perceives a material."""

    title = PlainText(longest=120)
    person = IdField(help_text="The member whose nose it is.")
    stocks = ListField(
        child=NumberField("lot"), min_length=1, max_length=MOST_STRENGTHS, help_text="Of rising strength."
    )
    solvent_lot = NumberField("lot", help_text="The bare solvent.")
    triangles = WholeNumber(least=1, most=MOST_TRIANGLES, required=False, help_text="At each strength; 6.")
    level = chance(required=False, help_text="0.05 when left out.")
    note = PlainText(longest=1000, lines=True, blank=True, required=False)


class LotNameOut(Shape):
    lot = NumberField("lot", source="number")
    title = PlainText(longest=160)


class SitterOut(Shape):
    id = IdField()
    name = PlainText(longest=120, source="person.name")


class PanelOut(Shape):
    id = IdField()
    title = PlainText(longest=120)
    method = OneOf(PanelMethod)
    question = PlainText(longest=200, source="asked.question")
    material = PlainText(
        longest=160, source="material.name", allow_null=True, help_text="Of a trial of one nose."
    )
    lots = LotNameOut(many=True, help_text="By number; which number on a tray is which is in the key.")
    people = SitterOut(many=True)
    level = reckoned()
    power = reckoned(allow_null=True)
    share = reckoned(allow_null=True)
    planned = WholeNumber(help_text="Answers after which it closes.")
    answered = WholeNumber()
    state = OneOf(STATES)
    note = PlainText(longest=1000)
    by = PlainText(longest=120, source="by.person.name")
    at = Moment()
    closed_at = Moment(allow_null=True)
    ended_by = PlainText(longest=120, source="ended_by.person.name", allow_null=True)
    ended_why = PlainText(longest=1000)


class ServingOut(Shape):
    number = WholeNumber(help_text="Of the tray.")
    codes = ListField(
        child=WholeNumber(allow_null=True), help_text="The numbers from the left; null is a reference."
    )
    answered_by = PlainText(longest=120, source="answer.by.person.name", allow_null=True)
    answered_at = Moment(source="answer.at", allow_null=True)


class AnswerIn(Shape):
    serving = WholeNumber(least=1, most=MOST_SERVINGS, help_text="The number of the tray.")
    code = WholeNumber(least=100, most=999, help_text="The number on the sample that is chosen.")


class AnswerOut(Shape):
    id = IdField()
    serving = WholeNumber(source="serving.number")
    by = PlainText(longest=120, source="by.person.name")
    at = Moment()
    code = WholeNumber(
        source="told_code", allow_null=True, help_text="What was chosen; told when the panel is closed."
    )


class EarlyIn(Shape):
    """Why a panel is looked at or ended before its planned number; it stands on the result."""

    why = PlainText(longest=1000, lines=True)


class LookOut(Shape):
    answers = WholeNumber(help_text="Given by then.")
    by = PlainText(longest=120, source="by.person.name")
    at = Moment()
    why = PlainText(longest=1000)


class StepResultOut(Shape):
    strength = StrengthField()
    lot = NumberField("lot", source="lot.number")
    answers = WholeNumber()
    correct = WholeNumber()
    by_chance = reckoned()
    perceived = YesNo()
    sentence = PlainText(longest=400)
    doubt = PlainText(longest=400)


class ResultOut(Shape):
    interim = YesNo(help_text="Looked at or ended before the planned number.")
    planned = WholeNumber(source="panel.planned")
    answers = WholeNumber()
    correct = WholeNumber(help_text="In a pair: how many named the second lot.")
    people = WholeNumber(help_text="Different people among the answers.")
    by_chance = reckoned(allow_null=True, help_text="How often guessing does so well: the p-value.")
    needed = WholeNumber(allow_null=True, help_text="Fewest that would have been significant.")
    significant = YesNo(allow_null=True)
    share = reckoned(allow_null=True, help_text="Of tellers, beyond guessing.")
    share_low = reckoned(allow_null=True, help_text="Ends of its interval of 95 % confidence.")
    share_high = reckoned(allow_null=True)
    steps = StepResultOut(many=True, help_text="Of a trial of one nose, from weak to strong.")
    threshold = StrengthField(allow_null=True)
    looks = LookOut(many=True)
    sentences = ListField(child=PlainText(longest=600))
    cautions = ListField(child=PlainText(longest=600))


class KeyTrayOut(Shape):
    number = WholeNumber()
    codes = ListField(child=WholeNumber(allow_null=True))
    lots = LotNameOut(many=True, help_text="What stands behind the numbers, from the left.")
    right = WholeNumber(help_text="The right place, from 0 at the left; in a pair that of the second lot.")


class PanelKeyOut(Shape):
    seed = PlainText(longest=32, source="panel.seed", help_text="From which orders and numbers were drawn.")
    trays = KeyTrayOut(many=True)


class StrengthOut(Shape):
    lot = NumberField("lot", source="lot.number")
    strength = StrengthField()
    chosen = YesNo(help_text="Of several of one strength, the one with most in it.")


class StrengthsOut(Shape):
    solvent = PlainText(longest=160, source="solvent.name")
    solvent_lots = LotNameOut(many=True)
    stocks = StrengthOut(many=True)


class StrengthsListOut(Shape):
    items = StrengthsOut(many=True)
