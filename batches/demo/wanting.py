"""What the demo studio wants on its shelf, and whom it buys of."""

from decimal import Decimal

from batches.demo.days import Days
from batches.demo.named import Named
from batches.demo.sheets import Cells, Told, whole
from inventory.actions.buying import OfferedPack, add_offer, add_supplier
from inventory.actions.pars import WantedPar, set_pars
from inventory.models import Supplier


def set_demo_pars(told: list[Told], named: Named, days: Days) -> None:
    """The pars, all set on one morning."""
    pars = [
        WantedPar(
            material=named.materials[one["material"]],
            strength=Decimal(one["strength"]),
            solvent=named.solvent(one["solvent"]),
            low=Decimal(one["low_g"]),
            full=Decimal(one["full_g"]),
        )
        for one in told
    ]
    set_pars(by=named.owner, now=days.work(20), pars=pars)


def note_suppliers(told: list[Told], offers: list[Cells], named: Named, days: Days) -> None:
    """The suppliers, and what they offer."""
    suppliers = {
        one["name"]: add_supplier(
            by=named.owner,
            now=days.work(1),
            name=one["name"],
            delivery_days=one["delivery_days"],
            note=one["note"],
        )
        for one in told
    }
    for cells in offers:
        add_offer(by=named.owner, now=days.work(0.2), offered=_offered(cells, suppliers, named))


def _offered(cells: Cells, suppliers: dict[str, Supplier], named: Named) -> OfferedPack:
    return OfferedPack(
        supplier=suppliers[cells["supplier"]],
        material=named.materials[cells["material"]],
        strength=Decimal(cells["strength"]),
        solvent=named.solvent(cells["solvent"]),
        pack=Decimal(cells["pack_g"]),
        from_packs=int(cells["from_packs"]),
        price=Decimal(cells["price"]),
        delivery_days=whole(cells["delivery_days"]),
        article=cells["article"],
    )
