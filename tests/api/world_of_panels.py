"""Panels in the furnished studio: one that is closed, one the owner sits in, one the owner set up, and their trays."""

from typing import Any

from batches.actions.answering import answer_serving
from batches.actions.panels import WantedPanel, set_up_panel
from batches.models import Panel, PanelMethod, PanelServing
from inventory.models import Lot
from studio.models import Member
from tests.conftest import NOW


def furnish_panels(owner: Member, maker: Member, names: dict[str, str]) -> None:
    """Each with the lots `lot` and `stock`, and one answer where its operations need one."""
    lots = [Lot.objects.of(owner.studio).get(number=names[name]) for name in ("lot", "stock")]
    told: dict[str, Any] = {"lot_a": lots[0], "lot_b": lots[1], "method": PanelMethod.TRIANGLE}
    closed = panel_for(owner, [maker], title="closed", answers=1, **told)
    answer(maker, closed, 1)
    own = panel_for(owner, [maker], title="own", answers=6, **told)
    answer(maker, own, 1)
    sat = panel_for(maker, [owner], title="sat", answers=6, **told)
    names |= {
        "panel_id": str(closed.pk),
        "own panel": str(own.pk),
        "sat panel": str(sat.pk),
        "person": str(maker.pk),
        "people": str(maker.pk),
        "other_lot": names["stock"],
        "stocks": names["stock"],
        "solvent_lot": names["ethanol lot"],
        "number on the tray": str(PanelServing.objects.get(panel=sat, number=1).codes[0]),
    }


def panel_for(by: Member, sitters: list[Member], **wanted: Any) -> Panel:
    """A panel set up by `by`."""
    return set_up_panel(by=by, now=NOW, wanted=WantedPanel(sitters=sitters, **wanted))


def answer(by: Member, panel: Panel, number: int, place: int = 0) -> None:
    """Choose what stands at a place of a tray."""
    tray = PanelServing.objects.get(panel=panel, number=number)
    answer_serving(by=by, now=NOW, panel_id=panel.pk, serving=number, code=tray.codes[place])
