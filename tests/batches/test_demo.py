"""The demo studio: filled once by the actions that the API uses, whole, sound, and open to whoever started it."""

import json
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from tests.client import Api

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo"


@dataclass(frozen=True)
class Demo:
    """What `manage.py demo` printed when it filled the studio, where it keeps it, and the studio."""

    lines: list[str]
    kept: Path
    studio: Any
    filled_at: datetime

    @property
    def sign_in(self) -> dict[str, str]:
        return json.loads(self.lines[-1])

    @property
    def api(self) -> Api:
        return Api(self.sign_in["key"])

    def batch(self, formula: str, state: str) -> Any:
        from batches.models import Batch

        return Batch.objects.of(self.studio).get(version__formula__code=formula, state=state)


@pytest.fixture(scope="module")
def demo(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Demo]:
    """The studio, filled once for all tests of this module and rolled back after them."""
    from django.conf import settings
    from django.db import transaction

    with pytest.MonkeyPatch.context() as patch, django_db_blocker.unblock(), transaction.atomic():
        patch.setattr(settings, "DATA_DIR", tmp_path_factory.mktemp("demo"))
        patch.setattr(settings, "ORIGIN", "http://stillroom.test")
        lines = run()
        from studio.models import Studio

        studio = Studio.objects.get(members__person__email=json.loads(lines[-1])["email"])
        yield Demo(lines, settings.DATA_DIR / "demo.json", studio, datetime.now(UTC))
        transaction.set_rollback(True)


@pytest.fixture
def undone(demo: Demo) -> Iterator[None]:
    """What the test does to the studio and to the kept sign-in is taken back after it."""
    from django.db import transaction

    kept = demo.kept.read_bytes()
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
    demo.kept.write_bytes(kept)


def run() -> list[str]:
    from django.core.management import call_command

    out = StringIO()
    call_command("demo", stdout=out)
    return out.getvalue().splitlines()


def every_row() -> dict[str, list[dict[str, Any]]]:
    from django.apps import apps

    return {
        model._meta.label: list(model._default_manager.order_by("pk").values())
        for floor in ("studio", "inventory", "batches")
        for model in apps.get_app_config(floor).get_models()
    }


def test_everything_that_verify_proves_holds(demo: Demo) -> None:
    from tests.workbench import assert_everything_holds

    assert_everything_holds()


def test_it_is_a_studio_of_the_size_that_is_promised(demo: Demo) -> None:
    from inventory.models import Lot, Material

    kinds = [lot.kind for lot in Lot.objects.of(demo.studio)]
    assert demo.studio.members.count() == 2
    assert 60 <= Material.objects.of(demo.studio).count() <= 70
    assert kinds.count("bottle") == 80
    assert kinds.count("stock") == 70
    assert kinds.count("vial") >= 5


def test_four_formulas_stand_there_and_one_uses_the_base_that_another_is(demo: Demo) -> None:
    from batches.models import Formula, FormulaLine

    formulas = Formula.objects.of(demo.studio)
    base = formulas.get(base__isnull=False)
    users = FormulaLine.objects.filter(material=base.base).values_list("version__formula__code", flat=True)
    assert formulas.count() == 4
    assert set(users) == {"linen"}


def test_there_are_batches_in_every_state(demo: Demo) -> None:
    from batches.models import Batch, BatchState

    assert {batch.state for batch in Batch.objects.of(demo.studio)} == set(BatchState.values)


def test_a_grid_of_five_by_two_is_made_with_one_vial_made_anew(demo: Demo) -> None:
    from batches.models import BatchKind, BatchState, GridCell

    cells = GridCell.objects.filter(batch__studio=demo.studio, batch__kind=BatchKind.GRID)
    assert cells.filter(made__isnull=False, batch__state=BatchState.CLOSED).count() == 10
    assert cells.filter(left_out_at__isnull=False).count() == 1


def test_the_hedge_waits_at_ten_percent_which_its_stocks_as_written_cannot_reach(demo: Demo) -> None:
    batch = demo.batch("hedge", "reserved")
    assert str(batch.strength) == "0.100000000"
    swapped = {
        line.material.name
        for line in batch.lines.select_related("material", "lot", "formula_line")
        if line.formula_line and line.lot.declared_strength > line.formula_line.strength
    }
    assert swapped == {"cis-3-hexen-1-ol", "beta-damascone"}


def test_a_base_is_made_and_is_part_of_what_another_batch_made(demo: Demo) -> None:
    made = demo.batch("linen", "closed").made
    behind = demo.api.get(f"lots/{made.number}/trace/").json()["lots"]
    assert {"base", "stock", "bottle"} <= {lot["kind"] for lot in behind}


def test_a_stock_that_was_made_from_another_traces_back_to_it(demo: Demo) -> None:
    from inventory.models import Lot
    from inventory.queries.trace import trace_lot

    stock = Lot.objects.of(demo.studio).get(
        material__name="geosmin", declared_strength="0.0001", kind="stock"
    )
    behind = [traced.lot for traced in trace_lot(lot=stock, direction="back").lots]
    assert [lot.kind for lot in behind if "geosmin" in lot.title] == ["stock", "bottle"]


def test_a_vial_traces_back_to_bottles_whose_masses_make_it_up(demo: Demo) -> None:
    from decimal import Decimal

    from inventory.models import Lot

    vial = Lot.objects.of(demo.studio).get(title="Sunday linen, for the strip")
    behind = demo.api.get(f"lots/{vial.number}/trace/").json()["lots"]
    total = sum(Decimal(lot["mass"]) for lot in behind if lot["kind"] == "bottle")
    assert abs(total - vial.made_mass) < Decimal("0.0001")


def test_a_struck_weighing_stands_in_the_sealed_record_with_its_reason(demo: Demo) -> None:
    number = demo.batch("linen", "closed").number
    record = json.loads(demo.api.get(f"batches/{number}/record/").json()["text"])["record"]
    struck = [w for line in record["lines"] for w in line["weighings"] if w["struck_at"]]
    assert [(weighing["mass"], weighing["struck_by"]) for weighing in struck] == [
        ("4.007000", "Tobias Reeve")
    ]
    assert "Decimal point" in struck[0]["struck_because"]


def test_an_overpour_was_answered_by_a_larger_batch(demo: Demo) -> None:
    batch = demo.batch("hedge", "closed")
    assert batch.made.made_mass > batch.mass
    assert any(line.target > line.planned for line in batch.lines.all())


def test_what_evaporated_is_stronger_and_what_was_spilled_is_not(demo: Demo) -> None:
    from inventory.models import Movement

    gone = {
        movement.reason: movement.source
        for movement in Movement.objects.of(demo.studio)
        .filter(reason__in=["evaporated", "counted down"])
        .select_related("source")
    }
    assert gone["evaporated"].actual_strength > gone["evaporated"].declared_strength
    assert abs(gone["counted down"].actual_strength / gone["counted down"].declared_strength - 1) < 0.01


def test_one_bottle_is_on_hold(demo: Demo) -> None:
    from inventory.models import Lot

    [held] = Lot.objects.of(demo.studio).exclude(held_at=None)
    assert held.kind == "bottle"
    assert "atranol" in held.hold_reason


def test_only_what_is_meant_to_be_expired_is(demo: Demo) -> None:
    from inventory.models import Lot

    open_lots = Lot.objects.of(demo.studio).open()
    expired = open_lots.filter(expires_on__lt=demo.filled_at.date())
    assert sorted((lot.kind, lot.material.name) for lot in expired) == [
        ("bottle", "d-limonene"),
        ("stock", "benzaldehyde"),
    ]


def test_nothing_happened_in_the_future_and_nothing_expired_before_it_was_made(demo: Demo) -> None:
    from django.apps import apps
    from django.db.models import DateTimeField

    from inventory.models import Lot

    now = datetime.now(UTC)
    late = [
        f"{model._meta.label}.{field.name}"
        for floor in ("studio", "inventory", "batches")
        for model in apps.get_app_config(floor).get_models()
        for field in model._meta.get_fields()
        if isinstance(field, DateTimeField)
        and field.name not in ("expires_at", "expire_date")
        and model._default_manager.filter(**{f"{field.name}__gt": now}).exists()
    ]
    assert late == []
    assert all(
        lot.expires_on is None or lot.expires_on > lot.made_at.date() for lot in Lot.objects.of(demo.studio)
    )


def test_lots_go_by_names_that_people_use(demo: Demo) -> None:
    from inventory.models import Lot

    lot = Lot.objects.of(demo.studio).get(kind="stock", material__name="citral", declared_strength="0.01")
    assert lot.title == "citral 1 % in ethanol"


def test_no_lot_is_promised_more_than_it_holds(demo: Demo) -> None:
    from django.db.models import F

    from inventory.models import Lot

    assert not Lot.objects.of(demo.studio).filter(reserved__gt=F("on_hand")).exists()


def test_every_balance_was_checked_before_it_was_used_and_one_failed_once(demo: Demo) -> None:
    from batches.models import Weighing
    from inventory.models import BalanceCheck

    assert not Weighing.objects.of(demo.studio).filter(balance_check=None).exists()
    assert BalanceCheck.objects.of(demo.studio).filter(passed=False).count() == 1


@pytest.mark.parametrize(
    "path",
    [
        "materials/",
        "shelves/",
        "balances/",
        "bottles/",
        "lots/",
        "movements/",
        "formulas/",
        "batches/",
        "history/",
    ],
)
def test_every_list_of_the_api_shows_something(demo: Demo, path: str) -> None:
    answer = demo.api.get(path)
    assert answer.status_code == 200, answer.content
    assert answer.json()["items"]


def test_the_last_line_says_where_it_is_and_opens_it(demo: Demo) -> None:
    from django.test import Client

    sign_in = demo.sign_in
    assert sorted(sign_in) == ["email", "key", "password", "url"]
    assert sign_in["url"] == "http://stillroom.test"
    assert demo.api.get("members/").status_code == 200
    assert Client().login(email=sign_in["email"], password=sign_in["password"])


def test_the_sign_in_is_kept_for_its_owner_alone(demo: Demo) -> None:
    assert json.loads(demo.kept.read_text()) == demo.sign_in
    assert stat.S_IMODE(demo.kept.stat().st_mode) == 0o600


def test_running_it_again_changes_nothing_and_says_the_same(demo: Demo) -> None:
    before = every_row()
    kept = demo.kept.stat()
    again = run()
    assert again[-1] == demo.lines[-1]
    assert every_row() == before
    assert demo.kept.stat().st_mtime_ns == kept.st_mtime_ns


def lost(file: Path) -> None:
    file.unlink()


def cut_off(file: Path) -> None:
    file.write_text(file.read_text()[:40])


def of_another_database(file: Path) -> None:
    kept = json.loads(file.read_text())
    other = {"key": "still_" + "A" * 38, "password": "not-the-one-here"}
    file.write_text(json.dumps({**kept, **other}))


@pytest.mark.parametrize("spoil", [lost, cut_off, of_another_database])
def test_a_sign_in_that_opens_nothing_is_made_anew(
    demo: Demo, undone: None, spoil: Callable[[Path], None]
) -> None:
    from django.test import Client

    spoil(demo.kept)
    renewed = json.loads(run()[-1])
    assert Api(renewed["key"]).get("lots/").status_code == 200
    assert demo.api.get("lots/").status_code == 401
    for email in ("ines@example.org", "tobias@example.org"):
        assert Client().login(email=email, password=renewed["password"])
    assert json.loads(run()[-1]) == renewed
    assert stat.S_IMODE(demo.kept.stat().st_mode) == 0o600


def test_who_has_joined_the_studio_keeps_a_password_of_their_own(demo: Demo, undone: None) -> None:
    from django.test import Client

    from studio.actions.studios import add_member
    from studio.models import Member

    own = "correct resin staple 7"
    host = Member.objects.get(person__email=demo.sign_in["email"])
    add_member(
        by=host, name="Guest", email="guest@example.org", password=own, role="maker", at=demo.filled_at
    )
    lost(demo.kept)
    run()
    assert Client().login(email="guest@example.org", password=own)


def test_filling_it_is_all_or_nothing(db: None) -> None:
    from batches.demo.filling import fill_demo_studio
    from batches.demo.sheets import read_sheets
    from inventory.models import Lot
    from studio.models import Studio

    sheets = read_sheets(FOLDER)
    hold = {"of": "bottle:no such thing:oldest", "by": "owner", "days_ago": 0, "why": "to fail at the end"}
    little = {**sheets.scenario, "batches": [], "draw_offs": [], "counts": [], "holds": [hold]}
    before = Studio.objects.count(), Lot.objects.count()
    with pytest.raises(KeyError):
        fill_demo_studio(
            now=datetime(2026, 3, 1, 0, 10, tzinfo=UTC),
            sheets=replace(sheets, stocks=[], scenario=little),
            password="correct resin staple 7",
        )
    assert (Studio.objects.count(), Lot.objects.count()) == before


def test_one_panel_is_finished_and_one_waits_for_who_signs_in(demo: Demo) -> None:
    """8 of 12 in a triangle are the fewest at 5 % (FAO V7180E, appendix A)."""
    [waits, finished] = demo.api.all("panels/")
    assert (waits["state"], waits["people"][0]["name"], waits["answered"]) == ("open", "Ines Halloran", 4)
    result = demo.api.get(f"panels/{finished['id']}/result/").json()
    assert (result["correct"], result["answers"], result["needed"]) == (8, 12, 8)
    assert result["sentences"][0] == "The two can be told apart."
    assert demo.api.get(f"panels/{waits['id']}/result/").status_code == 409
