from batches.models.formulas import Formula, FormulaLine, FormulaVersion
from batches.models.making import (
    CLAIMING,
    Batch,
    BatchKind,
    BatchLine,
    BatchState,
    ReadingSource,
    Weighing,
)

__all__ = [
    "CLAIMING",
    "Batch",
    "BatchKind",
    "BatchLine",
    "BatchState",
    "Formula",
    "FormulaLine",
    "FormulaVersion",
    "ReadingSource",
    "Weighing",
]
