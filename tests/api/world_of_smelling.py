"""Smelling in the furnished studio: a strip with a note, words, a set that the owner smells and one the owner set up."""

from batches.actions.blind_smelling import set_up_blind
from batches.actions.smelling import Said, UnderCode, dip, note_smelling
from batches.actions.smelling_words import merge_words
from batches.models import BlindSet, SmellingWord
from inventory.models import Lot
from studio.models import Member
from tests.conftest import NOW


def furnish_smelling(owner: Member, maker: Member, names: dict[str, str]) -> None:
    """Each with the lots that operations on it name."""
    vial = Lot.objects.of(owner.studio).get(number=names["vial"])
    strip = dip(by=owner, now=NOW, into=vial, remind_minutes=[15])
    note = note_smelling(
        by=owner, now=NOW, on=strip.pk, said=Said(liking=7, words=["green", "herbal", "leafy"])
    )
    note_smelling(by=maker, now=NOW, on=vial, said=Said(text="like rain"))
    green, herbal, leafy = SmellingWord.objects.of(owner.studio).order_by("id")
    merge_words(by=owner, now=NOW, word_id=leafy.pk, into_id=herbal.pk)
    smelled = blind_set_of(maker, names)
    own = blind_set_of(owner, names)
    code = smelled.vials.order_by("code")[0].code
    under = UnderCode(set_id=smelled.pk, code=code)
    note_smelling(by=owner, now=NOW, on=under, said=Said(liking=3))
    names |= {
        "smelling": str(note.pk),
        "strip": str(strip.pk),
        "word": str(green.pk),
        "into": str(herbal.pk),
        "member": str(owner.pk),
        "set_id": str(smelled.pk),
        "blind_set": str(smelled.pk),
        "own set": str(own.pk),
        "code on a vial": str(code),
    }


def blind_set_of(by: Member, names: dict[str, str]) -> BlindSet:
    """The furnished lots under codes."""
    lots = [Lot.objects.of(by.studio).get(number=names[name]) for name in ("lot", "stock", "vial")]
    return set_up_blind(by=by, now=NOW, title="Afternoon", lots=lots)
