"""Shelves and balances, and checking a balance against a reference mass."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from inventory.calc.alert_causes import BALANCE_CHECK, balance_check
from inventory.calc.weighing import BalanceTraits, CheckWeighing, check_weighing
from inventory.models import Balance, BalanceCheck, Shelf
from inventory.models.places import FIGURES, traits_of
from studio.actions.alerts import close_alert, raise_alerts
from studio.actions.changing import change_fields
from studio.actions.history import record
from studio.kernel.errors import Conflict
from studio.kernel.moments import happened
from studio.kernel.work import work
from studio.models import Member


class NameTaken(Conflict):
    """Another thing of the studio already has this name."""

    code = "name-taken"
    title = "The name is taken"


def add_shelf(*, by: Member, now: datetime, name: str, note: str = "", keeper: Member | None = None) -> Shelf:
    """Name a place where lots stand. Raises `NameTaken`."""
    with work():
        _refuse_taken(Shelf.objects.of(by.studio_id).filter(name__iexact=name).exists(), "shelf", name)
        shelf = Shelf.objects.create(studio_id=by.studio_id, name=name, note=note, keeper=keeper)
        record(by=by, at=now, subject="shelf", name=name, verb="added")
    return shelf


def add_balance(*, by: Member, now: datetime, name: str, traits: BalanceTraits, **details: Any) -> Balance:
    """Enter a balance with its figures; `details` are serial and check_every_days. Raises `NameTaken`.

    The figures were judged when `traits` was built.
    """
    with work():
        _refuse_taken(Balance.objects.of(by.studio_id).filter(name__iexact=name).exists(), "balance", name)
        balance = Balance.objects.create(
            studio_id=by.studio_id,
            name=name,
            capacity=traits.capacity,
            readability=traits.readability,
            repeatability=traits.repeatability,
            linearity=traits.linearity,
            accuracy_class=traits.accuracy_class or "",
            verification_interval=traits.verification_interval,
            **details,
        )
        record(by=by, at=now, subject="balance", name=name, verb="added")
        _raise_check(by, now, balance, None)
    return balance


def change_shelf(
    *, by: Member, now: datetime, shelf: Shelf, changes: Mapping[str, Any], expected: int | None
) -> Shelf:
    """Change a shelf's name, note or keeper. Raises `NameTaken`, `StaleEdition`."""
    name = changes.get("name", shelf.name)
    others = Shelf.objects.of(by.studio_id).exclude(pk=shelf.pk)
    _refuse_taken(others.filter(name__iexact=name).exists(), "shelf", name)
    return change_fields(
        by=by, at=now, row=shelf, subject="shelf", name=shelf.name, changes=changes, expected=expected
    )


def change_balance(
    *, by: Member, now: datetime, balance: Balance, changes: Mapping[str, Any], expected: int | None
) -> Balance:
    """Change a balance's name or figures; what was weighed before keeps what it was recorded with."""
    name = changes.get("name", balance.name)
    others = Balance.objects.of(by.studio_id).exclude(pk=balance.pk)
    _refuse_taken(others.filter(name__iexact=name).exists(), "balance", name)
    traits_of(balance, **{field: changes[field] for field in changes if field in FIGURES})
    wanted = dict(changes)
    if "accuracy_class" in wanted:
        wanted["accuracy_class"] = wanted["accuracy_class"] or ""
    return change_fields(
        by=by,
        at=now,
        row=balance,
        subject="balance",
        name=balance.name,
        changes=wanted,
        expected=expected,
    )


def check_balance(
    *,
    by: Member,
    now: datetime,
    balance: Balance,
    reference: Decimal,
    reading: Decimal,
    allowed_error: Decimal | None = None,
    at: datetime | None = None,
) -> tuple[BalanceCheck, CheckWeighing]:
    """Log a weighing of a reference mass; the verdict is reckoned here and kept. Masses in grams.

    Without the studio's own bound, the in-service error of OIML R 76 for the balance's class holds.
    """
    when = happened(at, now)
    verdict = check_weighing(
        traits=traits_of(balance), reference_mass=reference, reading=reading, bound=allowed_error
    )
    with work():
        check = BalanceCheck.objects.create(
            studio_id=by.studio_id,
            balance=balance,
            reference=reference,
            reading=reading,
            allowed_error=verdict.bound,
            bound_source=verdict.bound_origin,
            passed=verdict.passed,
            at=when,
            recorded_at=now,
            by=by,
        )
        _tell_of_check(by, now, balance)
    return check, verdict


def _tell_of_check(by: Member, now: datetime, balance: Balance) -> None:
    """Raise or close the alert of a balance by its last check, which need not be the one logged last."""
    last = balance.checks.order_by("-at", "-id")[0]
    due = last.at + timedelta(days=balance.check_every_days) <= now
    if last.passed and not due:
        close_alert(studio=by.studio_id, at=now, kind=BALANCE_CHECK, key=str(balance.pk))
    elif balance.retired_at is None:
        _raise_check(by, now, balance, last)


def _raise_check(by: Member, now: datetime, balance: Balance, last: BalanceCheck | None) -> None:
    cause = balance_check(
        balance=balance.pk,
        name=balance.name,
        every_days=balance.check_every_days,
        last_at=None if last is None else last.at,
        passed=last is not None and last.passed,
    )
    raise_alerts(studio=by.studio_id, at=now, causes=[cause])


def _refuse_taken(taken: bool, what: str, name: str) -> None:
    if taken:
        raise NameTaken(f"There is already a {what} “{name}”.")
