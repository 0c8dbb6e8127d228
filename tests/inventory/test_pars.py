"""Pars: how much of what the studio wants on the shelf."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inventory.actions.pars import WantedPar, change_par, drop_par, set_pars
from inventory.models import Par
from studio.kernel.errors import Invalid, StaleEdition
from studio.models import HistoryEntry
from tests.client import Api
from tests.pages import Visitor
from tests.workbench import Workbench


def wanted(bench: Workbench, name: str = "linalool", **told: Any) -> WantedPar:
    told = {"strength": Decimal("0.1"), "solvent": bench.material("ethanol"), "low": Decimal(40), **told}
    return WantedPar(material=bench.material(name), full=told.pop("full", Decimal(100)), **told)


def set_one(bench: Workbench, **told: Any) -> Par:
    [par] = set_pars(by=bench.by, now=bench.now, pars=[wanted(bench, **told)])
    return par


def test_a_par_that_is_there_gets_the_new_figures(bench: Workbench) -> None:
    first = set_one(bench)
    second = set_one(bench, full=Decimal(150))
    assert (first.pk, second.full, second.edition) == (second.pk, Decimal(150), 2)
    assert Par.objects.count() == 1


def test_every_change_stands_in_the_history_and_no_change_does_not(bench: Workbench) -> None:
    par = set_one(bench)
    set_one(bench)
    change_par(by=bench.by, now=bench.now, par=par, low=Decimal(50))
    drop_par(by=bench.by, now=bench.now, par=par)
    told = [entry.changes for entry in HistoryEntry.objects.filter(verb="par").order_by("id")]
    assert told == [
        {"10 % in ethanol": [None, "40.000000 to 100.000000 g"]},
        {"10 % in ethanol": ["40.000000 to 100.000000 g", "50.000000 to 100.000000 g"]},
        {"10 % in ethanol": ["50.000000 to 100.000000 g", None]},
    ]


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"low": Decimal(200)}, "full"),
        ({"solvent": None}, "solvent"),
        ({"strength": Decimal(1)}, "solvent"),
        ({"name": "water"}, "strength"),
    ],
)
def test_a_par_that_makes_no_sense_is_refused(bench: Workbench, told: dict[str, Any], field: str) -> None:
    with pytest.raises(Invalid) as refusal:
        set_one(bench, **told)
    assert list(refusal.value.errors) == [field]


def test_several_are_set_all_or_none(bench: Workbench) -> None:
    with pytest.raises(Invalid) as refusal:
        set_pars(
            by=bench.by,
            now=bench.now,
            pars=[wanted(bench), wanted(bench), wanted(bench, low=Decimal(101))],
            places=["2.", "3.", "4."],
        )
    assert set(refusal.value.errors) == {"3.material", "4.material", "4.full"}
    assert not Par.objects.exists()


def test_one_decided_on_an_old_edition_is_refused(bench: Workbench) -> None:
    par = set_one(bench)
    change_par(by=bench.by, now=bench.now, par=par, low=Decimal(1), expected=1)
    with pytest.raises(StaleEdition):
        change_par(by=bench.by, now=bench.now, par=par, low=Decimal(2), expected=1)


def test_the_database_holds_one_par_of_a_kind(bench: Workbench) -> None:
    for par in (set_one(bench), set_one(bench, strength=Decimal(1), solvent=None)):
        par.pk = None
        with pytest.raises(IntegrityError), transaction.atomic():
            par.save(force_insert=True)


def test_a_sheet_goes_out_and_in_again(bench: Workbench, api: Api) -> None:
    set_one(bench)
    set_one(bench, strength=Decimal(1), solvent=None)
    sheet = b"".join(api.get("pars/?format=csv").streaming_content)
    Par.objects.all().delete()
    taken = api.call("POST", "pars/import/", sheet, content_type="text/csv")
    assert taken.status_code == 201, taken.content
    assert b"".join(api.get("pars/?format=csv").streaming_content) == sheet


def test_a_par_is_set_changed_and_dropped_on_the_pages(bench: Workbench) -> None:
    material = bench.material("linalool")
    bench.material("ethanol")
    visitor = Visitor(bench.by)
    page = f"/materials/{material.pk}/par/"
    read = visitor.send_and_follow(page, strength="10", solvent="ethanol", low="40", full="100")
    assert "10 % in ethanol 40.000 g 100.000 g" in read
    par = Par.objects.get()
    assert "50.000 g" in visitor.send_and_follow(f"/pars/{par.pk}/", low="50", full="100")
    visitor.client.post(f"/pars/{par.pk}/drop/", {"once": visitor.key(f"/pars/{par.pk}/")})
    assert not Par.objects.exists()
