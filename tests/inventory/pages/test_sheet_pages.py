"""Materials and bottles from sheets: tried, refused with every fault, taken."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from inventory.models import Lot, Material
from tests.pages import Visitor, text

pytestmark = pytest.mark.django_db
MATERIALS = "name,kind,cas,hazards\nlinalool,,78-70-6,H315 H317\nethanol,solvent,64-17-5,H225\n"
BOTTLES = "material;mass;strength;solvent\nlinalool;10;;\nLinalool;5;0.1;ethanol\n"


@pytest.fixture
def visitor(owner):
    return Visitor(owner)


def sheet(content):
    return SimpleUploadedFile("sheet.csv", content.encode(), content_type="text/csv")


def test_a_sheet_is_tried_without_writing_and_then_taken(visitor, owner):
    tried = visitor.send("/materials/import/", sheet=sheet(MATERIALS), **{"try": "yes"})
    assert tried.status_code == 200
    assert "would be taken: 2 materials" in text(tried)
    assert not Material.objects.of(owner.studio).exists()
    page = visitor.send_and_follow("/materials/import/", sheet=sheet(MATERIALS))
    assert "2 materials are taken" in page
    assert "H315 H317" in page


def test_bottles_go_by_the_names_of_their_materials(visitor, owner):
    visitor.send("/materials/import/", sheet=sheet(MATERIALS))
    assert "2 bottles are taken" in visitor.send_and_follow("/shelf/import/", sheet=sheet(BOTTLES))
    strengths = Lot.objects.of(owner.studio).order_by("id").values_list("declared_strength", flat=True)
    assert [float(one) for one in strengths] == [1.0, 0.1]


def test_every_fault_of_a_sheet_is_named_with_its_line_and_nothing_is_taken(visitor, owner):
    visitor.send("/materials/import/", sheet=sheet(MATERIALS))
    wrong = "material,mass,strength\nlinalool,x,\nnothing,5,\nlinalool,5,7\n"
    answer = visitor.send("/shelf/import/", sheet=sheet(wrong))
    assert answer.status_code == 422
    for place in ("Line 2, column mass", "Line 3, column material", "Line 4, column strength"):
        assert place in text(answer)
    assert not Lot.objects.of(owner.studio).exists()


@pytest.mark.parametrize("content", ["", "name\n", "other\nx\n", "name\n\0\n"])
def test_what_is_no_sheet_is_refused_in_words(visitor, content):
    assert visitor.send("/materials/import/", sheet=sheet(content)).status_code == 422
