"""What the result of a panel says in plain words, and what it does not say.

A result that does not come out is told with the largest share of tellers it still leaves possible, a share with its
interval, and answers of the same noses with the reminder that they are not so many different people.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from batches.calc.discrimination import DUO_TRIO, TRIANGLE, Method, Outcome, power
from batches.calc.panel_plan import as_decimal
from batches.calc.perceiving import Perception, Step
from inventory.calc.wording import figure, percent, readable

SMELLING_CAUTIONS = (
    "Some of what is smelled here can make a person allergic for good: keep it off the skin, and put nothing on skin "
    "that no qualified assessor has assessed.",
    "Smell from a strip or over the open vial, never at a heated or sprayed one, in a room with moving air; stop at "
    "once when it stings, and do not sit when you are ill, pregnant or react to something on the tray.",
    "A nose tires: wait a minute between samples and a quarter of an hour after a few trays; a tired nose guesses.",
    "This is a reminder, not a safety assessment. Your local rules and those licensed to judge have the last word.",
)


@dataclass(frozen=True, slots=True)
class Asked:
    """The question of a panel as the person with the tray reads it."""

    question: str
    lead: str


def asked(method: Method, attribute: str = "") -> Asked:
    """The one question of a method; of a pair, which has more of `attribute`."""
    if method.name == TRIANGLE.name:
        return Asked(
            "Which one is different?", "Two of the three are the same. Smell them from left to right."
        )
    if method.name == DUO_TRIO.name:
        return Asked(
            "Which one is the same as the reference?",
            "The reference bears no number; smell it first, then the two from left to right.",
        )
    return Asked(f"Which one has more of this: {attribute}?", "Smell the two from left to right.")


@dataclass(frozen=True, slots=True)
class Told:
    """Whose result it is: how many people gave the answers, how many were planned, what a pair named more often."""

    people: int
    planned: int
    level: Decimal
    more_of: str = ""
    attribute: str = ""


def panel_sentences(method: Method, outcome: Outcome, told: Told) -> tuple[str, ...]:
    """The result of a comparison of two lots, the main thing first."""
    return (
        _verdict(method, outcome, told),
        _count(method, outcome, told),
        _share(outcome, told),
        *_who(outcome.answers, told),
    )


def _verdict(method: Method, outcome: Outcome, told: Told) -> str:
    if outcome.significant and told.attribute:
        return f"{told.more_of} was found to have more of this: {told.attribute}."
    if outcome.significant:
        return "The two can be told apart."
    if outcome.needed is None:
        return "Nothing is shown: with so few answers not even all right would be significant."
    if told.attribute and not method.either_way:
        return f"It is not shown that {told.more_of} has more of this: {told.attribute}; that is no proof of the opposite."
    return "It is not shown that the two can be told apart; that is no proof that they are the same."


def _count(method: Method, outcome: Outcome, told: Told) -> str:
    counted = (
        max(outcome.correct, outcome.answers - outcome.correct) if method.either_way else outcome.correct
    )
    what = f"named {told.more_of}" if told.attribute else "were right"
    needed = (
        f"{outcome.needed} would have been the fewest to be significant at {percent(told.level)}"
        if outcome.needed is not None
        else f"no count would be significant at {percent(told.level)}"
    )
    sided = "either of the two so often" if method.either_way else "so many or more"
    return (
        f"{counted} of {outcome.answers} answers {what}; {needed}. Guessing alone gives {sided} "
        f"{how_often(outcome.by_chance)} (p = {p_value(outcome.by_chance)})."
    )


def _share(outcome: Outcome, told: Told) -> str:
    share = outcome.share
    return (
        f"Beyond guessing, about {percent(share.estimate, 2)} of such answers tell them apart; with 95 % confidence "
        f"between {percent(share.low, 2)} and {percent(share.high, 2)}."
    )


def _who(answers: int, told: Told) -> tuple[str, ...]:
    said = []
    if told.people < answers:
        noses = "one nose" if told.people == 1 else f"{told.people} noses"
        said.append(
            f"The {answers} answers come from {noses}: they say what these can tell, not how many other people would."
        )
    if answers < told.planned:
        said.append(f"Planned were {told.planned} answers; until then every figure here may still turn.")
    return tuple(said)


def looked_before(looks: int) -> str:
    """The reminder on a result that was looked at before it was finished."""
    times = "once" if looks == 1 else f"{looks} times"
    return (
        f"The result was looked at {times} before the planned number was reached; whoever would have stopped at a "
        f"good look has more false alarms than the level says."
    )


def nose_sentences(perception: Perception, level: Decimal) -> tuple[str, ...]:
    """What one nose perceives of a material, the main thing first, with how sure that is."""
    fewest = min(one.step.answers for one in perception.steps)
    said = [perception.sentence]
    if perception.where == "between":
        said.append(
            "The threshold is the middle (geometric) of two strengths on the shelf: it may lie anywhere between them, "
            "and moves with the day, the hour and the air."
        )
    if perception.where == "above":
        said.append("That may still be too weak for you and plain to others; try stronger stocks.")
    half = as_decimal(power(TRIANGLE, answers=fewest, share=Decimal("0.5"), level=level))
    said.append(
        f"Somebody who perceives it every second time would be found out at one strength in {percent(half, 2)} of "
        f"such trials of {fewest} triangles; more triangles are surer."
    )
    return tuple(said)


def step_doubt(step: Step, low: Decimal, high: Decimal) -> str:
    """How sure one strength is: the interval of the share of tries in which it is perceived."""
    return (
        f"By {step.answers} triangles you perceive it in between {percent(low, 2)} and {percent(high, 2)} of tries "
        f"(95 % confidence)."
    )


def how_often(chance: Fraction) -> str:
    """A chance as a count of panels."""
    hundred = chance * 100
    if hundred >= 1:
        return f"in {round(hundred)} of 100 panels"
    return f"in 1 of {figure(Decimal(round(1 / chance)))} panels"


def p_value(chance: Fraction) -> str:
    """A p-value with two digits; below a millionth only that."""
    if chance < Fraction(1, 1_000_000):
        return "below 0.000001"
    return readable(Decimal(chance.numerator) / Decimal(chance.denominator), 2)
