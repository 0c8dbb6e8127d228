"""Formulas on their pages: the figures of the API, the rules of the actions, and a fixed number of statements."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from batches.models import Formula, FormulaVersion
from inventory.models import Material
from studio.pages.tags import percent

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(owner):
    return signed_in(owner)


def signed_in(member):
    client = Client()
    client.force_login(member.person)
    return client


def text(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("\u00a0", " ").split())


def written(*lines, **more):
    """What the editor sends: each line as "material dilution solvent parts", a dash for an empty cell."""
    cells = [[cell if cell != "-" else "" for cell in line.split()] for line in lines]
    columns = zip(*cells, strict=True)
    names = ("material", "dilution", "solvent", "parts")
    form = {name: list(column) for name, column in zip(names, columns, strict=True)}
    return {"key": [f"k{place}" for place in range(len(lines))], **form, "do": "save", **more}


@pytest.fixture
def meadow(bench):
    bench.bottle("linalool 100g", price=Decimal(14))
    bench.bottle("linalool@10%/ethanol 50g")
    bench.bottle("ethanol 900g", price=Decimal(18))
    bench.bottle("vanillin 50g")
    return bench.formula("meadow", "linalool@1%/ethanol 30", "vanillin 3", "ethanol 7", name="Meadow")


def test_strength_ceiling_and_shares_are_those_of_the_api_to_the_last_digit(browser, meadow, api):
    told = api.get("formulas/meadow/versions/1/strength/").json()
    page = browser.get("/formulas/meadow/").content.decode()
    live = browser.post(
        "/formula-figures/", written("linalool 1 ethanol 30", "vanillin - - 3", "ethanol - - 7")
    )
    for shown in (page, live.content.decode()):
        assert percent(Decimal(told["strength"])) in shown
        assert percent(Decimal(told["ceiling"])) in shown
        for line in told["lines"]:
            if line["name"] != "ethanol":
                assert f'<data value="{line["odorant_share"]}">' in shown
        for swap in told["swaps"]:
            assert swap["sentence"] in shown


def test_cost_and_what_it_rests_on_are_told(browser, meadow):
    page = text(browser.get("/formulas/meadow/"))
    # 100 g hold 75 g of linalool at 1 % (0.75 g neat at 0.14 and 74.25 g of ethanol at 0.02), and 17.5 g of ethanol.
    assert "Cost of 100.000 g at least 1.94 EUR" in page
    assert "No price is known of vanillin." in page
    assert "linalool: neat lot" in page
    assert "the solvent’s lot" in page


def test_cautions_are_shown_with_the_words_that_defer(browser, bench):
    bench.material("citral", hazards=["H317"])
    bench.formula("sharp", "citral 1", "ethanol 1")
    page = text(browser.get("/formulas/sharp/"))
    assert "H317" in page
    assert "not a safety assessment; local rules and a qualified assessor decide" in page


def test_the_cautions_of_a_base_are_those_of_what_is_in_it(browser, bench):
    from batches.actions.formulas import adopt_as_base

    bench.material("citral", hazards=["H317"])
    version = bench.formula("sharp", "citral 1", "ethanol 1")
    bench.materials["base"] = adopt_as_base(by=bench.by, now=bench.now, version=version, name="base")
    assert "H317" in text(browser.post("/formula-figures/", written("base - - 1", "ethanol - - 3")))
    assert "H317" not in text(browser.post("/formula-figures/", written("base 0.01 ethanol 1")))


def test_a_formula_of_solvents_alone_is_shown_without_a_strength(browser, bench):
    bench.formula("thin", "ethanol 1", "water 1")
    assert "only solvents in it" in text(browser.get("/formulas/thin/"))


def test_writing_a_formula_leads_to_its_page(browser, meadow, owner):
    form = written("linalool 10 ethanol 3", "- - - -", "ethanol - - 7", name="Über den Wiesen")
    answer = browser.post("/formula-new/", form)
    assert answer["Location"] == "/formulas/uber-den-wiesen/1/"
    lines = FormulaVersion.objects.get(formula__code="uber-den-wiesen").lines.order_by("position")
    assert [(line.material.name, line.strength, line.parts) for line in lines] == [
        ("linalool", Decimal("0.1"), 3),
        ("ethanol", 1, 7),
    ]


@pytest.mark.parametrize(
    ("form", "sentence"),
    [
        (written("linalool 10 - 3", name="New"), "A dilution of linalool needs the solvent it is in."),
        (written("linalol - - 3", name="New"), "Did you mean linalool?"),
        (written("linalool - - -", name="New"), "A line needs its parts."),
        (written("- - - -", name="New"), "A formula needs at least one line."),
        (written("linalool - - 3", name="New", code="meadow"), "There is already a formula “meadow”."),
        (written("linalool - - 3", name="New", code="a/b"), "A code has only letters"),
        (written("linalool - - 3", name="木"), "give one"),
    ],
)
def test_what_cannot_be_kept_is_said_and_nothing_is_lost(browser, meadow, form, sentence):
    answer = browser.post("/formula-new/", form)
    assert answer.status_code == 422
    assert sentence in text(answer)
    for name in form["material"]:
        if name:
            assert f'value="{name}"' in answer.content.decode()
    assert Formula.objects.count() == 1


def test_a_formula_of_five_hundred_lines_is_sent_as_one_form(browser, meadow):
    lines = ["linalool 10 ethanol 3"] * 500
    assert browser.post("/formula-new/", written(*lines, name="Long")).status_code == 303
    assert FormulaVersion.objects.get(formula__code="long").lines.count() == 500
    answer = browser.post("/formula-new/", written(*lines, "ethanol - - 1", name="Longer"))
    assert answer.status_code == 422
    assert "at most 500 lines" in text(answer)


def test_a_version_nobody_made_is_rewritten_and_one_that_was_made_starts_the_next(browser, meadow, bench):
    page = browser.get("/formulas/meadow/1/edit/").content.decode()
    [edition] = re.findall(r'name="edition" value="(\d+)"', page)
    form = written("linalool 10 ethanol 3", "ethanol - - 7", edition=edition)
    assert browser.post("/formulas/meadow/1/edit/", form)["Location"] == "/formulas/meadow/1/"
    again = browser.post("/formulas/meadow/1/edit/", {**form, "parts": ["4", "7"]})
    assert again.status_code == 422
    assert "Version 1 was changed" in text(again) or "meantime" in text(again)
    meadow.refresh_from_db()
    bench.plan(meadow, "10")
    assert "so it never changes" in text(browser.get("/formulas/meadow/1/edit/"))
    form = written("linalool 10 ethanol 5", "ethanol - - 7", do="next")
    assert browser.post("/formulas/meadow/1/edit/", form)["Location"] == "/formulas/meadow/2/"
    assert [line.parts for line in meadow.lines.order_by("position")] == [3, 7]


def test_a_base_inside_itself_is_refused_with_the_way(browser, meadow, bench):
    from batches.actions.formulas import adopt_as_base

    adopt_as_base(by=bench.by, now=bench.now, version=meadow, name="Meadow base")
    form = written("X - - 1", do="next")
    form["material"] = ["Meadow base"]
    answer = browser.post("/formulas/meadow/1/edit/", form)
    assert answer.status_code == 422
    assert "Meadow base would contain itself: Meadow base → Meadow base." in text(answer)


def test_a_step_of_the_form_keeps_everything_and_writes_nothing(browser, meadow):
    form = written("linalool 10 ethanol 3", "vanillin - - 1", name="", do="up:k1")
    answer = browser.post("/formula-new/", form)
    assert answer.status_code == 200
    assert re.findall(r'name="material" value="(\w*)"', answer.content.decode())[:2] == [
        "vanillin",
        "linalool",
    ]
    assert "aria-invalid" not in answer.content.decode()
    assert Formula.objects.count() == 1


def test_pasted_lines_are_added_or_put_in_place_of_the_others(browser, meadow):
    form = written("vanillin - - 1", pasted="linalool;10 %;ethanol;3\nethanol;;;7")
    names = {}
    for doing in ("paste", "paste-over"):
        answer = browser.post("/formula-new/", {**form, "do": doing}).content.decode()
        names[doing] = [name for name in re.findall(r'name="material" value="(\w*)"', answer) if name]
    assert names == {"paste": ["vanillin", "linalool", "ethanol"], "paste-over": ["linalool", "ethanol"]}


def test_two_versions_stand_side_by_side(browser, meadow, bench, api):
    from batches.actions.formulas import write_next_version

    first = text(browser.get("/formulas/meadow/compare/"))
    assert "There is nothing before version 1: all of its lines are new." in first
    assert "linalool 1 % in ethanol 30 9.091 % added" in first
    lines = [bench.line(told) for told in ("linalool@1%/ethanol 20", "ethanol 7", "citral 1")]
    write_next_version(by=bench.by, now=bench.now, formula=meadow.formula, lines=lines)
    page = text(browser.get("/formulas/meadow/compare/"))
    assert "linalool 1 % in ethanol 30 9.091 % 20 16.667 % less parts" in page
    assert "citral neat 1 83.333 % added" in page
    assert "vanillin neat 3 90.909 % dropped" in page
    told = [api.get(f"formulas/meadow/versions/{number}/strength/").json() for number in (1, 2)]
    for one in told:
        assert percent(Decimal(one["strength"])).replace("\u00a0", " ") in page
    part = browser.get("/formulas/meadow/compare/?before=2&after=1", headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert "linalool 1 % in ethanol 20 16.667 % 30 9.091 % more parts" in text(part)


def test_adopting_makes_a_material_and_is_done_once(browser, meadow, owner):
    answer = browser.post("/formulas/meadow/1/adopt/", {"name": "Meadow base"})
    assert answer["Location"] == "/formulas/meadow/"
    assert Material.objects.get(studio=owner.studio, name="Meadow base").kind == "base"
    again = browser.post("/formulas/meadow/1/adopt/", {"name": "Another"})
    assert again.status_code == 422
    assert "already a base" in text(again)


def test_a_sheet_is_tried_and_then_taken(browser, meadow, api):
    from django.core.files.uploadedfile import SimpleUploadedFile

    def sheet(content, **more):
        return browser.post("/formula-import/", {"sheet": SimpleUploadedFile("f.csv", content), **more})

    exported = b"".join(api.get("formulas/?format=csv").streaming_content)
    assert "says the same already" in text(sheet(exported, **{"try": "yes"}))
    rows = (
        b"formula,name,material,strength,solvent,parts\nrain,Rain,linalool,0.1,ethanol,3\nrain,,ethanol,,,7\n"
    )
    assert "Rain, version 1" in text(sheet(rows, **{"try": "yes"}))
    assert not Formula.objects.filter(code="rain").exists()
    assert sheet(rows).status_code == 303
    assert Formula.objects.get(code="rain").name == "Rain"
    wrong = sheet(b"formula,material,strength,parts\nx,linalol,,1\nx,linalool,0.1,1,\n")
    assert wrong.status_code == 422
    wrong = sheet(b"formula,material,strength,parts\nx,linalool,,1\nx,linalool,0.1,1\n")
    assert "Line 3, column solvent: A dilution of linalool needs the solvent it is in." in text(wrong)


@pytest.mark.parametrize(
    "path", ["formulas/meadow/", "formulas/meadow/1/", "formulas/meadow/compare/", "formulas/meadow/1/edit/"]
)
def test_the_formula_of_another_studio_is_not_there(meadow, stranger, path):
    assert signed_in(stranger).get(f"/{path}").status_code == 404


def test_a_reader_sees_formulas_and_writes_none(meadow, reader):
    browser = signed_in(reader)
    page = text(browser.get("/formulas/meadow/"))
    assert "Plan a batch" not in page
    for path in (
        "/formula-new/",
        "/formulas/meadow/1/edit/",
        "/formula-import/",
        "/formulas/meadow/1/adopt/",
    ):
        assert browser.get(path).status_code == 403
    assert browser.post("/formula-new/", written("linalool - - 3", name="New")).status_code == 403


def statements(browser, path, data=None):
    with CaptureQueriesContext(connection) as counted:
        answer = browser.get(path) if data is None else browser.post(path, data)
    assert answer.status_code == 200
    return len(counted)


def test_the_number_of_statements_does_not_grow_with_the_lines(browser, bench):
    sizes = {2: "small", 14: "large"}
    for count, code in sizes.items():
        texts = [f"odorant-{letter}@10%/ethanol 1" for letter in "abcdefghijklmn"[:count]]
        for told in texts:
            bench.bottle(told.replace("@10%/ethanol 1", " 20g"))
        bench.formula(code, *texts, "ethanol 5")
    browser.get("/formulas/")
    counts = {
        code: [
            statements(browser, f"/formulas/{code}/"),
            statements(browser, f"/formulas/{code}/1/edit/"),
            statements(browser, f"/formulas/{code}/compare/"),
            statements(
                browser,
                "/formula-figures/",
                written(*(f"odorant-{letter} 10 ethanol 1" for letter in "abcdefghijklmn"[:count])),
            ),
            statements(browser, f"/batches/plan/?formula={code}"),
        ]
        for count, code in sizes.items()
    }
    assert counts["small"] == counts["large"]
    assert counts["large"] == COUNTS


COUNTS = [12, 11, 5, 9, 7]
"""Statements of the page of a formula, its editor, the comparison, the live figures, and the form of a plan."""
