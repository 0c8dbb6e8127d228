"""The shapes of smelling: strips, notes, words, and vials under codes."""

from rest_framework.serializers import ListField

from batches.actions.blind_smelling import FEWEST_BLIND, MOST_BLIND
from batches.actions.smelling import LATEST_REMINDER, MOST_REMINDERS, MOST_WORDS
from batches.actions.smelling_words import LONGEST_WORD
from batches.calc.smelling import HIGHEST_INTENSITY, HIGHEST_LIKING
from batches.models import IntensityScale
from studio.api.fields import DecimalText, Moment, NumberField, OneOf, PlainText, Shape, WholeNumber, YesNo
from studio.api.ids import IdField


def code_field(**told: object) -> WholeNumber:
    """The three digits on a vial."""
    return WholeNumber(least=100, most=999, **told)


class SaidIn(Shape):
    """What a nose notes; at least one of these."""

    intensity = DecimalText(
        digits=4, places=2, least=0, most=HIGHEST_INTENSITY, required=False, help_text="0 to 10 on the scale."
    )
    scale = OneOf(IntensityScale, required=False, help_text="What the figure means; plain when left out.")
    liking = WholeNumber(
        least=1,
        most=HIGHEST_LIKING,
        required=False,
        help_text="1 dislike extremely, 5 neither, 9 like extremely.",
    )
    words = ListField(
        child=PlainText(longest=LONGEST_WORD),
        max_length=MOST_WORDS,
        required=False,
        help_text="From the studio's list, which grows by new ones.",
    )
    text = PlainText(longest=4000, lines=True, blank=True, required=False)
    colour = PlainText(longest=60, blank=True, required=False)
    picture = PlainText(longest=160, blank=True, required=False, help_text="What it calls to mind.")


class NoteIn(SaidIn):
    strip = IdField(required=False, help_text="The strip that is smelled; its clock tells the minutes.")
    minutes = DecimalText(
        digits=6, places=1, least=0, required=False, help_text="Since dipping, when no strip is named."
    )
    at = Moment(required=False, help_text="When it was smelled; now when left out.")


class CodedNoteIn(NoteIn):
    code = code_field(help_text="On the vial.")


class SmellingOut(Shape):
    id = IdField()
    lot = NumberField("lot", source="told_lot", allow_null=True, help_text="Null while a code hides it.")
    title = PlainText(longest=160, source="told_title", allow_null=True)
    blind_set = IdField(source="blind.blind_set_id", allow_null=True)
    code = code_field(source="blind.code", allow_null=True)
    strip = IdField(source="strip_id", allow_null=True)
    by = PlainText(longest=120, source="by.person.name")
    at = Moment()
    minutes = DecimalText(digits=7, places=1, allow_null=True, help_text="Since dipping.")
    scale = OneOf(IntensityScale, source="scale_used", allow_null=True)
    intensity = DecimalText(digits=4, places=2, allow_null=True)
    liking = WholeNumber(allow_null=True)
    words = ListField(child=PlainText(longest=LONGEST_WORD), help_text="As they are called today.")
    words_said = ListField(child=PlainText(longest=LONGEST_WORD), help_text="As they were called then.")
    text = PlainText(longest=4000)
    colour = PlainText(longest=60)
    picture = PlainText(longest=160)
    corrects = IdField(source="corrects_id", allow_null=True)
    corrected_by = IdField(source="corrected_by_id", allow_null=True)
    recorded_at = Moment()


class StripIn(Shape):
    lot = NumberField("lot", required=False, help_text="Or `blind_set` and `code`.")
    blind_set = IdField(required=False)
    code = code_field(required=False)
    dipped_at = Moment(required=False, help_text="Now when left out.")
    remind_minutes = ListField(
        child=WholeNumber(least=1, most=LATEST_REMINDER), max_length=MOST_REMINDERS, required=False
    )


class StripOut(Shape):
    id = IdField()
    lot = NumberField("lot", source="told_lot", allow_null=True, help_text="Null while a code hides it.")
    blind_set = IdField(source="blind.blind_set_id", allow_null=True)
    code = code_field(source="blind.code", allow_null=True)
    by = PlainText(longest=120, source="by.person.name")
    dipped_at = Moment()
    remind_minutes = ListField(child=WholeNumber())
    ended_at = Moment(allow_null=True)


class StripEndIn(Shape):
    at = Moment(required=False, help_text="When it was thrown away; now when left out.")


class RevealIn(Shape):
    why = PlainText(longest=1000, lines=True, blank=True, required=False, help_text="Stands in the history.")


class WordIn(Shape):
    text = PlainText(longest=LONGEST_WORD)


class WordMergeIn(Shape):
    into = IdField(help_text="The word that stays.")


class WordOut(Shape):
    id = IdField()
    text = PlainText(longest=LONGEST_WORD)
    merged_into = IdField(source="merged_into_id", allow_null=True)
    at = Moment()


class BlindSetIn(Shape):
    title = PlainText(longest=120, help_text="Says nothing of what is in it.")
    lots = ListField(
        child=NumberField("lot"),
        min_length=FEWEST_BLIND,
        max_length=MOST_BLIND,
        help_text="One may stand there twice.",
    )


class BlindSetOut(Shape):
    id = IdField()
    title = PlainText(longest=120)
    by = PlainText(longest=120, source="by.person.name")
    at = Moment()
    count = WholeNumber(help_text="Of vials.")
    revealed = YesNo(source="is_revealed")
    revealed_at = Moment(allow_null=True)


class BlindVialOut(Shape):
    code = code_field()
    lot = NumberField("lot", source="told_lot", allow_null=True, help_text="Null while the code hides it.")
    title = PlainText(longest=160, source="told_title", allow_null=True)
