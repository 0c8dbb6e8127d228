"""What the square code on a label says: which lot, whose, and until when, in the words of GS1.

A label carries a GS1 Digital Link, an address such as
`https://still.example/01/00400000000121/10/26-0417-Z?17=270301`: a scanner that knows GS1 reads item, lot and expiry out of
it, a telephone opens the lot's page. The same three can be written and read as an element string,
`(01)00400000000121(17)270301(10)26-0417-Z`.

GS1 allows a lot (10) or an expiry (17) only beside an item (01). Registered item numbers have to be rented, and a
studio sells nothing under them, so the item is a number of restricted circulation: the prefix 04 is set aside for use within a
company (GS1 General Specifications, restricted circulation numbers). It stands for the studio itself, so a label of
another studio, whose lot numbers may well be the same, is known for what it is.
"""

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote, unquote, urlsplit

from stdnum import ean

from studio.kernel.errors import Invalid
from studio.kernel.numbers import BadNumberText, parse

SEPARATOR = "\x1d"
"""FNC1 as scanners hand it on: ends a field of varying length."""
WITHIN_A_COMPANY = "04"
LONGEST_CODE = 400
_SYMBOLOGY = re.compile(r"\](?:Q[13]|C1|d2|e0)")
_LENGTHS = {"01": 14, "11": 6, "17": 6}
_LONGEST_LOT = 20
CSET_82 = frozenset("!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz")
"""The characters a lot (10) may have (GS1 General Specifications, figure of encodable character set 82)."""


class OtherStudiosLabel(Invalid):
    """A sound code of a lot of another studio, whose numbers may be the same as ours."""

    code = "label-of-another-studio"
    title = "A label of another studio"


@dataclass(frozen=True, slots=True)
class LotCode:
    """What a code says: the studio's item number of 14 digits, the lot's number, and its last day if it has one."""

    item: str
    lot: str
    expires_on: date | None = None


def studio_item(studio: int) -> str:
    """The 14 digits that stand for a studio: restricted prefix, its key, check digit (GS1 modulo 10)."""
    body = f"{WITHIN_A_COMPANY}{studio:010d}"
    return f"0{body}{ean.calc_check_digit(body)}"


def digital_link(origin: str, code: LotCode) -> str:
    """The address a label carries; `origin` is where the service is reached, without a path."""
    expiry = f"?17={code.expires_on:%y%m%d}" if code.expires_on else ""
    return f"{origin.rstrip('/')}/01/{code.item}/10/{quote(code.lot, safe='')}{expiry}"


def element_string(code: LotCode) -> str:
    """The same in application identifiers as people read them; the lot, of varying length, comes last."""
    expiry = f"(17){code.expires_on:%y%m%d}" if code.expires_on else ""
    return f"(01){code.item}{expiry}(10){code.lot}"


def number_in(text: str, *, studio: int) -> str:
    """The number of the studio's lot that a text names: scanned from a label, the address of its page, or typed.

    Raises `BadNumberText` when it names none, `OtherStudiosLabel` when it names one of another studio.
    """
    code = read_lot_code(text)
    if code is None:
        return parse("lot", text.strip().rstrip("/").rpartition("/")[2])
    if code.item != studio_item(studio):
        raise OtherStudiosLabel(
            f"This is the label of lot {code.lot} of another studio; the lot {code.lot} here may be something else."
        )
    return code.lot


def read_lot_code(text: str, *, today: date | None = None) -> LotCode | None:
    """The item, lot and last day that a scanned text names; None when it is no such code or a sick one.

    Read are Digital Links of any host, and element strings with brackets or as a scanner sends them (with or without the
    symbology identifier, FNC1 as the separator). The lot is in the written form of a lot number. Without `today` the
    century of the last day is not known, and the day is left out.
    """
    text = text.strip()
    if len(text) > LONGEST_CODE:
        return None
    bare = _SYMBOLOGY.sub("", text, count=1) if text.startswith("]") else text
    fields = _of_link(bare) if "://" in bare else _of_elements(bare)
    if fields is None or not {"01", "10"} <= fields.keys():
        return None
    return _checked(fields, today)


def _of_link(text: str) -> dict[str, str] | None:
    try:
        parts = urlsplit(text)
    except ValueError:
        return None
    match = re.search(r"/01/(\d{14})/10/([^/]+)/?$", parts.path)
    if match is None:
        return None
    attributes = dict(re.findall(r"(?:^|&)(1[17])=(\d{6})(?=&|$)", parts.query))
    return {"01": match[1], "10": unquote(match[2]), **attributes}


def _of_elements(text: str) -> dict[str, str] | None:
    bracketed = re.findall(r"\((\d{2})\)([^(]*)", text)
    if bracketed and "".join(f"({key}){value}" for key, value in bracketed) == text:
        return dict(bracketed)
    fields: dict[str, str] = {}
    rest = text.lstrip(SEPARATOR)
    while rest:
        key, rest = rest[:2], rest[2:]
        if key == "10":
            fields[key], _, rest = rest.partition(SEPARATOR)
        elif key in _LENGTHS:
            fields[key], rest = rest[: _LENGTHS[key]], rest[_LENGTHS[key] :].removeprefix(SEPARATOR)
        else:
            return None
    return fields


def _checked(fields: dict[str, str], today: date | None) -> LotCode | None:
    item, lot = fields["01"], fields["10"]
    if not re.fullmatch(r"[0-9]{14}", item) or not ean.is_valid(item):
        return None
    if not 1 <= len(lot) <= _LONGEST_LOT or not CSET_82.issuperset(lot):
        return None
    try:
        number = parse("lot", lot)
        expires_on = day_of(fields["17"], today) if today and "17" in fields else None
    except (BadNumberText, ValueError):
        return None
    return LotCode(item, number, expires_on)


def day_of(six: str, today: date) -> date:
    """The day that YYMMDD means, day 00 being the last of its month.

    The century is the one that brings the year within 49 years before and 50 after this one (GS1 General Specifications,
    determination of century). Raises `ValueError` for a day that is in no calendar.
    """
    if not re.fullmatch(r"[0-9]{6}", six):
        raise ValueError(f"{six!r} is no day")
    year, month, day = int(six[:2]), int(six[2:4]), int(six[4:])
    apart = year - today.year % 100
    century = today.year // 100 - (apart >= 51) + (apart <= -50)
    full = 100 * century + year
    return date(full, month, day or monthrange(full, month)[1])
