"""The browser reads weights as the server does: the same grams, the same sentences, for thousands of texts."""

from decimal import Decimal
from random import Random

from batches.calc.typed_slips import LineBand, question_about, unit_wanted
from inventory.calc.readings import (
    UnclearWeight,
    balance_reading,
    typed_weight,
    why_not_kept,
)
from tests.inventory.calc.test_readings import CLEAR, KEPT, NO_NUMBER, SHOWN_ONLY, UNCLEAR

READINGS = "/static/batches/bench/readings.js"
SLIPS = "/static/batches/bench/slips.js"


def traps(count: int, seed: int) -> list[str]:
    """Weights with units, commas, points, signs and spaces where people and balances put them, and elsewhere."""
    dice = Random(seed)
    pieces = [
        "",
        "",
        "0",
        "2",
        "25",
        "250",
        "2500",
        "1234",
        "005",
        ".",
        ",",
        ".5",
        ",5",
        ",500",
        ".500",
        ",2500",
        "7",
        "000",
    ]
    units = [
        "",
        "",
        "g",
        " g",
        "mg",
        " mg",
        "kg",
        "µg",
        "μg",
        "ug",
        "Mg",
        "MG",
        "G",
        "ml",
        "oz",
        "ct",
        " %",
        "gr",
        "l",
    ]
    marks = ["", "", "", "+", "-", "−", "S ", "SD ", "ST,", "N", "? ", "~", "GS ", " ", "\u202f", "\t"]
    return [
        dice.choice(marks)
        + "".join(dice.choice(pieces) for _ in range(dice.randint(1, 4)))
        + dice.choice(units)
        + dice.choice(["", "", "", " ", " S", " ?", " N", "\r\n", "."])
        for _ in range(count)
    ]


def typed_by_the_server(text: str) -> list[str]:
    try:
        weight = typed_weight(text)
    except UnclearWeight as refusal:
        return ["", refusal.message]
    return [str(int(weight.grams * 10**6)), weight.unit]


def read_by_the_server(line: str) -> list[str] | None:
    reading = balance_reading(line)
    if reading is None:
        return None
    obstacle = why_not_kept(reading)
    grams = "" if obstacle else str(int((reading.grams or 0) * 10**6))
    return [grams, reading.unit, {True: "stable", False: "moving", None: ""}[reading.stable], obstacle]


def test_browser_and_server_read_every_typed_weight_alike(page):
    texts = [*CLEAR, *UNCLEAR, *KEPT, *SHOWN_ONLY, *traps(3000, 1)]
    page.goto("/sign-in/")
    read = page.evaluate(
        """async ([at, texts]) => {
          const { typedWeight } = await import(at);
          return texts.map(text => typedWeight(text)).map(
            found => found.fault ? ["", found.fault] : [String(found.micrograms), found.unit]);
        }""",
        [READINGS, texts],
    )
    differing = [
        (text, ours, theirs)
        for text, theirs in zip(texts, read, strict=True)
        if (ours := typed_by_the_server(text)) != theirs
    ]
    assert differing == []


def test_browser_and_server_read_every_line_of_a_balance_alike(page):
    lines = [*CLEAR, *UNCLEAR, *KEPT, *SHOWN_ONLY, *NO_NUMBER, *traps(3000, 2)]
    page.goto("/sign-in/")
    read = page.evaluate(
        """async ([at, lines]) => {
          const { balanceReading, whyNotKept } = await import(at);
          return lines.map(balanceReading).map(found => {
            if (!found) return null;
            const why = whyNotKept(found);
            const stable = found.stable === null ? "" : found.stable ? "stable" : "moving";
            return [why ? "" : String(found.micrograms), found.unit, stable, why];
          });
        }""",
        [READINGS, lines],
    )
    differing = [
        (line, ours, theirs)
        for line, theirs in zip(lines, read, strict=True)
        if (ours := read_by_the_server(line)) != theirs
    ]
    assert differing == []


def test_browser_and_server_ask_for_the_same_weights_twice(page):
    dice = Random(3)
    cases = []
    for _ in range(1000):
        target = dice.randint(10_000, 20_000_000)
        before = dice.choice([0, 0, dice.randint(0, target)])
        width = target // 50
        meant = max(target - before, 1)
        mass = max(
            1,
            int(
                meant
                * dice.choice([0.001, 0.01, 0.1, 0.5, 1, 1.01, 2, 10, 100, 1000])
                * dice.uniform(0.85, 1.15)
            ),
        )
        cases.append([target, target - width, target + width, before, mass, dice.choice(["", "g", "mg"])])
    page.goto("/sign-in/")
    asked = page.evaluate(
        """async ([at, cases]) => {
          const { questionAbout, unitWanted } = await import(at);
          return cases.map(([target, smallest, largest, before, mass, unit]) => {
            const band = Object.fromEntries(Object.entries({target, smallest, largest, before}).map(([k, v]) => [k, BigInt(v)]));
            return [unitWanted(band, BigInt(mass), unit), questionAbout(band, BigInt(mass))];
          });
        }""",
        [SLIPS, cases],
    )

    def grams(micrograms: int) -> Decimal:
        return Decimal(micrograms).scaleb(-6)

    for (*figures, mass, unit), theirs in zip(cases, asked, strict=True):
        band = LineBand(*map(grams, figures))
        assert [unit_wanted(band, grams(mass), unit), question_about(band, grams(mass))] == theirs
