"""Signatures on a sealed record: who may say what of it, and that what was said cannot be moved or taken off."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pytest

from batches.actions.batch_lock import WrongState
from batches.actions.signing import DidNotWeigh, NotCheckedYet, OwnWorkNotChecked
from batches.models import Batch
from studio.actions.proving import TRIES, Proof, TooManyTries, WrongPassword, prove_password
from studio.actions.records import RecordAmended
from studio.actions.signing import SignedAlready, sign_record
from studio.actions.studios import choose_figures, found_studio
from studio.models import HistoryEntry, Meaning, Member, SealedRecord, Signature
from studio.queries.chain import broken_signatures
from tests.batches.kept import kept, undone
from tests.batches.signed import amend, record_of, sign
from tests.conftest import NOW, PASSWORD
from tests.studio.tampering import without_triggers
from tests.workbench import Workbench, assert_everything_holds


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: Any) -> Iterator[tuple[Workbench, Batch]]:
    def make() -> tuple[Workbench, Batch]:
        owner = found_studio(
            name="Signed", owner_name="Ada", email="signed@example.org", password=PASSWORD, at=NOW
        )
        bench = Workbench(owner, NOW)
        bench.bottle("linalool 10g")
        return bench, closed_batch(bench, "neat")

    yield from kept(make, django_db_blocker)


@pytest.fixture(autouse=True)
def bench(made: tuple[Workbench, Batch], django_db_blocker: Any) -> Iterator[Workbench]:
    """The same studio for every test, as it was before."""
    bench, _ = made
    bench.now = NOW
    with undone(django_db_blocker):
        yield bench


@pytest.fixture
def closed(made: tuple[Workbench, Batch]) -> Batch:
    return made[1]


def closed_batch(bench: Workbench, code: str) -> Batch:
    batch = bench.plan(bench.formula(code, "linalool 1"), "1")
    bench.reserve(batch)
    bench.weigh_all(batch)
    bench.close(batch)
    return batch


@pytest.fixture
def other(bench: Workbench, new_member: Callable[..., Member]) -> Member:
    """Somebody who weighed nothing."""
    return new_member(bench.by, "maker")


def ask_for_two_people(bench: Workbench) -> None:
    choose_figures(by=bench.by, at=bench.now, changes={"two_person_check": True}, expected=None)


def broken(bench: Workbench) -> list[str]:
    return [link.sentence for link in broken_signatures(bench.by.studio)]


def test_a_signature_is_sealed_and_names_the_seal_it_signs(bench: Workbench, closed: Batch) -> None:
    signed = record_of(closed)
    signature = sign(bench, closed, "weighed")
    assert signature.signs == signed
    assert signature.record.told()["record"] == {
        "form": "signature 1",
        "meaning": "weighed",
        "printed_name": bench.by.person.name,
        "signed_at": "2026-03-01T09:30:00.000000+00:00",
        "proved_by": "password",
        "signs": {
            "sequence": signed.sequence,
            "seal": signed.seal,
            "subject": "batch",
            "name": closed.number,
        },
    }
    assert signature.record.previous == signed.seal
    assert_everything_holds()


def test_a_signature_with_one_meaning_is_given_once(bench: Workbench, closed: Batch) -> None:
    sign(bench, closed, "weighed")
    sign(bench, closed, "checked")
    with pytest.raises(SignedAlready):
        sign(bench, closed, "weighed")


def test_only_who_weighed_signs_as_weighed(bench: Workbench, closed: Batch, other: Member) -> None:
    with pytest.raises(DidNotWeigh):
        sign(bench, closed, "weighed", by=other)


def test_only_a_closed_batch_has_something_to_sign(bench: Workbench, closed: Batch) -> None:
    open_batch = bench.plan(closed.version, "1")
    with pytest.raises(WrongState):
        sign(bench, open_batch, "checked", seal="0" * 64)


def test_a_record_that_was_amended_meanwhile_is_not_signed_by_mistake(
    bench: Workbench, closed: Batch
) -> None:
    read = record_of(closed)
    amend(bench, closed, "the label was misread")
    with pytest.raises(RecordAmended):
        sign(bench, closed, "checked", seal=read.seal)
    assert sign(bench, closed, "checked").signs == record_of(closed) != read


# Two people


def test_one_person_may_do_everything_unless_the_studio_asks_for_two(bench: Workbench, closed: Batch) -> None:
    for meaning in ("weighed", "checked", "released"):
        sign(bench, closed, meaning)


def test_where_two_are_asked_for_nobody_checks_what_they_weighed(bench: Workbench, closed: Batch) -> None:
    ask_for_two_people(bench)
    with pytest.raises(OwnWorkNotChecked):
        sign(bench, closed, "checked")


def test_where_two_are_asked_for_a_batch_is_released_after_another_has_checked_it(
    bench: Workbench, closed: Batch, other: Member
) -> None:
    ask_for_two_people(bench)
    with pytest.raises(NotCheckedYet):
        sign(bench, closed, "released")
    sign(bench, closed, "checked", by=other)
    assert sign(bench, closed, "released").meaning == "released"


def test_a_check_by_the_weigher_from_before_does_not_count(
    bench: Workbench, closed: Batch, other: Member
) -> None:
    sign(bench, closed, "checked")
    ask_for_two_people(bench)
    with pytest.raises(NotCheckedYet):
        sign(bench, closed, "released", by=other)


def test_a_check_of_the_record_before_an_amendment_does_not_release_the_amended_one(
    bench: Workbench, closed: Batch, other: Member
) -> None:
    ask_for_two_people(bench)
    sign(bench, closed, "checked", by=other)
    amend(bench, closed, "the supplier was misread", **{"/lines/0/supplier": "Other"})
    with pytest.raises(NotCheckedYet):
        sign(bench, closed, "released")


# The password


def test_a_wrong_password_is_refused_and_noted(bench: Workbench) -> None:
    with pytest.raises(WrongPassword):
        prove_password(by=bench.by, at=bench.now, password="guess", what="sign batch B26-0001-X")
    entry = HistoryEntry.objects.get(studio=bench.by.studio, verb="wrong password")
    assert (entry.by, entry.why) == (bench.by, "to sign batch B26-0001-X")


def guess(bench: Workbench, password: str = "guess") -> Proof:
    return prove_password(by=bench.by, at=bench.now, password=password, what="sign")


def test_after_some_wrong_ones_even_the_right_password_waits(bench: Workbench) -> None:
    for _ in range(TRIES):
        with pytest.raises(WrongPassword):
            guess(bench)
    with pytest.raises(TooManyTries) as waiting:
        guess(bench, PASSWORD)
    assert 0 < waiting.value.seconds <= 900
    assert HistoryEntry.objects.filter(studio=bench.by.studio, verb="wrong password").count() == TRIES
    bench.later(minutes=15)
    assert guess(bench, PASSWORD).member == bench.by.pk


def test_the_right_password_may_be_entered_as_often_as_one_signs(bench: Workbench) -> None:
    for _ in range(3 * TRIES):
        guess(bench, PASSWORD)


def test_nobody_signs_with_the_proof_of_another(bench: Workbench, closed: Batch, other: Member) -> None:
    proof = guess(bench, PASSWORD)
    with pytest.raises(RuntimeError):
        sign_record(
            by=other, at=bench.now, proof=proof, signed=record_of(closed), meaning=Meaning("released")
        )


# Tampering


def tampered(signature: Signature, **columns: Any) -> None:
    with without_triggers("studio_signature"):
        Signature.objects.filter(pk=signature.pk).update(**columns)


def test_a_signature_put_to_another_record_is_found(bench: Workbench, closed: Batch) -> None:
    elsewhere = record_of(closed_batch(bench, "second"))
    signature = sign(bench, closed, "checked")
    assert broken(bench) == []
    tampered(signature, signs=elsewhere)
    assert broken(bench) == [f"The signature of record {elsewhere.sequence} is not the one that was sealed."]


@pytest.mark.parametrize("change", ["meaning", "by", "at"])
def test_a_signature_that_says_something_else_is_found(
    bench: Workbench, closed: Batch, other: Member, change: str
) -> None:
    signature = sign(bench, closed, "checked")
    bench.later(days=1)
    tampered(signature, **{change: {"meaning": "released", "by": other, "at": bench.now}[change]})
    assert len(broken(bench)) == 1


def test_a_signature_taken_off_is_found(bench: Workbench, closed: Batch) -> None:
    signature = sign(bench, closed, "checked")
    with without_triggers("studio_signature"):
        Signature.objects.filter(pk=signature.pk).delete()
    assert broken(bench) == [f"Record {signature.record.sequence} seals a signature that is gone."]


# Amendments


def test_an_amendment_names_the_record_it_amends_and_why(bench: Workbench, closed: Batch) -> None:
    before = record_of(closed)
    amended = amend(bench, closed, "the label was misread", **{"/lines/0/supplier_lot": "L-17"})
    assert amended.amends == before
    assert amended.told()["amends"] == before.sequence
    says = amended.told()["record"]
    assert says["lines"][0]["supplier_lot"] == "L-17"
    assert says["amendment"] == {
        "amends": {"sequence": before.sequence, "seal": before.seal},
        "why": "the label was misread",
        "by": bench.by.person.name,
        "corrections": [{"where": "/lines/0/supplier_lot", "said": "", "says": "L-17"}],
    }
    assert SealedRecord.objects.get(pk=before.pk).text == before.text
    assert_everything_holds()


def test_an_amendment_is_amended_by_the_next(bench: Workbench, closed: Batch) -> None:
    first = amend(bench, closed, "misread", **{"/title": "neat linalool"})
    second = amend(bench, closed, "and misspelt", **{"/title": "linalool, neat"})
    assert second.amends == first
    [correction] = second.told()["record"]["amendment"]["corrections"]
    assert correction["said"] == "neat linalool"


def test_an_amendment_leaves_the_ledger_alone(bench: Workbench, closed: Batch) -> None:
    mass = record_of(closed).told()["record"]["lines"][0]["weighings"][0]["mass"]
    assert Decimal(mass) == 1
    amend(bench, closed, "typed wrongly", **{"/lines/0/weighings/0/mass": "1.100000"})
    assert closed.weighings.get().mass == 1
    assert_everything_holds()


@pytest.mark.parametrize(
    "where",
    [
        "/nowhere",
        "title",
        "/",
        "",
        "/lines/9/lot",
        "/lines/x",
        "/lines",
        "/made",
        "/batch",
        "/form",
        "/title/x",
    ],
)
def test_a_correction_of_what_is_no_single_place_is_refused(
    bench: Workbench, closed: Batch, where: str
) -> None:
    before = record_of(closed)
    with pytest.raises(Exception, match=r"record|several") as refused:
        amend(bench, closed, "why", **{where: "x"})
    assert refused.value.code == "nothing-to-correct"  # type: ignore[attr-defined]
    assert record_of(closed) == before


def test_a_correction_that_changes_nothing_is_refused(bench: Workbench, closed: Batch) -> None:
    with pytest.raises(Exception, match="already"):
        amend(bench, closed, "why", **{"/title": closed.title})
