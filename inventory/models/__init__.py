from inventory.models.ledger import (
    ENTERING,
    LEAVING,
    PASSING_ON,
    Claim,
    ClaimState,
    Movement,
    Reason,
)
from inventory.models.lots import Lot, LotContent, LotKind
from inventory.models.materials import Material, MaterialKind, Solubility
from inventory.models.places import AccuracyClass, Balance, BalanceCheck, Shelf

__all__ = [
    "ENTERING",
    "LEAVING",
    "PASSING_ON",
    "AccuracyClass",
    "Balance",
    "BalanceCheck",
    "Claim",
    "ClaimState",
    "Lot",
    "LotContent",
    "LotKind",
    "Material",
    "MaterialKind",
    "Movement",
    "Reason",
    "Shelf",
    "Solubility",
]
