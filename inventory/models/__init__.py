from inventory.models.buying import ON_THEIR_WAY, Offer, Purchase, PurchaseState, Supplier
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
from inventory.models.pars import Par
from inventory.models.places import AccuracyClass, Balance, BalanceCheck, Shelf
from inventory.models.sharing import Loan, LotRequest, RequestState, Wish

__all__ = [
    "ENTERING",
    "LEAVING",
    "ON_THEIR_WAY",
    "PASSING_ON",
    "AccuracyClass",
    "Balance",
    "BalanceCheck",
    "Claim",
    "ClaimState",
    "Loan",
    "Lot",
    "LotContent",
    "LotKind",
    "LotRequest",
    "Material",
    "MaterialKind",
    "Movement",
    "Offer",
    "Par",
    "Purchase",
    "PurchaseState",
    "Reason",
    "RequestState",
    "Shelf",
    "Solubility",
    "Supplier",
    "Wish",
]
