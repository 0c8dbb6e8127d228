"""What a person may type when asking for a lot, answering, lending and bringing back."""

from django import forms

from inventory.pages.forms import OfStudio
from studio.pages.fields import Choice, Day, Grams, Picked, Text


class AskForm(forms.Form):
    """Asking the keeper for some of a lot, or for the lot itself for a while."""

    wish = Choice(
        [("some", "some of it, to keep"), ("loan", "the lot itself, for a while")], label="Asking for"
    )
    mass = Grams(label="Mass, g", required=False, help_text="Of some of it.")
    until = Day(label="Until", required=False, help_text="Of a loan.")
    word = Text(longest=1000, label="What for", required=False)


class GrantForm(OfStudio):
    """Handing over some of a lot: the asker gets a labelled lot of their own."""

    mass = Grams(label="Mass, g", help_text="What was asked for, or less.")
    tare = Grams(label="Empty container, g", required=False)
    shelf = Picked("shelf", label="Shelf", required=False, nothing="no shelf yet")
    answer = Text(longest=1000, label="A word with it", required=False)
    expired_reason = Text(longest=1000, label="Why, though it has expired", required=False)


class GrantClaimForm(forms.Form):
    """Letting a batch claim some of a lot."""

    mass = Grams(label="Mass, g", help_text="What was asked for, or less.")
    answer = Text(longest=1000, label="A word with it", required=False)


class GrantLoanForm(forms.Form):
    """Lending what was asked for."""

    until = Day(label="Until")
    answer = Text(longest=1000, label="A word with it", required=False)


class DeclineForm(forms.Form):
    """Saying no."""

    answer = Text(longest=1000, label="Why not")


class LendForm(OfStudio):
    """Giving a lot into somebody's hands."""

    to = Picked("member", label="To", nothing="choose a member")
    until = Day(label="Until")


class TakeBackForm(forms.Form):
    """A lent lot on the balance, container and all."""

    gross = Grams(zero=True, label="Gross, g", help_text="The container with what is in it.")
    tare = Grams(label="Empty container, g", required=False)
