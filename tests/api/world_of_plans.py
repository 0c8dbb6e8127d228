"""What the remake plan stands on, in the studio that has something of everything."""

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from batches.models.remake_requests import Outlook
from batches.queries.remakes import remakes_of
from inventory.actions.buying import OfferedPack, add_offer, add_supplier
from inventory.actions.pars import WantedPar, set_pars
from inventory.actions.purchases import note_purchase
from studio.models import Member
from tests.workbench import Workbench


def furnish_remakes(owner: Member, names: dict[str, str]) -> None:
    """A row that the plan of this very day has; the service looks at the clock, not at the bench's."""
    today = timezone.now().date()
    found = remakes_of(studio=owner.studio, today=today, outlook=Outlook(until=today + timedelta(days=28)))
    names |= {"plan digest": found.digest, "plan row": found.plan.makings[0].key}


def furnish_buying(bench: Workbench, names: dict[str, str], apart: int) -> None:
    linalool = bench.material("linalool")
    for number in range(apart + 1):
        [par] = set_pars(
            by=bench.by,
            now=bench.now,
            pars=[
                WantedPar(
                    material=linalool,
                    strength=Decimal(f"0.{number + 2}"),
                    solvent=bench.material("ethanol"),
                    low=Decimal(10),
                    full=Decimal(50),
                )
            ],
        )
        supplier = add_supplier(by=bench.by, now=bench.now, name=f"Fernhill {number}")
        offer = add_offer(
            by=bench.by,
            now=bench.now,
            offered=OfferedPack(
                supplier=supplier, material=linalool, pack=Decimal(100), price=Decimal("9.80")
            ),
        )
        purchase = note_purchase(by=bench.by, now=bench.now, offer=offer, packs=2)
    names |= {
        "par": str(par.id),
        "supplier": str(supplier.id),
        "offer": str(offer.id),
        "purchase": str(purchase.id),
    }
