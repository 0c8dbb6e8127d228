from batches.models.documents import Document, DocumentKind, DocumentState
from batches.models.formulas import Formula, FormulaLine, FormulaVersion
from batches.models.grids import GridCell
from batches.models.making import (
    CLAIMING,
    Batch,
    BatchKind,
    BatchLine,
    BatchState,
    LotTold,
    ReadingSource,
    Weighing,
)
from batches.models.panels import (
    Panel,
    PanelAnswer,
    PanelLook,
    PanelMethod,
    PanelServing,
    PanelSitter,
    PanelStep,
)
from batches.models.refused import RefusedFor, RefusedReading
from batches.models.remakes import RemakeAcceptance
from batches.models.smelling import (
    BlindSet,
    BlindVial,
    IntensityScale,
    Smelling,
    SmellingSaid,
    SmellingWord,
    Strip,
)

__all__ = [
    "CLAIMING",
    "Batch",
    "BatchKind",
    "BatchLine",
    "BatchState",
    "BlindSet",
    "BlindVial",
    "Document",
    "DocumentKind",
    "DocumentState",
    "Formula",
    "FormulaLine",
    "FormulaVersion",
    "GridCell",
    "IntensityScale",
    "LotTold",
    "Panel",
    "PanelAnswer",
    "PanelLook",
    "PanelMethod",
    "PanelServing",
    "PanelSitter",
    "PanelStep",
    "ReadingSource",
    "RefusedFor",
    "RefusedReading",
    "RemakeAcceptance",
    "Smelling",
    "SmellingSaid",
    "SmellingWord",
    "Strip",
    "Weighing",
]
