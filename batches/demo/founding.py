"""The first day of the demo studio: its people, shelves, balances, and the materials it means to keep."""

from decimal import Decimal

from batches.demo.days import Days
from batches.demo.named import Named
from batches.demo.sheets import Cells, Sheets, Told, number, whole
from inventory.actions.materials import MaterialCard, add_materials
from inventory.actions.places import add_balance, add_shelf
from inventory.calc.weighing import BalanceTraits
from inventory.models import Balance
from studio.actions.studios import add_member, choose_figures, found_studio
from studio.actions.telling import choose_mail
from studio.models import MailChoice, Member


def found(*, sheets: Sheets, days: Days, password: str) -> Named:
    """Found the studio with everything that stands there before the first bottle comes; all sign in with `password`."""
    told = sheets.scenario
    days.begin(told["studio"]["founded_days_ago"])
    named = Named(members=_people(told, days, password))
    for shelf in told["shelves"]:
        named.shelves[shelf["name"]] = add_shelf(
            by=named.owner,
            now=days.work(1),
            name=shelf["name"],
            note=shelf["note"],
            keeper=named.member(shelf["keeper"]),
        )
    for balance in told["balances"]:
        named.balances[balance["key"]] = _balance(named.owner, days, balance)
    cards = [_card(cells) for cells in sheets.materials]
    for material in add_materials(by=named.owner, now=days.work(60), cards=cards):
        named.materials[material.name] = material
    return named


def _people(told: Told, days: Days, password: str) -> dict[str, Member]:
    first, *others = told["members"]
    studio = told["studio"]
    owner = found_studio(
        name=studio["name"],
        owner_name=first["name"],
        email=first["email"],
        password=password,
        at=days.now,
        currency=studio["currency"],
    )
    figures = {
        "weighing_tolerance": number(studio["weighing_tolerance"]),
        "strength_tolerance": number(studio["strength_tolerance"]),
        "claim_days": studio["claim_days"],
    }
    owner.studio = choose_figures(by=owner, at=days.work(5), changes=figures, expected=None)
    people = {first["key"]: owner}
    for person in others:
        member = add_member(
            by=owner,
            name=person["name"],
            email=person["email"],
            password=password,
            role=person["role"],
            at=days.work(5),
        )
        member.studio = owner.studio
        people[person["key"]] = member
    for invented in people.values():
        # Nobody reads mail at their addresses.
        choose_mail(by=invented, mail=MailChoice.NEVER)
    return people


def _balance(owner: Member, days: Days, told: Told) -> Balance:
    traits = BalanceTraits(
        capacity=Decimal(told["capacity_g"]),
        readability=Decimal(told["readability_g"]),
        repeatability=Decimal(told["repeatability_g"]),
        linearity=Decimal(told["linearity_g"]),
        accuracy_class=told["accuracy_class"],
        verification_interval=Decimal(told["verification_interval_g"]),
    )
    return add_balance(
        by=owner,
        now=days.work(5),
        name=told["name"],
        traits=traits,
        serial=told["serial"],
        check_every_days=told["check_every_days"],
    )


def _card(cells: Cells) -> MaterialCard:
    return MaterialCard(
        name=cells["name"],
        kind=cells["kind"],
        cas=cells["cas"],
        synonyms=cells["synonyms"],
        density_g_ml=number(cells["density_g_ml"]),
        flash_point_c=number(cells["flash_point_c"]),
        hazards=cells["hazards"].split(),
        shelf_life_days=whole(cells["shelf_life_days"]),
        stock_shelf_life_days=whole(cells["stock_shelf_life_days"]),
        note=cells["note"],
    )
