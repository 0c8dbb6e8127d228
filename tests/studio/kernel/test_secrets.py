"""The secrets of keys: recognisable, checkable, and never twice the same."""

import hashlib
import re

from hypothesis import given
from hypothesis import strategies as st

from studio.kernel.secrets import digest, new_secret, well_formed

SECRET = new_secret()


def test_a_secret_is_recognised_by_its_shape():
    assert re.fullmatch(r"still_[A-Za-z0-9_-]{32}[0-9a-f]{6}", SECRET)
    assert well_formed(SECRET)


def test_no_two_secrets_are_the_same():
    assert len({new_secret() for _ in range(1000)}) == 1000


def test_any_one_wrong_character_is_noticed_without_a_look_into_the_database():
    for place in range(len(SECRET)):
        for letter in "aZ0_-é":
            typed = SECRET[:place] + letter + SECRET[place + 1 :]
            assert well_formed(typed) == (typed == SECRET)


def test_a_key_cut_short_is_noticed():
    assert not any(well_formed(SECRET[:length]) for length in range(len(SECRET)))


@given(st.text(max_size=60))
def test_nothing_else_passes(text):
    assert not well_formed(text)


def test_kept_is_the_plain_sha256():
    # NIST's published value of SHA-256("abc") (FIPS 180-4 example).
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest(SECRET) == hashlib.sha256(SECRET.encode()).hexdigest()
