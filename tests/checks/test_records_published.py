"""Canonical JSON, hashes and signatures against the standards they follow. These values never change (golden vectors)."""

import importlib.util
import json
import struct
from pathlib import Path
from types import ModuleType

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from studio.kernel.seals import FIRST_SEAL, canonical, seal

SCRIPT = Path(__file__).resolve().parents[2] / "studio" / "bin" / "verify_bundle.py"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    """The script that lies in every bundle."""
    spec = importlib.util.spec_from_file_location("verify_bundle", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# RFC 8785, section 3.2.2: the sample input and, in section 3.2.3, its canonical form.
SAMPLE = r"""
{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}
"""
CANONICAL = (
    r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    r'"string":"€$\u000f\nA' + "'" + r'B\"\\\\\"/"}'
)
# RFC 8785, section 3.2.3: names are sorted by their UTF-16 code units.
UNSORTED = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\U0001f600": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis",
}
SORTED = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]
# RFC 8785, appendix B.
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
]


def test_the_sample_of_the_standard_has_its_canonical_text() -> None:
    assert canonical(json.loads(SAMPLE)) == CANONICAL


def test_names_are_sorted_as_the_standard_sorts_them() -> None:
    assert list(json.loads(canonical(UNSORTED)).values()) == SORTED


@pytest.mark.parametrize(("bits", "text"), NUMBERS)
def test_numbers_are_written_as_the_standard_writes_them(bits: str, text: str) -> None:
    [number] = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical({"n": number}) == f'{{"n":{text}}}'


def test_masses_are_sealed_as_strings_and_a_seal_never_changes() -> None:
    """Computed once with hashlib; it must be the same after every upgrade."""
    text = canonical({"mass": "2.500000", "by": "Ada", "amends": None, "sequence": 1})
    assert text == '{"amends":null,"by":"Ada","mass":"2.500000","sequence":1}'
    assert seal(FIRST_SEAL, text) == "e4125e3e29d90bffa50a671f87fa57a199885b6d91325e7f574808c6f0457134"


# RFC 8032, section 7.1: secret key, public key, message, signature.
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
        "387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc659"
        "4a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_the_script_takes_the_signatures_of_the_standard_and_no_other(
    script: ModuleType, secret: str, public: str, message: str, signature: str
) -> None:
    key, text, mark = bytes.fromhex(public), bytes.fromhex(message), bytes.fromhex(signature)
    # That the values are the standard's shows in that an independent library makes the same ones.
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert private.public_key().public_bytes_raw() == key
    assert private.sign(text) == mark
    assert script.signed(key, text, mark)
    assert not script.signed(key, text + b"x", mark)
    for place in (0, 31, 32, 63):
        spoiled = bytearray(mark)
        spoiled[place] ^= 1
        assert not script.signed(key, text, bytes(spoiled))


def test_the_script_refuses_what_is_no_signature_or_no_key(script: ModuleType) -> None:
    private = Ed25519PrivateKey.generate()
    key, mark = private.public_key().public_bytes_raw(), private.sign(b"text")
    order = script.ORDER
    grown = mark[:32] + (int.from_bytes(mark[32:], "little") + order).to_bytes(32, "little")
    for wrong in (b"", mark[:63], mark + b"\0", grown):
        assert not script.signed(key, b"text", wrong)
    for wrong in (b"", key[:31], b"\xff" * 32, bytes([2] + [0] * 31)):
        assert not script.signed(wrong, b"text", mark)
    assert script.signed(key, b"text", mark)
