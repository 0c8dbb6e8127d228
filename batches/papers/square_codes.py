"""Square codes (QR Code, ISO/IEC 18004) as pictures of the print.

A code is a picture of one bit a module, enlarged without smoothing, so it is sharp at any size. As drawings the codes
of a sheet of labels would take ten times as long to print.
"""

from base64 import b64decode
from functools import lru_cache
from urllib.parse import quote, unquote

import segno

QUIET = 4
"""Modules left white around the code, as the standard asks."""
DOTS = 6
"""Dots a module; printers of 300 and 600 dots an inch then have nothing to guess."""
SCHEME = "code:"


def code_address(text: str) -> str:
    """The address by which a paper names the picture of the code of `text`."""
    return f"{SCHEME}{quote(text, safe='')}"


def code_at(address: str) -> bytes:
    """The picture (PNG) that such an address names. Raises `ValueError` for any other."""
    if not address.startswith(SCHEME):
        raise ValueError("This names no code.")
    return _picture(unquote(address.removeprefix(SCHEME)))


@lru_cache(maxsize=512)
def _picture(text: str) -> bytes:
    """Level M: 15 % of it may be smudged and it is still read."""
    code = segno.make_qr(text, error="m", boost_error=False)
    return b64decode(code.png_data_uri(scale=DOTS, border=QUIET).partition(",")[2])
