"""Writing formulas: versions fixed by making them, cycles refused with their path, adopting a version as a base."""

from decimal import Decimal
from typing import Any

import pytest

from batches.actions.formulas import (
    AlreadyAdopted,
    FormulaCodeTaken,
    FormulaCycle,
    NothingToAdopt,
    WrittenFormula,
    WrittenLine,
    adopt_as_base,
    import_formulas,
    rewrite_version,
    write_formula,
    write_next_version,
)
from batches.models import BatchKind, Formula, FormulaLine, FormulaVersion
from batches.queries.formulas import line_differences
from inventory.models import LotKind, Material, MaterialKind
from studio.kernel.errors import Invalid, StaleEdition
from tests.workbench import Workbench, assert_everything_holds

D = Decimal


def lines(version: FormulaVersion) -> list[tuple[str, Decimal, Decimal]]:
    rows = version.lines.order_by("position")
    return list(rows.values_list("material__name", "strength", "parts"))


def rewrite(bench: Workbench, version: FormulaVersion, *texts: str, **details: Any) -> FormulaVersion:
    written = [bench.line(text) for text in texts]
    return rewrite_version(by=bench.by, now=bench.now, version=version, lines=written, **details)


def adopt(bench: Workbench, version: FormulaVersion, name: str = "") -> Material:
    base = adopt_as_base(by=bench.by, now=bench.now, version=version, name=name)
    bench.materials[base.name] = base
    return base


# Versions


def test_a_formula_starts_with_version_one_and_its_lines_in_order(bench: Workbench) -> None:
    version = bench.formula("accord", "linalool@10% 3", "vanillin 2", "ethanol 5")
    assert version.number == 1
    assert lines(version) == [("linalool", D("0.1"), 3), ("vanillin", 1, 2), ("ethanol", 1, 5)]


def test_a_version_not_made_yet_is_rewritten_in_place(bench: Workbench) -> None:
    version = bench.formula("accord", "linalool 3", "vanillin 2")
    again = rewrite(bench, version, "linalool 4")
    assert (again.pk, again.number) == (version.pk, 1)
    assert lines(again) == [("linalool", 1, 4)]


def test_a_version_is_fixed_when_a_batch_of_it_is_planned_and_editing_it_starts_the_next(
    bench: Workbench,
) -> None:
    bench.bottle("linalool 10g")
    version = bench.formula("accord", "linalool 3")
    bench.plan(version, "1")
    following = rewrite(bench, version, "linalool 3", "vanillin 1")
    assert (following.number, following.pk) == (2, version.pk + 1)
    version.refresh_from_db()
    assert version.fixed_at == bench.now
    assert lines(version) == [("linalool", 1, 3)]
    assert lines(following) == [("linalool", 1, 3), ("vanillin", 1, 1)]


def test_the_next_version_may_be_started_at_any_time(bench: Workbench) -> None:
    version = bench.formula("accord", "linalool 3")
    following = write_next_version(
        by=bench.by, now=bench.now, formula=version.formula, lines=[bench.line("vanillin 1")]
    )
    assert following.number == 2
    assert lines(version) == [("linalool", 1, 3)]


def test_a_version_changed_since_it_was_read_is_not_rewritten(bench: Workbench) -> None:
    version = bench.formula("accord", "linalool 3")
    rewrite(bench, version, "linalool 4", expected=1)
    with pytest.raises(StaleEdition):
        rewrite(bench, version, "linalool 5", expected=1)


def test_two_versions_differ_line_by_line(bench: Workbench) -> None:
    before = bench.formula("accord", "linalool 3", "vanillin@10% 2", "indole 1", "ethanol 4")
    after = bench.formula("accord-2", "vanillin@1% 2", "linalool 4", "indole 1", "ethanol 3")
    told = [
        (one.name, one.strength, one.before, one.after, one.change)
        for one in line_differences(
            list(before.lines.order_by("position")), list(after.lines.order_by("position"))
        )
    ]
    assert told == [
        ("vanillin", D("0.01"), None, 2, "added"),
        ("linalool", 1, 3, 4, "more"),
        ("indole", 1, 1, 1, "kept"),
        ("ethanol", 1, 4, 3, "less"),
        ("vanillin", D("0.1"), 2, None, "dropped"),
    ]


# Lines


def test_every_fault_of_every_line_is_told_at_once(bench: Workbench) -> None:
    linalool, ethanol = bench.material("linalool"), bench.material("ethanol")
    wrong = [
        WrittenLine(linalool, D(1), D("0.1")),
        WrittenLine(linalool, D(1), D(1), ethanol),
        WrittenLine(linalool, D(1), D("0.1"), linalool),
        WrittenLine(ethanol, D(1), D("0.5")),
        WrittenLine(linalool, D(1)),
    ]
    with pytest.raises(Invalid) as refusal:
        write_formula(by=bench.by, now=bench.now, code="wrong", name="wrong", lines=wrong)
    assert set(refusal.value.errors) == {
        "lines.0.solvent",
        "lines.1.solvent",
        "lines.2.solvent",
        "lines.3.strength",
    }
    assert not Formula.objects.of(bench.by.studio).exists()


@pytest.mark.parametrize("count", [0, 501])
def test_a_formula_has_one_to_five_hundred_lines(bench: Workbench, count: int) -> None:
    with pytest.raises(Invalid):
        bench.formula("odd", *["linalool 1"] * count)


def test_a_code_is_taken_once(bench: Workbench) -> None:
    bench.formula("accord", "linalool 3")
    with pytest.raises(FormulaCodeTaken):
        bench.formula("accord", "vanillin 3")


def test_formulas_of_a_sheet_are_written_all_or_none(bench: Workbench) -> None:
    bench.formula("known", "linalool 1")
    good = WrittenFormula("fresh", "Fresh", [bench.line("linalool 2")])
    more = WrittenFormula("known", "Known", [bench.line("vanillin 2")])
    bad = WrittenFormula("bad", "Bad", [])
    with pytest.raises(Invalid):
        import_formulas(by=bench.by, now=bench.now, formulas=[good, more, bad])
    assert list(FormulaVersion.objects.of(bench.by.studio).values_list("formula__code", "number")) == [
        ("known", 1)
    ]
    written = import_formulas(by=bench.by, now=bench.now, formulas=[good, more])
    assert [(version.formula.code, version.number) for version, _ in written] == [("fresh", 1), ("known", 2)]


# Bases


def test_an_adopted_version_has_a_material_of_its_own_and_is_fixed(bench: Workbench) -> None:
    version = bench.formula("rose", "geraniol 2", "citronellol 1", name="Rose")
    base = adopt(bench, version)
    version.refresh_from_db()
    version.formula.refresh_from_db()
    assert (base.name, base.kind) == ("Rose", MaterialKind.BASE)
    assert (version.fixed_at, version.formula.base, version.formula.adopted) == (bench.now, base, version)
    assert rewrite(bench, version, "geraniol 1").number == 2


def test_a_batch_of_the_adopted_version_makes_a_lot_of_the_base(bench: Workbench) -> None:
    bench.bottle("geraniol 100g")
    bench.bottle("ethanol 100g")
    version = bench.formula("rose", "geraniol 1", "ethanol 1")
    base = adopt(bench, version)
    lot = bench.make(version, "10")
    assert (lot.kind, lot.material, lot.made_in[:4]) == (LotKind.BASE, base, "B26-")
    assert lot.actual_strength == D("0.5")
    assert version.batches.get().kind == BatchKind.BASE


def test_a_base_made_is_used_like_a_material_and_known_by_what_is_in_it(bench: Workbench) -> None:
    bench.bottle("geraniol 100g")
    bench.bottle("ethanol 100g")
    bench.bottle("linalool 100g")
    version = bench.formula("rose", "geraniol 1", "ethanol 1")
    base = adopt(bench, version)
    bench.make(version, "10")
    written = [WrittenLine(base, D(2), D("0.5")), bench.line("linalool 1"), bench.line("ethanol 1")]
    blend = bench.make(
        write_formula(by=bench.by, now=bench.now, code="bouquet", name="Bouquet", lines=written), "4"
    )
    fractions = dict(blend.contents.values_list("material__name", "fraction"))
    assert fractions == {"geraniol": D("0.25"), "linalool": D("0.25"), "ethanol": D("0.5")}
    assert blend.actual_strength == D("0.5")
    assert_everything_holds()


def test_a_formula_is_adopted_once(bench: Workbench) -> None:
    version = bench.formula("rose", "geraniol 2")
    adopt(bench, version)
    following = rewrite(bench, version, "geraniol 1", "linalool 1")
    with pytest.raises(AlreadyAdopted, match="version 1"):
        adopt(bench, following)


def test_solvents_alone_are_no_base(bench: Workbench) -> None:
    with pytest.raises(NothingToAdopt):
        adopt(bench, bench.formula("thinner", "ethanol 2", "water 1"))
    assert FormulaVersion.objects.of(bench.by.studio).get().fixed_at is None


def test_a_base_needs_a_name_of_its_own(bench: Workbench) -> None:
    bench.material("geraniol")
    version = bench.formula("rose", "geraniol 2", name="Geraniol")
    with pytest.raises(Invalid) as refusal:
        adopt(bench, version)
    assert set(refusal.value.errors) == {"name"}
    assert adopt(bench, version, name="Rose").name == "Rose"


# Cycles


def nested_bases(bench: Workbench, *names: str) -> list[FormulaVersion]:
    """Bases of which each contains the one before it."""
    versions: list[FormulaVersion] = []
    for name in names:
        inside = [WrittenLine(bench.materials[names[len(versions) - 1]], D(1))] if versions else []
        written = [bench.line("linalool 1"), *inside]
        version = write_formula(by=bench.by, now=bench.now, code=name.lower(), name=name, lines=written)
        adopt(bench, version)
        versions.append(version)
    return versions


def test_a_base_cannot_contain_itself(bench: Workbench) -> None:
    [version] = nested_bases(bench, "Rose")
    with pytest.raises(FormulaCycle) as refusal:
        rewrite_version(
            by=bench.by,
            now=bench.now,
            version=version,
            lines=[WrittenLine(bench.materials["Rose"], D(1))],
        )
    assert refusal.value.extra["path"] == ["Rose", "Rose"]


def test_nor_can_it_through_other_bases_and_the_way_around_is_told(bench: Workbench) -> None:
    first, *_ = nested_bases(bench, "Rose", "Bouquet", "Garden")
    with pytest.raises(FormulaCycle, match="Rose → Garden → Bouquet → Rose") as refusal:
        rewrite_version(
            by=bench.by,
            now=bench.now,
            version=first,
            lines=[WrittenLine(bench.materials["Garden"], D(1))],
        )
    assert refusal.value.extra["path"] == ["Rose", "Garden", "Bouquet", "Rose"]
    assert first.formula.versions.count() == 1
    assert not FormulaLine.objects.filter(version=first, material=bench.materials["Garden"]).exists()


def test_a_version_that_is_still_free_cannot_be_rewritten_into_a_circle_either(bench: Workbench) -> None:
    first, *_ = nested_bases(bench, "Rose", "Bouquet")
    free = rewrite(bench, first, "linalool 2")
    assert free.number == 2
    with pytest.raises(FormulaCycle) as refusal:
        rewrite_version(
            by=bench.by, now=bench.now, version=free, lines=[WrittenLine(bench.materials["Bouquet"], D(1))]
        )
    assert refusal.value.extra["path"] == ["Rose", "Bouquet", "Rose"]
    assert lines(free) == [("linalool", 1, 2)]


def test_the_shortest_way_around_is_told(bench: Workbench) -> None:
    first, *_ = nested_bases(bench, "Rose", "Bouquet", "Garden")
    inside = [WrittenLine(bench.materials[name], D(1)) for name in ("Garden", "Bouquet")]
    with pytest.raises(FormulaCycle) as refusal:
        write_next_version(by=bench.by, now=bench.now, formula=first.formula, lines=inside)
    assert refusal.value.extra["path"] == ["Rose", "Bouquet", "Rose"]


def test_what_only_looks_like_a_cycle_is_none(bench: Workbench) -> None:
    """Garden holds Rose twice over, by itself and by Bouquet; nothing holds itself."""
    nested_bases(bench, "Rose", "Bouquet")
    inside = [WrittenLine(bench.materials[name], D(1)) for name in ("Bouquet", "Rose")]
    version = write_formula(by=bench.by, now=bench.now, code="garden", name="Garden", lines=inside)
    adopt(bench, version)
    following = write_next_version(by=bench.by, now=bench.now, formula=version.formula, lines=inside)
    assert following.number == 2


def test_a_base_written_without_a_dilution_stands_at_its_own_strength(bench: Any, api: Any) -> None:
    version = bench.formula("heart", "linalool@10% 3", "ethanol 7")
    base = adopt_as_base(by=bench.by, now=bench.now, version=version)
    lines = [
        {"material": str(base.id), "parts": "5"},
        {"material": str(bench.material("ethanol").id), "parts": "5"},
    ]
    written = api.post("formulas/", {"code": "veil", "name": "Veil", "lines": lines}).json()
    assert written["lines"][0]["strength"] == "0.03"
