"""Lines as they are typed and pasted: what they stand for, and every fault where it stands."""

from decimal import Decimal

import pytest
from django.http import QueryDict

from batches.calc.strength import FormulaLine
from batches.pages.formula_editor import rearranged
from batches.pages.pasted import read_pasted
from batches.pages.typed_lines import Reader, TypedRow, refused, typed_rows, while_typing
from inventory.models import Material

LINALOOL = Material(pk=1, name="linalool", kind="odorant")
ETHANOL = Material(pk=2, name="ethanol", kind="solvent")
HAY = Material(pk=3, name="Hay base", kind="base")
OF_HAY = [
    FormulaLine(1, 1, "linalool", Decimal(1), Decimal(1), None, is_solvent=False),
    FormulaLine(2, 2, "ethanol", Decimal(3), Decimal(1), None, is_solvent=True),
]


@pytest.fixture
def reader():
    return Reader([LINALOOL, ETHANOL, HAY], {HAY.pk: OF_HAY})


def read(reader, *cells):
    return reader.read(TypedRow("k", *cells))


def test_a_row_is_a_line(reader):
    line = read(reader, "Linalool", "10", "ethanol", "2.5").line
    assert (line.material, line.strength, line.solvent, line.parts) == (
        LINALOOL,
        Decimal("0.1"),
        ETHANOL,
        Decimal("2.5"),
    )


def test_an_empty_dilution_is_neat_and_of_a_base_its_own_strength(reader):
    assert read(reader, "linalool", "", "", "1").line.strength == 1
    assert read(reader, "hay base", "", "", "1").line.strength == Decimal("0.25")


@pytest.mark.parametrize(
    ("cells", "cell", "sentence"),
    [
        (("linalol", "", "", "1"), "material", "Did you mean linalool?"),
        (("linalool", "0", "", "1"), "dilution", "above 0 %"),
        (("linalool", "101", "ethanol", "1"), "dilution", "up to 100 %, not 101 %"),
        (("linalool", "1,5", "ethanol", "1"), "dilution", "Use a point"),
        (("linalool", "10", "", "1"), "solvent", "needs the solvent"),
        (("linalool", "10", "linalool", "1"), "solvent", "is not a solvent"),
        (("linalool", "", "ethanol", "1"), "solvent", "leave it out"),
        (("ethanol", "10", "", "1"), "dilution", "write it neat"),
        (("linalool", "", "", "0"), "parts", "more than zero"),
        (("linalool", "", "", "NaN"), "parts", "finite"),
        (("linalool", "", "", "1e15"), "parts", "hundred billion"),
        (("linalool", "", "", "0.0000001"), "parts", "six decimal places"),
    ],
)
def test_a_fault_is_told_at_its_cell(reader, cells, cell, sentence):
    found = read(reader, *cells)
    assert found.line is None
    assert sentence in " ".join(found.faults[cell])


def test_a_row_that_is_begun_is_no_fault_until_it_is_to_be_kept(reader):
    found = read(reader, "linalool", "", "", "")
    assert found.line is None
    assert found.incomplete
    assert not found.faults
    assert refused([found])[0].faults == {"parts": ["A line needs its parts."]}


def test_the_beginning_of_a_known_name_is_no_fault_while_it_is_typed(reader):
    found = [read(reader, "lin", "", "", "1"), read(reader, "xyz", "", "", "1")]
    assert [bool(one.faults) for one in while_typing(found, reader.known)] == [False, True]


def test_rows_keep_their_keys_and_get_one_when_they_have_none():
    form = QueryDict("key=a1&key=../x&key=a1&material=x&material=y&material=z&parts=1")
    rows = typed_rows(form)
    assert [row.material for row in rows] == ["x", "y", "z"]
    assert rows[0].key == "a1"
    assert len({row.key for row in rows}) == 3
    assert [row.parts for row in rows] == ["1", "", ""]


@pytest.mark.parametrize(
    ("doing", "after"),
    [("add", "abc+"), ("up:b", "bac"), ("down:b", "acb"), ("up:a", "abc"), ("away:b", "ac"), ("x", "abc")],
)
def test_rows_are_rearranged_one_step_at_a_time(doing, after):
    rows = [TypedRow(key) for key in "abc"]
    keys = "".join(row.key if len(row.key) == 1 else "+" for row in rearranged(rows, doing))
    assert keys == after


def pasted(reader, text):
    found = read_pasted(text, reader)
    return [line.read.line for line in found.lines], found.faults


def test_cells_from_a_spreadsheet_are_lines(reader):
    lines, faults = pasted(reader, "linalool\t10 %\tethanol\t2,5\r\nethanol\t\t\t7\r\n\r\n")
    assert faults == []
    assert [(line.material, line.strength, line.parts) for line in lines] == [
        (LINALOOL, Decimal("0.1"), Decimal("2.5")),
        (ETHANOL, 1, 7),
    ]


@pytest.mark.parametrize(
    ("dilution", "strength"),
    [("10 %", "0.1"), ("10%", "0.1"), ("0.1", "0.1"), ("0,1", "0.1"), ("100 %", "1"), ("1", "1"), ("neat", "1"),
     ("", "1"), ("1 %", "0.01"), ("1e-3", "0.001")],
)  # fmt: skip
def test_a_dilution_is_percent_with_its_sign_or_a_fraction(reader, dilution, strength):
    solvent = "" if Decimal(strength) == 1 else "ethanol"
    lines, faults = pasted(reader, f"linalool;{dilution};{solvent};1")
    assert faults == []
    assert lines[0].strength == Decimal(strength)


def test_a_first_line_may_name_the_columns_in_any_order(reader):
    lines, faults = pasted(reader, "Parts;Name;Dilution;In\n3;linalool;1 %;ethanol")
    assert faults == []
    assert (lines[0].parts, lines[0].strength) == (3, Decimal("0.01"))


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("linalool;10;ethanol;1", "Line 1, dilution: 10 may mean 10 %; write it with the % sign"),
        ("linalool;;;1,000", "Line 1, parts: “1,000” may mean thousands"),
        ("linalool;;;1.000,5", "Line 1, parts: The amount is not a number"),
        ("linalool;;;", "Line 1, parts: A line needs its parts."),
        ("linalool;10 %;1", "Line 1 has 3 cells"),
        ("x;;;1", "Line 1, material: There is no material “x” here."),
        ("linalool;10 %;;1", "Line 1, solvent: A dilution of linalool needs"),
        ("linalool 3", "Line 1 has 1 cells"),
    ],
)
def test_every_fault_names_its_line_and_column(reader, text, fault):
    _, faults = pasted(reader, text)
    assert len(faults) == 1
    assert faults[0].startswith(fault)


def test_a_bare_one_is_neat_and_says_so(reader):
    assert "read as neat" in read_pasted("linalool;1;;2", reader).lines[0].note


def test_a_text_that_is_too_long_is_not_read(reader):
    assert "501 lines" not in str(pasted(reader, "linalool;1\n" * 400)[1])
    assert "at most 500 lines" in pasted(reader, "linalool;1\n" * 600)[1][0]
    assert "characters" in pasted(reader, "x" * 200_000)[1][0]
