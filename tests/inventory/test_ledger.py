"""The ledger: every gram is accounted for, and what open batches have claimed is spoken for."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from inventory.actions.holding import hold_lots
from inventory.actions.ledger import (
    LotOnHold,
    NoSuchLot,
    NotEnoughOnHand,
    Posting,
    Shortage,
    change_claims,
    claim,
    claimed_lot_ids,
    end_claims,
    lock_lots,
    lock_numbered,
    note_poured,
    post,
    poured_and_not_booked,
)
from inventory.models import Claim, ClaimState, Lot, Movement, Reason
from studio.models import Member
from tests.workbench import Workbench

PURPOSE = "B26-0001-9"
OTHER = "B26-0002-7"


class Ledger:
    """One locked lot and the verbs of the ledger on it."""

    def __init__(self, bench: Workbench, lot: Lot) -> None:
        self.acting: dict[str, Any] = {"by": bench.by, "now": bench.now}
        self.lots = lock_lots(studio=bench.by.studio, ids=[lot.id])
        self.lot = self.lots[lot.id]

    def claim(self, grams: str, purpose: str = PURPOSE) -> None:
        claim(**self.acting, purpose=purpose, wants={self.lot.id: Decimal(grams)}, lots=self.lots)

    def poured(self, grams: str, purpose: str = PURPOSE) -> None:
        note_poured(**self.acting, purpose=purpose, lot=self.lot, poured=Decimal(grams))

    def change(self, grams: str, purpose: str = PURPOSE) -> None:
        change_claims(**self.acting, purpose=purpose, wants={self.lot.id: Decimal(grams)}, lots=self.lots)

    def out(self, *masses: str) -> None:
        postings = [
            Posting(mass=Decimal(mass), reason=Reason.DISCARDED, at=self.acting["now"], source=self.lot)
            for mass in masses
        ]
        post(**self.acting, postings=postings)

    def stored(self) -> Lot:
        return Lot.objects.get(pk=self.lot.pk)

    def standing(self, purpose: str = PURPOSE) -> Claim:
        return Claim.objects.get(lot=self.lot, purpose=purpose)


@pytest.fixture
def ledger(bench: Workbench) -> Ledger:
    return Ledger(bench, bench.bottle("linalool 10g"))


# Movements


def test_what_a_lot_holds_is_what_went_in_less_what_went_out(ledger: Ledger) -> None:
    ledger.out("2.5", "0.000001")
    assert ledger.stored().on_hand == Decimal("7.499999")
    movements = Movement.objects.filter(source=ledger.lot)
    assert movements.aggregate(mass=Sum("mass"))["mass"] == Decimal("2.500001")


def test_a_thousand_tenths_of_a_milligram_are_exactly_a_tenth_of_a_gram(ledger: Ledger) -> None:
    """In binary floats 0.0001 added a thousand times is 0.09999999999999992."""
    assert sum([0.0001] * 1000) != 0.1
    ledger.out(*["0.0001"] * 1000)
    assert Movement.objects.filter(source=ledger.lot).aggregate(mass=Sum("mass"))["mass"] == Decimal("0.1")
    assert ledger.stored().on_hand == Decimal("9.9")


def test_more_than_there_is_cannot_be_taken_and_then_nothing_is(ledger: Ledger) -> None:
    with pytest.raises(NotEnoughOnHand) as refusal:
        ledger.out("6", "4.000001")
    assert refusal.value.extra == {"lot": ledger.lot.number, "wanted": Decimal("10.000001"), "on_hand": 10}
    assert ledger.stored().on_hand == 10
    assert not Movement.objects.filter(source=ledger.lot).exists()


def test_a_lot_is_opened_by_the_first_taking_and_emptied_by_the_last(ledger: Ledger) -> None:
    assert (ledger.stored().opened_at, ledger.stored().emptied_at) == (None, None)
    ledger.out("4")
    assert (ledger.stored().opened_at, ledger.stored().emptied_at) == (ledger.acting["now"], None)
    ledger.out("6")
    assert ledger.stored().emptied_at == ledger.acting["now"]


def test_a_lot_that_gets_something_back_is_no_longer_empty(ledger: Ledger) -> None:
    ledger.out("10")
    found = Posting(mass=Decimal(1), reason=Reason.COUNTED_UP, at=ledger.acting["now"], target=ledger.lot)
    post(**ledger.acting, postings=[found])
    assert ledger.stored().emptied_at is None


def test_the_statements_of_posting_do_not_grow_with_the_movements(ledger: Ledger) -> None:
    counts = set()
    for masses in (["0.01"], ["0.01"] * 40):
        with CaptureQueriesContext(connection) as queries:
            ledger.out(*masses)
        counts.add(len(queries))
    assert counts == {2}


IMPOSSIBLE: dict[str, Callable[[Lot, Lot], dict[str, Any]]] = {
    "of no mass": lambda lot, other: {"source": lot, "mass": Decimal(0), "reason": "discarded"},
    "of negative mass": lambda lot, other: {"source": lot, "mass": Decimal(-1), "reason": "discarded"},
    "from nowhere to nowhere": lambda lot, other: {"reason": "counted up"},
    "from nowhere by pouring": lambda lot, other: {"target": lot, "reason": "weighed in"},
    "to nowhere by pouring": lambda lot, other: {"source": lot, "reason": "drawn off"},
    "received and gone at once": lambda lot, other: {"source": lot, "reason": "received"},
    "from a lot into itself": lambda lot, other: {"source": lot, "target": lot, "reason": "weighed in"},
    "for an unknown reason": lambda lot, other: {"source": lot, "reason": "borrowed"},
    "reversing without saying so": lambda lot, other: {
        "source": lot,
        "reason": "discarded",
        "reverses": Movement.objects.get(target=lot),
    },
}


@pytest.mark.parametrize("impossible", IMPOSSIBLE)
def test_the_database_itself_refuses_a_movement(bench: Workbench, ledger: Ledger, impossible: str) -> None:
    fields = IMPOSSIBLE[impossible](ledger.lot, bench.bottle("vanillin 5g"))
    written: dict[str, Any] = {"mass": Decimal(1), "at": bench.now, "recorded_at": bench.now, "by": bench.by}
    with pytest.raises(IntegrityError), transaction.atomic():
        Movement.objects.create(studio=bench.by.studio, **{**written, **fields})


@pytest.mark.parametrize("column", ["on_hand", "reserved"])
def test_the_database_itself_refuses_a_negative_balance(ledger: Ledger, column: str) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Lot.objects.filter(pk=ledger.lot.pk).update(**{column: Decimal("-0.000001")})


def test_an_operation_names_one_movement_for_ever(ledger: Ledger) -> None:
    once = Posting(
        mass=Decimal(1), reason=Reason.DISCARDED, at=ledger.acting["now"], source=ledger.lot, operation="x"
    )
    post(**ledger.acting, postings=[once])
    with pytest.raises(IntegrityError), transaction.atomic():
        post(**ledger.acting, postings=[once])


# Claims


def test_a_claim_is_reserved_and_no_longer_available(ledger: Ledger) -> None:
    ledger.claim("4")
    assert (ledger.stored().reserved, ledger.stored().available, ledger.stored().on_hand) == (4, 6, 10)


def test_claims_of_several_purposes_add_up(ledger: Ledger) -> None:
    ledger.claim("4")
    ledger.claim("6", OTHER)
    assert (ledger.stored().reserved, ledger.stored().available) == (10, 0)


def test_claims_are_taken_all_or_none_and_every_short_lot_is_named(bench: Workbench) -> None:
    lots = [bench.bottle(f"{name} 10g") for name in ("linalool", "vanillin", "indole")]
    locked = lock_lots(studio=bench.by.studio, ids=[lot.id for lot in lots])
    wants = dict(zip([lot.id for lot in lots], map(Decimal, ("10", "10.5", "12")), strict=True))
    with pytest.raises(Shortage) as refusal:
        claim(by=bench.by, now=bench.now, purpose=PURPOSE, wants=wants, lots=locked)
    assert refusal.value.extra["shortages"] == [
        {"lot": lots[1].number, "wanted": Decimal("10.5"), "available": 10},
        {"lot": lots[2].number, "wanted": Decimal(12), "available": 10},
    ]
    assert not Claim.objects.of(bench.by.studio).exists()
    assert all(Lot.objects.get(pk=lot.pk).reserved == 0 for lot in lots)


def test_a_held_lot_cannot_be_claimed(bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    hold_lots(by=bench.by, now=bench.now, lot_ids=[lot.id], why="cloudy")
    with pytest.raises(LotOnHold, match="cloudy"):
        Ledger(bench, lot).claim("1")


def test_a_purpose_claims_a_lot_once(ledger: Ledger) -> None:
    ledger.claim("1")
    with pytest.raises(IntegrityError), transaction.atomic():
        ledger.claim("1")


def test_what_was_poured_is_still_in_the_book_and_already_out_of_the_container(ledger: Ledger) -> None:
    ledger.claim("4")
    ledger.poured("3")
    assert poured_and_not_booked(ledger.lot) == 3
    assert (ledger.stored().on_hand, ledger.stored().reserved) == (10, 4)


def test_pouring_more_than_was_claimed_claims_it(ledger: Ledger) -> None:
    ledger.claim("4")
    ledger.poured("5.5")
    assert ledger.stored().reserved == Decimal("5.5")
    assert (ledger.standing().asked, ledger.standing().mass) == (4, Decimal("5.5"))


def test_pouring_more_than_the_book_holds_claims_that_too_and_leaves_nothing_available(
    ledger: Ledger,
) -> None:
    ledger.claim("4")
    ledger.poured("11")
    assert (ledger.stored().reserved, ledger.stored().available) == (11, 0)


def test_a_pour_taken_back_leaves_what_was_asked_for(ledger: Ledger) -> None:
    ledger.claim("4")
    ledger.poured("5.5")
    ledger.poured("0")
    assert ledger.stored().reserved == 4


def test_a_pour_without_a_claim_makes_one_and_its_correction_releases_it(ledger: Ledger) -> None:
    ledger.poured("2")
    assert ledger.stored().reserved == 2
    ledger.poured("0")
    assert ledger.stored().reserved == 0
    assert ledger.standing().state == ClaimState.RELEASED


def test_an_ended_claim_settles_what_was_poured_and_releases_the_rest(ledger: Ledger) -> None:
    ledger.claim("4")
    ledger.claim("2", OTHER)
    ledger.poured("3")
    for purpose in (PURPOSE, OTHER):
        end_claims(now=ledger.acting["now"], purpose=purpose, why="closed", lots=ledger.lots)
    assert ledger.stored().reserved == 0
    assert (ledger.standing().state, ledger.standing().settled) == (ClaimState.SETTLED, 3)
    assert (ledger.standing(OTHER).state, ledger.standing(OTHER).settled) == (ClaimState.RELEASED, 0)


def test_a_changed_claim_counts_what_it_held_as_available_to_it(ledger: Ledger) -> None:
    ledger.claim("6")
    ledger.claim("3", OTHER)
    ledger.change("7")
    assert ledger.stored().reserved == 10
    with pytest.raises(Shortage) as refusal:
        ledger.change("8")
    [short] = refusal.value.extra["shortages"]
    assert (short["wanted"], short["available"]) == (1, 0)
    assert ledger.stored().reserved == 10


def test_a_changed_claim_never_falls_below_what_was_poured(ledger: Ledger) -> None:
    ledger.claim("6")
    ledger.poured("5")
    ledger.change("1")
    assert (ledger.standing().asked, ledger.standing().mass, ledger.stored().reserved) == (1, 5, 5)


def test_a_claim_that_is_no_longer_wanted_is_released(ledger: Ledger) -> None:
    ledger.claim("6")
    change_claims(**ledger.acting, purpose=PURPOSE, wants={}, lots=ledger.lots)
    assert ledger.stored().reserved == 0
    assert ledger.standing().state == ClaimState.RELEASED
    assert claimed_lot_ids(studio=ledger.lot.studio, purpose=PURPOSE) == []


# Locks


def test_lots_are_locked_inside_a_transaction_only(committed: None, bench: Workbench) -> None:
    lot = bench.bottle("linalool 10g")
    with pytest.raises(RuntimeError):
        lock_lots(studio=bench.by.studio, ids=[lot.id])


def test_the_lots_of_another_studio_do_not_exist(bench: Workbench, stranger: Member) -> None:
    lot = bench.bottle("linalool 10g")
    with pytest.raises(NoSuchLot):
        lock_lots(studio=stranger.studio, ids=[lot.id])
    with pytest.raises(NoSuchLot, match=lot.number):
        lock_numbered(studio=stranger.studio, numbers=[lot.number])


def test_lots_are_locked_by_one_statement_in_id_order(bench: Workbench) -> None:
    lots = [bench.bottle("linalool 1g") for _ in range(5)]
    with CaptureQueriesContext(connection) as queries:
        locked = lock_lots(studio=bench.by.studio, ids=[lot.id for lot in reversed(lots)])
    assert list(locked) == [lot.id for lot in lots]
    [statement] = [query["sql"] for query in queries]
    assert "ORDER BY" in statement
    assert ("FOR NO KEY UPDATE" in statement) == (connection.vendor == "postgresql")
