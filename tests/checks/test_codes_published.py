"""Registry numbers of materials in use, and the rule that proves them (cas.org, check digit verification)."""

import pytest

from inventory.calc.codes import CasCheckDigit, CasNumberShape, hazard_statement, parse_cas

IN_USE = [
    "121-33-5",
    "121-32-4",
    "78-70-6",
    "115-95-7",
    "60-12-8",
    "100-51-6",
    "140-11-4",
    "120-51-4",
    "118-58-1",
    "91-64-5",
    "97-53-0",
    "106-24-1",
    "106-22-9",
    "5989-27-5",
    "138-86-3",
    "107-75-5",
    "5471-51-2",
    "105-95-3",
    "6790-58-5",
    "24851-98-7",
    "1222-05-5",
    "120-72-9",
    "120-57-0",
    "104-67-6",
    "134-20-3",
    "4940-11-8",
    "25265-71-8",
    "57-55-6",
    "110-27-0",
    "77-93-0",
    "84-66-2",
    "64-17-5",
    "7732-18-5",
]


@pytest.mark.parametrize("number", ["107-07-3", "71-23-8"])
def test_the_two_examples_of_the_registry(number):
    """cas.org: 107-07-3 sums to 33, 71-23-8 to 38."""
    assert parse_cas(number) == number


@pytest.mark.parametrize("number", IN_USE)
def test_numbers_of_odorants_and_solvents_prove_themselves(number):
    """Numbers as in the public library chemicals 1.5.2, except ambroxide 6790-58-5 (check digit computed)."""
    assert parse_cas(number) == number


@pytest.mark.parametrize("number", ["121-33-4", "64-17-6", "78-70-7", "7732-18-0", "5471-51-3"])
def test_one_wrong_digit_is_a_mistyped_number(number):
    """Computed: each is one digit away from a number in use."""
    with pytest.raises(CasCheckDigit):
        parse_cas(number)


def test_a_number_filled_up_with_zeros_is_none():
    """A published validator refuses 0000050-00-0 (formaldehyde is 50-00-0)."""
    with pytest.raises(CasNumberShape):
        parse_cas("0000050-00-0")


@pytest.mark.parametrize(
    ("code", "text"),
    [
        ("H224", "Extremely flammable liquid and vapour."),
        ("H225", "Highly flammable liquid and vapour."),
        ("H226", "Flammable liquid and vapour."),
        ("H317", "May cause an allergic skin reaction."),
        ("H334", "May cause allergy or asthma symptoms or breathing difficulties if inhaled."),
        ("H411", "Toxic to aquatic life with long lasting effects."),
        ("H412", "Harmful to aquatic life with long lasting effects."),
        ("EUH066", "Repeated exposure may cause skin dryness or cracking."),
        ("EUH208", "Contains (name of sensitising substance). May produce an allergic reaction."),
    ],
)
def test_statements_read_as_in_clp(code, text):
    """CLP Annex III; H224–H226 as printed in Table 2.6.2, EUH208 as in Annex II, 2.8."""
    assert hazard_statement(code).text == text
