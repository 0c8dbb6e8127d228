"""Reading papers back as a person and a scanner would: their words, their pages as pictures, their square codes."""

import io
import subprocess

import zxingcpp
from PIL import Image

DOTS_AN_INCH = 200


def words(data: bytes, page: int | None = None) -> str:
    """The text of a PDF, or of one page counted from 1, in one line."""
    return " ".join(_told("pdftotext", data, page, "-").decode().replace("\u00a0", " ").split())


def pages(data: bytes) -> int:
    """How many pages it has."""
    told = _told("pdfinfo", data, None).decode()
    return int(told.partition("Pages:")[2].split()[0])


def fonts(data: bytes) -> str:
    """The fonts it brings along."""
    return _told("pdffonts", data, None).decode()


def picture(data: bytes, page: int = 1, dots: int = DOTS_AN_INCH) -> Image.Image:
    """One page as it would be printed."""
    return Image.open(io.BytesIO(_told("pdftoppm", data, page, "-png", "-r", str(dots))))


def codes(data: bytes) -> list[str]:
    """What a scanner reads on all pages: page by page, from the top down, and from the left."""
    found = []
    for page in range(1, pages(data) + 1):
        seen = zxingcpp.read_barcodes(picture(data, page), formats=zxingcpp.BarcodeFormat.QRCode)
        places = [(one.position.top_left.y // 20, one.position.top_left.x, one.text) for one in seen]
        found += [text for _, _, text in sorted(places)]
    return found


def _told(program: str, data: bytes, page: int | None, *more: str) -> bytes:
    """What a program of poppler-utils says of a PDF given to its standard input."""
    span = [] if page is None else ["-f", str(page), "-l", str(page)]
    flags = [one for one in more if one != "-"]
    out = ["-"] if "-" in more else []
    return subprocess.run(
        [program, *span, *flags, "-", *out], input=data, capture_output=True, check=True
    ).stdout
