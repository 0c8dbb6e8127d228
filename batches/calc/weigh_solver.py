"""A mixed-integer programme that is solved for several aims in order, each as good as the earlier ones allow.

Columns and rows are gathered as arrays and handed to HiGHS once; for every aim the costs are changed, the optimum is
found from scratch, and a row then keeps it for the later aims. One thread, a fixed seed and no time limit make the
answer depend on the input alone; a limit on nodes keeps a hopeless case from running for hours and is reported.
An earlier optimum is never handed back as a start: this version of HiGHS loses the constant of the presolved costs when
it takes a start over, and then returns too low an optimum. Every answer is therefore also checked against the rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

from batches.calc.quiet_highs import QuietHighs

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Flags = NDArray[np.bool_]

WHOLE_STEP = 0.9
"""Costs that matter are whole numbers: once the bound is nearer than this, nothing better exists."""
KEPT = 0.3
"""Slack of the row that keeps an earlier optimum: less than one whole step, more than any rounding."""
FINE = 0.001
"""Gap and slack, in steps, where little is left to choose and grams are open."""
FEASIBILITY = 1e-9
SOUND = 1e-6
MOST_NODES = 3000


class UnsoundAnswer(ArithmeticError):
    """HiGHS gave an answer that does not satisfy the programme; a fault of the software, not of the input."""


@dataclass(frozen=True, slots=True)
class Aim:
    """What is to be as small as possible: whole costs on some columns, added up where a column is named twice.

    `floor` is a value it cannot fall below.
    """

    name: str
    columns: Places
    costs: Floats
    floor: float = 0.0

    def value(self, values: Floats) -> float:
        return float(values[self.columns] @ self.costs)

    def over_all(self, width: int) -> Floats:
        """The costs of all columns of a programme."""
        return np.asarray(np.bincount(self.columns, self.costs, minlength=width), float)


@dataclass(frozen=True, slots=True)
class Answer:
    """Values of all columns, the value reached for each aim, and whether every one was proved best."""

    values: Floats
    reached: dict[str, float]
    proven: bool


@dataclass(frozen=True, slots=True)
class Part:
    """Columns that stand for grams of lots: grams per unit, place of the lot in the pool, number of the line.

    `counted` is False where the grams have been taken off what the lot has left already.
    """

    columns: Places
    grams: Floats
    lots: Places
    lines: Places
    counted: Flags


class Programme:
    """Columns with bounds, rows with bounds, then `solve`. Indices of columns are handed out in order."""

    def __init__(self) -> None:
        self._lower: list[Floats] = []
        self._upper: list[Floats] = []
        self._whole: list[Flags] = []
        self._row_lower: list[Floats] = []
        self._row_upper: list[Floats] = []
        self._entries: list[tuple[Places, Places, Floats]] = []
        self._width = 0
        self._height = 0

    def columns(
        self, count: int, lower: Floats | float = 0.0, upper: Floats | float = 1.0, *, whole: bool = False
    ) -> Places:
        """Add `count` columns; returns their indices."""
        self._lower.append(np.broadcast_to(np.asarray(lower, float), (count,)))
        self._upper.append(np.broadcast_to(np.asarray(upper, float), (count,)))
        self._whole.append(np.full(count, whole))
        self._width += count
        return np.arange(self._width - count, self._width)

    def rows(
        self,
        count: int,
        lower: Floats | float,
        upper: Floats | float,
        *blocks: tuple[Places, Places, Floats | float],
    ) -> None:
        """Add `count` rows. A block gives row (0 to count − 1), column and value of its entries."""
        for row, column, value in blocks:
            values = np.broadcast_to(np.asarray(value, float), column.shape)
            self._entries.append((row + self._height, column, values))
        self._row_lower.append(np.broadcast_to(np.asarray(lower, float), (count,)))
        self._row_upper.append(np.broadcast_to(np.asarray(upper, float), (count,)))
        self._height += count

    def row(self, lower: float, upper: float, *blocks: tuple[Places, Floats | float]) -> None:
        """Add one row. A block gives columns and values."""
        self.rows(1, lower, upper, *((np.zeros(len(column), int), column, value) for column, value in blocks))

    def solve(
        self, aims: Sequence[Aim], *, fine: bool = False, most_nodes: int = MOST_NODES
    ) -> Answer | None:
        """The values that are best for the first aim, among those for the second, and so on; None if there are none.

        An aim that `most_nodes` did not suffice for keeps the best found and leaves the answer unproven.
        """
        highs = self._highs(FINE if fine else WHOLE_STEP, most_nodes)
        kept = FINE if fine else KEPT
        reached: dict[str, float] = {}
        values: Floats | None = None
        proven = True
        for aim in aims:
            if values is None or aim.value(values) > aim.floor + SOUND:
                found = _optimum(highs, aim, self._width)
                if found is None and values is None:
                    return None
                if found is None:
                    proven = False
                else:
                    values, best = found
                    proven = proven and best
                    self._check(highs, values)
            assert values is not None
            reached[aim.name] = aim.value(values)
            if len(aim.columns):
                costs = aim.over_all(self._width)
                dear = np.flatnonzero(costs).astype(np.int32)
                highs.addRow(-highspy.kHighsInf, reached[aim.name] + kept, len(dear), dear, costs[dear])
        if values is None:
            return self.solve([Aim("feasible", np.zeros(0, int), np.zeros(0))])
        return Answer(values, reached, proven)

    def _highs(self, gap: float, most_nodes: int) -> highspy.Highs:
        highs = QuietHighs()
        for option, setting in (
            ("threads", 1),
            ("random_seed", 0),
            ("mip_rel_gap", 0.0),
            ("mip_abs_gap", gap),
            ("mip_max_nodes", most_nodes),
            ("primal_feasibility_tolerance", FEASIBILITY),
            ("mip_feasibility_tolerance", FEASIBILITY),
        ):
            highs.setOptionValue(option, setting)
        highs.passModel(self._model())
        return highs

    def _model(self) -> highspy.HighsLp:
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = self._width, self._height
        model.col_cost_ = np.zeros(self._width)
        model.col_lower_, model.col_upper_ = np.concatenate(self._lower), np.concatenate(self._upper)
        model.row_lower_, model.row_upper_ = np.concatenate(self._row_lower), np.concatenate(self._row_upper)
        row, column, value = (np.concatenate(parts) for parts in zip(*self._entries, strict=True))
        order = np.lexsort((column, row))
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = np.concatenate(
            ([0], np.cumsum(np.bincount(row, minlength=self._height)))
        ).astype(np.int32)
        model.a_matrix_.index_ = column[order].astype(np.int32)
        model.a_matrix_.value_ = value[order]
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        model.integrality_ = [kinds[whole] for whole in np.concatenate(self._whole).tolist()]
        return model

    def _check(self, highs: highspy.Highs, values: Floats) -> None:
        """Raise `UnsoundAnswer` unless bounds, rows (with those of the earlier aims) and whole numbers hold."""
        model = highs.getLp()
        rows = np.asarray(highs.getSolution().row_value)
        whole = np.concatenate(self._whole)
        broken = max(
            _most(np.asarray(model.row_lower_) - rows),
            _most(rows - np.asarray(model.row_upper_)),
            _most(np.asarray(model.col_lower_) - values),
            _most(values - np.asarray(model.col_upper_)),
            _most(np.abs(values - np.round(values))[whole]),
        )
        if broken > SOUND:
            raise UnsoundAnswer(f"The solver's answer misses the programme by {broken}.")


def _optimum(highs: highspy.Highs, aim: Aim, width: int) -> tuple[Floats, bool] | None:
    highs.changeColsCost(width, np.arange(width, dtype=np.int32), aim.over_all(width))
    highs.clearSolver()
    highs.run()
    status = highs.getModelStatus()
    if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
        return None
    values = np.asarray(highs.getSolution().col_value)
    if status == highspy.HighsModelStatus.kOptimal:
        if abs(highs.getInfo().objective_function_value - aim.value(values)) > SOUND * (
            1 + abs(aim.value(values))
        ):
            raise UnsoundAnswer(f"The solver's figure for {aim.name} is not that of its answer.")
        return values, True
    feasible = int(highspy.SolutionStatus.kSolutionStatusFeasible)
    return (values, False) if highs.getInfo().primal_solution_status == feasible else None


def _most(differences: Floats) -> float:
    return float(differences.max(initial=0.0))
