"""The result of a panel: hidden while answers are awaited, told in plain words when it is closed.

A look that was declared before shows the answers given until then and no later one, as interim, and never to those who
sit. There is no other way to a count of right answers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from batches.calc.discrimination import TRIANGLE, Method, Outcome, outcome, share_of_tellers
from batches.calc.panel_plan import as_decimal
from batches.calc.panel_words import (
    SMELLING_CAUTIONS,
    Told,
    looked_before,
    nose_sentences,
    panel_sentences,
    step_doubt,
)
from batches.calc.perceiving import Perceived, Step, perception
from batches.calc.serving_orders import right_place
from batches.models import Panel, PanelAnswer, PanelLook, PanelStep
from batches.queries.panels import method_of, sits_in
from inventory.models import Lot
from studio.kernel.errors import Conflict
from studio.models import Member

CONFIDENCE = Decimal("0.95")


class ResultHidden(Conflict):
    """Answers are still awaited, and nobody declared a look that one may be shown."""

    code = "result-hidden"
    title = "No result before the last answer"


@dataclass(frozen=True, slots=True)
class StepResult:
    """One strength of a trial, with the sentence that says whether it was perceived and how sure that is."""

    strength: Decimal
    lot: Lot
    answers: int
    correct: int
    by_chance: Decimal
    perceived: bool
    sentence: str
    doubt: str


@dataclass(frozen=True, slots=True)
class PanelResult:
    """What the answers say. `interim` when it was looked at or ended before the planned number; of a trial
    `by_chance` to `share_high` are empty and `steps` tell."""

    panel: Panel
    interim: bool
    answers: int
    correct: int
    people: int
    sentences: tuple[str, ...]
    looks: tuple[PanelLook, ...]
    by_chance: Decimal | None = None
    needed: int | None = None
    significant: bool | None = None
    share: Decimal | None = None
    share_low: Decimal | None = None
    share_high: Decimal | None = None
    steps: tuple[StepResult, ...] = ()
    threshold: Decimal | None = None
    cautions: tuple[str, ...] = SMELLING_CAUTIONS


def result_of(*, member: Member, panel: Panel) -> PanelResult:
    """The result as far as a member may see it, in two statements. Raises `ResultHidden`."""
    looks = tuple(PanelLook.objects.filter(panel=panel).select_related("by__person").order_by("id"))
    shown = _shown(member, panel, looks)
    rows = PanelAnswer.objects.filter(panel=panel).select_related("serving").order_by("id")
    answers = list(rows[:shown])
    if not answers:
        raise ResultHidden("The panel was ended without an answer, so there is no result.")
    interim = shown < panel.planned
    if panel.material_id:
        return _of_nose(panel, answers, looks, interim)
    return _of_lots(panel, answers, looks, interim)


def _shown(member: Member, panel: Panel, looks: Sequence[PanelLook]) -> int:
    """How many answers, from the first on, a member may be told of."""
    if not panel.is_open:
        return panel.answered
    missing = panel.planned - panel.answered
    if sits_in(panel, member) or not looks:
        raise ResultHidden(
            f"{missing} of {panel.planned} answers are still missing. The result is told when they are in, so that "
            f"nobody stops at a lucky moment."
        )
    return looks[-1].answers


def _of_lots(
    panel: Panel, answers: Sequence[PanelAnswer], looks: tuple[PanelLook, ...], interim: bool
) -> PanelResult:
    method = method_of(panel)
    correct = sum(is_right(method, one) for one in answers)
    found = outcome(method, answers=len(answers), correct=correct, level=panel.level, confidence=CONFIDENCE)
    people = len({one.by_id for one in answers})
    told = Told(
        people=people,
        planned=panel.planned,
        level=panel.level,
        more_of=_named(panel.steps.all()[0], found, method),
        attribute=panel.attribute,
    )
    return PanelResult(
        panel=panel,
        interim=interim,
        answers=len(answers),
        correct=correct,
        people=people,
        sentences=(*panel_sentences(method, found, told), *_looked(looks)),
        looks=looks,
        by_chance=as_decimal(found.by_chance),
        needed=found.needed,
        significant=found.significant,
        share=found.share.estimate,
        share_low=found.share.low,
        share_high=found.share.high,
    )


def _of_nose(
    panel: Panel, answers: Sequence[PanelAnswer], looks: tuple[PanelLook, ...], interim: bool
) -> PanelResult:
    steps = {step.pk: step for step in panel.steps.all()}
    given: dict[int, list[bool]] = {}
    for one in answers:
        given.setdefault(one.serving.step_id, []).append(is_right(TRIANGLE, one))
    lots = {steps[key].strength: steps[key].lot_b for key in given}
    found = perception(
        [Step(steps[key].strength or Decimal(1), len(right), sum(right)) for key, right in given.items()],
        panel.level,
    )
    return PanelResult(
        panel=panel,
        interim=interim,
        answers=len(answers),
        correct=sum(map(sum, given.values())),
        people=len({one.by_id for one in answers}),
        sentences=(*nose_sentences(found, panel.level), *_looked(looks)),
        looks=looks,
        steps=tuple(_step(one, lots[one.step.strength]) for one in found.steps),
        threshold=found.threshold,
    )


def _step(one: Perceived, lot: Lot) -> StepResult:
    step = one.step
    share = share_of_tellers(TRIANGLE, answers=step.answers, correct=step.correct, confidence=CONFIDENCE)
    return StepResult(
        strength=step.strength,
        lot=lot,
        answers=step.answers,
        correct=step.correct,
        by_chance=as_decimal(one.by_chance),
        perceived=one.perceived,
        sentence=one.sentence,
        doubt=step_doubt(step, share.low, share.high),
    )


def is_right(method: Method, answer: PanelAnswer) -> bool:
    """Whether an answer, read with its serving, chose the right place; in a pair, lot B."""
    return answer.chosen == right_place(method, answer.serving.places)


def _named(step: PanelStep, found: Outcome, method: Method) -> str:
    """The lot that a pair's sentence is about: the one expected to have more, or named more often."""
    lot = step.lot_a if method.either_way and 2 * found.correct < found.answers else step.lot_b
    return f"{lot.title} ({lot.number})"


def _looked(looks: Sequence[PanelLook]) -> tuple[str, ...]:
    return (looked_before(len(looks)),) if looks else ()
