"""Balances, and checking them against a reference mass."""

from datetime import timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.actions.places import FIGURES, add_balance, check_balance
from inventory.calc.weighing import BalanceTraits
from inventory.models import Balance, BalanceCheck
from inventory.pages.forms import BalanceForm, CheckForm
from inventory.queries.shelf import balances_of, due_for_check
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once
from studio.pages.tags import grams

BOTH = require_http_methods(["GET", "HEAD", "POST"])
CHECKS_SHOWN = 30


@require_safe
@for_members
def balances(request: HttpRequest, member: Member) -> HttpResponse:
    """All balances with their last check."""
    now = timezone.now()
    rows = list(balances_of(member.studio).order_by("name", "id"))
    due = {balance.pk for balance in due_for_check(rows, now)}
    return shown(request, "inventory/balances.html", {"balances": rows, "due": due})


@require_safe
@for_members
def balance(request: HttpRequest, member: Member, balance_id: int) -> HttpResponse:
    """One balance with its figures and checks."""
    found = balances_of(member.studio).one(member.studio, "balance", id=balance_id)
    checks = BalanceCheck.objects.filter(balance=found).select_related("by__person")
    now = timezone.now()
    context = {
        "balance": found,
        "checks": list(checks.order_by("-at", "-id")[:CHECKS_SHOWN]),
        "is_due": bool(due_for_check([found], now)),
        "next_check": found.last_check_at and found.last_check_at + timedelta(days=found.check_every_days),
    }
    return shown(request, "inventory/balance.html", context)


@BOTH
@for_makers
@once
def new_balance(request: HttpRequest, member: Member) -> HttpResponse:
    """Enter a balance."""
    form = BalanceForm(sent(request))
    if form.is_valid():
        told = dict(form.cleaned_data)
        figures: dict[str, Any] = {
            name: told.pop(name) or None for name in ("accuracy_class", "verification_interval")
        }
        figures |= {name: told.pop(name) for name in FIGURES if name in told}
        with faults_into(form):
            added = add_balance(by=member, now=timezone.now(), traits=BalanceTraits(**figures), **told)
    if form.is_valid():
        return done(request, f"{added} is entered. Check it before the first weighing.", "balance", added.pk)
    context = {
        "heading": "Another balance",
        "send": "Enter it",
        "back": reverse("balances"),
        "back_to": "Balances",
    }
    return shown(request, "studio/form.html", context, form)


@BOTH
@for_makers
@once
def check(request: HttpRequest, member: Member, balance_id: int) -> HttpResponse:
    """Log a check weighing; the page says whether the balance passed."""
    found: Balance = Balance.objects.one(member.studio, "balance", id=balance_id)
    form = CheckForm(sent(request))
    if form.is_valid():
        with faults_into(form):
            logged, _ = check_balance(by=member, now=timezone.now(), balance=found, **form.cleaned_data)
    if form.is_valid():
        error = grams(abs(logged.reading - logged.reference))
        verdict = "passed" if logged.passed else "did not pass"
        sentence = f"{found} {verdict}: off by {error}, allowed are {grams(logged.allowed_error)}."
        return done(request, sentence, "balance", found.pk)
    context = {
        "heading": f"Check {found}",
        "lead": "Put the reference mass on, let the reading come to rest, and type both as they are.",
        "send": "Log the check",
        "back": reverse("balance", args=[found.pk]),
        "back_to": found.name,
    }
    return shown(request, "studio/form.html", context, form)
