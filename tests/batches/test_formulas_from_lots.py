"""What a lot contains, written as a formula: made again it contains the same."""

from decimal import Decimal

from batches.actions.formulas_from_lots import write_contents_as_formula
from batches.models import FormulaVersion
from inventory.models import Lot, LotContent
from studio.models import Member
from tests.pages import Visitor
from tests.workbench import Workbench


def contents(lot: Lot) -> dict[str, Decimal]:
    return dict(LotContent.objects.filter(lot=lot).values_list("material__name", "fraction"))


def composed(bench: Workbench) -> Lot:
    """A blend poured somewhat off its formula."""
    bench.balance(readability="0.0001")
    for told in ("linalool 200g", "vanillin 200g", "ethanol 2000g"):
        bench.bottle(told)
    bench.stock("linalool@10% 20g")
    batch = bench.plan(bench.formula("try", "linalool@10% 3", "vanillin 1", "ethanol 6", name="Try"), "10")
    bench.reserve(batch)
    for position, mass in enumerate(("3.1", "0.97", "6.02"), start=1):
        bench.weigh(batch, position, mass)
    return bench.close(batch, strength_decision="keep declared")


def test_the_next_version_is_what_went_in_and_made_again_contains_the_same(bench: Workbench) -> None:
    made = composed(bench)
    version = write_contents_as_formula(by=bench.by, now=bench.now, lot=made, code="try")
    lines = list(version.lines.order_by("position"))
    assert version.number == 2
    assert [line.material.name for line in lines] == ["vanillin", "linalool", "ethanol"]
    assert sum(line.parts for line in lines) == 1000
    assert made.number in version.note
    assert contents(bench.make(version, "1000")) == contents(made)


def test_a_new_code_starts_a_formula_by_page_and_by_api(bench: Workbench, owner: Member, api_of) -> None:
    made = composed(bench)
    address = f"/lots/{made.number}/"
    assert "Write as a formula" in Visitor(owner).text(address)
    told = Visitor(owner).send_and_follow(f"{address}formula/", name="Kept", code="", formula="", note="")
    assert "is version 1 of Kept" in told
    answer = api_of(owner).post(f"lots/{made.number}/formula/", {"code": "kept"})
    assert (answer.status_code, answer.json()["number"]) == (201, 2)
    assert FormulaVersion.objects.filter(formula__name="Kept").count() == 2
