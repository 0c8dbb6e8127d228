"""What would help a plan, as things to press: another mass or strength at once, a stock to make or to get on its way."""

from dataclasses import dataclass, field
from decimal import Decimal
from urllib.parse import urlencode

from django.urls import reverse

from batches.models import Batch
from inventory.models import Material
from studio.models import Studio
from studio.pages.tags import grams, percent, plain


@dataclass(frozen=True, slots=True)
class Offer:
    """A remedy: a link where `address` is given, else a form that drafts the batch anew with these figures."""

    sentence: str
    label: str
    address: str = ""
    figures: dict[str, str] = field(default_factory=dict)
    steps: tuple[str, ...] = ()


def offered(batch: Batch, studio: Studio) -> list[Offer]:
    """The remedies of a batch's plan, in the order in which they are worth trying. One statement, none without any."""
    told = batch.explanation.get("remedies", ())
    ids = {int(one[name]) for one in told for name in ("material", "solvent") if one.get(name)}
    names = {row.pk: row.name for row in Material.objects.of(studio).filter(pk__in=ids)} if ids else {}
    return [_offer(one, names) for one in told]


def _offer(told: dict, names: dict[int, str]) -> Offer:
    kind, sentence = told["kind"], told["sentence"]
    if kind == "mass":
        label = f"Take {grams(Decimal(told['mass']))} instead"
        return Offer(sentence, label, figures={"mass": told["mass"]})
    if kind == "strength":
        label = f"Plan at {percent(Decimal(told['strength']))}"
        return Offer(sentence, label, figures={"strength": told["strength"]})
    material = names[int(told["material"])]
    strength, mass = Decimal(told["strength"]), Decimal(told["mass"])
    asked = {"material": material, "mass": plain(mass)}
    if strength < 1:
        asked["strength"] = plain(strength * 100)
    if told.get("solvent"):
        asked["solvent"] = names[int(told["solvent"])]
    if kind == "make":
        return Offer(
            sentence,
            f"Make {grams(mass)} of it",
            address=f"{reverse('plan-stock')}?{urlencode(asked)}",
            steps=tuple(told.get("route") or ()),
        )
    return Offer(
        sentence, "Receive a bottle", address=f"{reverse('receive')}?{urlencode({'material': material})}"
    )
