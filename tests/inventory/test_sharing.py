"""Sharing: asking a keeper, handing over, lending, and what goes unasked."""

from datetime import timedelta
from decimal import Decimal

import pytest

from batches.actions.asking_keepers import NobodyLeftToAsk, ask_keepers
from inventory.actions.asking import (
    AlreadyAnswered,
    AlreadyAsked,
    BadRequestForLot,
    NobodyToAsk,
    NotTheAsker,
    ask_keeper,
    decline_request,
    grant_request,
    withdraw_request,
)
from inventory.actions.drawing_off import draw_off
from inventory.actions.holding import hold_lots
from inventory.actions.keeping import KeeperNotAsked, NotTheKeeper
from inventory.actions.ledger import LotOnHold, Shortage
from inventory.actions.lending import BadLoan, LentAlready, ReturnedAlready, lend, take_back
from inventory.actions.placing import NoKeeperToAsk, change_lot
from inventory.models import Movement, Reason, RequestState, Wish
from inventory.queries.sharing import asked_by, holdings, open_loans, overdue, to_answer, uses
from studio.actions.leaving import leave_studio
from studio.models import Delivery, HistoryEntry
from studio.models.scoped import NoSuchThing
from tests.workbench import assert_everything_holds

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper(owner, new_member):
    return new_member(owner, "maker")


@pytest.fixture
def lot(bench, keeper):
    return bench.bottle("linalool 10g", keeper=keeper, tare=Decimal(20))


def ask_some(bench, lot, mass="4", **told):
    return ask_keeper(by=bench.by, now=bench.now, lot=lot, wish=Wish.SOME, mass=Decimal(mass), **told)


def test_what_is_granted_becomes_a_labelled_lot_of_the_asker(bench, lot, keeper):
    asked = ask_some(bench, lot, word="for the rose accord")
    assert to_answer(keeper) == [asked]
    granted = grant_request(by=keeper, now=bench.now, request_id=asked.id, answer="use it soon")
    given = granted.given
    assert (given.keeper, given.on_hand, given.kind) == (bench.by, 4, "bottle")
    [movement] = Movement.objects.filter(target=given)
    assert (movement.reason, movement.source, movement.by) == (Reason.HANDED_OVER, lot, keeper)
    lot.refresh_from_db()
    assert lot.on_hand == 6
    assert to_answer(keeper) == []
    assert asked_by(bench.by, since=bench.now)[0].state == RequestState.GRANTED
    assert_everything_holds()


def test_a_part_may_be_granted_and_never_more_than_was_asked(bench, lot, keeper):
    asked = ask_some(bench, lot)
    with pytest.raises(BadRequestForLot, match="grant that or less"):
        grant_request(by=keeper, now=bench.now, request_id=asked.id, mass=Decimal("4.1"))
    granted = grant_request(by=keeper, now=bench.now, request_id=asked.id, mass=Decimal("1.5"))
    assert granted.given.on_hand == Decimal("1.5")


def test_what_is_not_there_cannot_be_granted_and_the_request_stays_open(bench, lot, keeper):
    asked = ask_some(bench, lot, "11")
    with pytest.raises(Shortage):
        grant_request(by=keeper, now=bench.now, request_id=asked.id)
    assert to_answer(keeper) == [asked]


def test_only_the_keeper_answers_and_only_the_asker_withdraws(bench, lot, keeper, owner, maker):
    asked = ask_some(bench, lot)
    for other in (owner, maker):
        with pytest.raises(NotTheKeeper, match="kept by"):
            grant_request(by=other, now=bench.now, request_id=asked.id)
        with pytest.raises(NotTheKeeper):
            decline_request(by=other, now=bench.now, request_id=asked.id, answer="no")
    with pytest.raises(NotTheAsker):
        withdraw_request(by=keeper, now=bench.now, request_id=asked.id)
    assert withdraw_request(by=owner, now=bench.now, request_id=asked.id).state == RequestState.WITHDRAWN


def test_an_owner_answers_for_a_keeper_who_left(bench, lot, keeper, owner, maker):
    asked = ask_keeper(by=maker, now=bench.now, lot=lot, wish=Wish.SOME, mass=Decimal(1))
    leave_studio(by=keeper, at=bench.now)
    assert to_answer(owner) == [asked]
    assert grant_request(by=owner, now=bench.now, request_id=asked.id).given.keeper == maker


def test_a_request_is_answered_once(bench, lot, keeper):
    asked = ask_some(bench, lot)
    decline_request(by=keeper, now=bench.now, request_id=asked.id, answer="the last of it")
    for again in (grant_request, withdraw_request):
        with pytest.raises(AlreadyAnswered, match="declined"):
            again(by=keeper, now=bench.now, request_id=asked.id)


def test_the_same_is_asked_once_at_a_time(bench, lot, keeper):
    asked = ask_some(bench, lot)
    with pytest.raises(AlreadyAsked):
        ask_some(bench, lot, "1")
    withdraw_request(by=bench.by, now=bench.now, request_id=asked.id)
    ask_some(bench, lot, "1")


def test_nobody_is_asked_for_what_is_the_studios_or_ones_own(bench, lot, keeper):
    with pytest.raises(NobodyToAsk, match="the studio's"):
        ask_some(bench, bench.bottle("citral 5g"))
    with pytest.raises(NobodyToAsk, match="yours"):
        ask_keeper(by=keeper, now=bench.now, lot=lot, wish=Wish.SOME, mass=Decimal(1))


@pytest.mark.parametrize(
    ("told", "fields"),
    [
        ({"wish": Wish.SOME}, {"mass"}),
        ({"wish": Wish.LOAN}, {"until"}),
        ({"wish": Wish.LOAN, "until": -1, "mass": "1"}, {"until", "mass"}),
        ({"wish": Wish.SOME, "mass": "1", "until": 3}, {"until"}),
        ({"wish": Wish.CLAIM, "mass": "1"}, {"batch"}),
        ({"wish": Wish.SOME, "mass": "1", "purpose": "B26-0001-X"}, {"batch"}),
    ],
)
def test_a_request_that_says_too_little_or_too_much_names_every_fault(bench, lot, told, fields):
    told = dict(told)
    if "mass" in told:
        told["mass"] = Decimal(told["mass"])
    if "until" in told:
        told["until"] = bench.now.date() + timedelta(days=told["until"])
    with pytest.raises(BadRequestForLot) as refusal:
        ask_keeper(by=bench.by, now=bench.now, lot=lot, **told)
    assert refusal.value.errors.keys() == fields


def test_a_loan_ends_by_weighing_back_and_what_is_missing_was_used(bench, lot, keeper, owner):
    until = bench.now.date() + timedelta(days=3)
    asked = ask_keeper(by=owner, now=bench.now, lot=lot, wish=Wish.LOAN, until=until)
    grant_request(by=keeper, now=bench.now, request_id=asked.id)
    [loan] = open_loans(owner.studio)
    assert (loan.borrower, loan.due_on, loan.mass_out) == (owner, until, 10)
    assert overdue([loan], until) == []
    assert overdue([loan], until + timedelta(days=1)) == [loan]
    ended = take_back(by=owner, now=bench.now, loan_id=loan.id, gross=Decimal("27.5"))
    assert ended.mass_back == Decimal("7.5")
    movement = Movement.objects.get(source=lot)
    assert (movement.mass, movement.reason) == (Decimal("2.5"), Reason.COUNTED_DOWN)
    assert movement.why == f"Used by {owner} on loan."
    with pytest.raises(ReturnedAlready):
        take_back(by=owner, now=bench.now, loan_id=loan.id, gross=Decimal("27.5"))
    assert_everything_holds()


def test_a_lot_is_lent_to_one_at_a_time(bench, lot, keeper, owner, maker):
    lend(by=keeper, now=bench.now, lot=lot, to=owner, due_on=bench.now.date())
    with pytest.raises(LentAlready, match=str(owner)):
        lend(by=keeper, now=bench.now, lot=lot, to=maker, due_on=bench.now.date())


def test_what_cannot_be_lent(bench, lot, keeper, owner):
    today = bench.now.date()
    with pytest.raises(BadLoan, match="keeps this lot"):
        lend(by=keeper, now=bench.now, lot=lot, to=keeper, due_on=today)
    with pytest.raises(BadLoan, match="is over"):
        lend(by=keeper, now=bench.now, lot=lot, to=owner, due_on=today - timedelta(days=1))
    with pytest.raises(NotTheKeeper):
        lend(by=owner, now=bench.now, lot=lot, to=owner, due_on=today)
    hold_lots(by=owner, now=bench.now, lot_ids=[lot.id], why="cloudy")
    with pytest.raises(LotOnHold):
        lend(by=keeper, now=bench.now, lot=lot, to=owner, due_on=today)


def limited(bench, lot, keeper, grams="2"):
    return change_lot(by=keeper, now=bench.now, lot=lot, changes={"ask_above": Decimal(grams)})


def test_beyond_what_goes_unasked_nothing_is_drawn_off_by_others(bench, lot, keeper):
    limited(bench, lot, keeper)
    draw_off(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(2))
    with pytest.raises(KeeperNotAsked, match="3 g wanted, 2 g go unasked"):
        draw_off(by=bench.by, now=bench.now, number=lot.number, mass=Decimal(3))
    draw_off(by=keeper, now=bench.now, number=lot.number, mass=Decimal(3))


def test_a_batch_claims_beyond_it_only_what_the_keeper_granted_for_it(bench, lot, keeper):
    limited(bench, lot, keeper)
    version = bench.formula("neat", "linalool 1")
    batch, other = bench.plan(version, "5"), bench.plan(version, "3")
    with pytest.raises(KeeperNotAsked) as refusal:
        bench.reserve(batch)
    assert refusal.value.extra["lots"][0]["lot"] == lot.number
    [asked] = ask_keepers(by=bench.by, now=bench.now, number=batch.number)
    assert (asked.wish, asked.mass, asked.purpose) == (Wish.CLAIM, 5, batch.number)
    with pytest.raises(NobodyLeftToAsk, match="have not answered"):
        ask_keepers(by=bench.by, now=bench.now, number=batch.number)
    grant_request(by=keeper, now=bench.now, request_id=asked.id)
    bench.reserve(batch)
    with pytest.raises(KeeperNotAsked):
        bench.reserve(other)
    bench.reserve(bench.plan(version, "2"))


def test_a_grant_of_less_lets_the_batch_claim_no_more_than_that(bench, lot, keeper):
    limited(bench, lot, keeper)
    batch = bench.plan(bench.formula("neat", "linalool 1"), "5")
    [asked] = ask_keepers(by=bench.by, now=bench.now, number=batch.number)
    grant_request(by=keeper, now=bench.now, request_id=asked.id, mass=Decimal(4))
    with pytest.raises(KeeperNotAsked):
        bench.reserve(batch)


def test_who_keeps_it_and_what_goes_unasked_is_the_keepers_to_say(bench, lot, keeper, owner, maker):
    for changes in ({"keeper": maker}, {"ask_above": Decimal(1)}, {"keeper": None}):
        with pytest.raises(NotTheKeeper):
            change_lot(by=owner, now=bench.now, lot=lot, changes=changes)
    change_lot(by=owner, now=bench.now, lot=lot, changes={"keeper": keeper, "note": "by the window"})
    limited(bench, lot, keeper)
    freed = change_lot(by=keeper, now=bench.now, lot=lot, changes={"keeper": None})
    assert freed.ask_above is None
    with pytest.raises(NoKeeperToAsk):
        change_lot(by=owner, now=bench.now, lot=freed, changes={"ask_above": Decimal(1)})


def test_who_holds_what_and_who_used_whose(bench, lot, keeper, owner):
    bench.make(bench.formula("neat", "linalool 1"), "4")
    asked = ask_some(bench, lot, "1")
    grant_request(by=keeper, now=bench.now, request_id=asked.id)
    [used] = uses(owner.studio, bench.now)
    assert (used.keeper, used.user, used.mass, used.times) == (str(keeper), str(owner), 4, 1)
    mine, theirs = holdings(owner.studio, [owner, keeper])
    assert (mine.lots, mine.mass, theirs.lots, theirs.mass) == (1, 1, 1, 5)


def test_every_step_stands_in_the_history(bench, lot, keeper):
    asked = ask_some(bench, lot, word="please")
    grant_request(by=keeper, now=bench.now, request_id=asked.id)
    verbs = HistoryEntry.objects.filter(subject="lot", name=lot.number).order_by("id")
    assert [entry.verb for entry in verbs][-2:] == ["asked for (some)", "granted (some)"]


def test_the_other_side_is_told(bench, lot, keeper):
    asked = ask_some(bench, lot, word="for the rose accord")
    grant_request(by=keeper, now=bench.now, request_id=asked.id, mass=Decimal(1))
    told = [
        (one.member, one.event.body)
        for one in Delivery.objects.select_related("event", "member").order_by("id")
    ]
    assert [member for member, _ in told] == [keeper, bench.by]
    assert f"asks for 4 g of lot {lot.number}, linalool. for the rose accord" in told[0][1]
    assert "granted (1 g of it): 4 g of lot" in told[1][1]


def test_another_studios_request_is_not_there(bench, lot, stranger):
    asked = ask_some(bench, lot)
    with pytest.raises(NoSuchThing):
        grant_request(by=stranger, now=bench.now, request_id=asked.id)
