"""Asking the keepers of all lots that a planned batch would claim more of than goes unasked."""

from datetime import datetime

from batches.actions.batch_lock import lock_batch
from batches.models import BatchState
from batches.models.pouring import wanted_per_lot
from inventory.actions.asking import ask_keeper
from inventory.actions.keeping import beyond_unasked
from inventory.models import Lot, LotRequest, RequestState, Wish
from studio.kernel.errors import Conflict
from studio.kernel.work import work
from studio.models import Member


class NobodyLeftToAsk(Conflict):
    """Every keeper this batch depends on was asked, or none needs to be."""

    code = "nobody-left-to-ask"
    title = "Nobody left to ask"


def ask_keepers(*, by: Member, now: datetime, number: str, word: str = "") -> list[LotRequest]:
    """Ask for what the weigh plan of a draft takes beyond what goes unasked, once per lot.

    Raises `NobodyLeftToAsk` when there is nothing to ask, and `WrongState`.
    """
    with work():
        batch = lock_batch(by=by, number=number, states=[BatchState.DRAFT], doing="asked for")
        wants = wanted_per_lot(batch.lines.order_by("position", "id"), {})
        lots = Lot.objects.of(by.studio).select_related("keeper__person").in_bulk(list(wants))
        beyond = beyond_unasked(by=by, purpose=number, wants=wants, lots=lots)
        asked = set(
            LotRequest.objects.filter(
                lot_id__in=beyond, asker=by, wish=Wish.CLAIM, purpose=number, state=RequestState.OPEN
            ).values_list("lot_id", flat=True)
        )
        open_ = {lot_id: wanted for lot_id, wanted in sorted(beyond.items()) if lot_id not in asked}
        if not open_:
            raise NobodyLeftToAsk(
                f"The keepers of {len(asked)} lots were asked and have not answered yet."
                if asked
                else f"Batch {number} takes nothing that a keeper wants to be asked for."
            )
        return [
            ask_keeper(
                by=by, now=now, lot=lots[lot_id], wish=Wish.CLAIM, mass=wanted, purpose=number, word=word
            )
            for lot_id, wanted in open_.items()
        ]
