"""One-time codes against RFC 6238, appendix B, the table for SHA-1.

The table has eight digits; section 5.3 of RFC 4226 makes fewer by taking the last ones.
"""

from datetime import UTC, datetime

import pytest

from studio.kernel.one_time_codes import code_at, fitting_step, step_at

SECRET = b"12345678901234567890"
TABLE = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}


@pytest.mark.parametrize(("seconds", "code"), TABLE.items())
def test_the_published_codes(seconds: int, code: str) -> None:
    at = datetime.fromtimestamp(seconds, UTC)
    assert code_at(SECRET, step_at(at)) == code[-6:]
    assert fitting_step(SECRET, code[-6:], at, after=0) == seconds // 30
    assert fitting_step(SECRET, code[-6:], at, after=seconds // 30) is None


def test_a_code_holds_one_step_either_way_and_no_longer() -> None:
    at = datetime.fromtimestamp(1234567890, UTC)
    now = step_at(at)
    fits = [fitting_step(SECRET, code_at(SECRET, now + off), at, after=0) for off in (-2, -1, 0, 1, 2)]
    assert fits == [None, now - 1, now, now + 1, None]
