"""A paper reads nothing but this package and the fonts, whatever a lot is called."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from batches.calc.label_layout import LabelLayout
from batches.papers.labels import print_labels
from batches.papers.printing import FILES, OwnFiles
from batches.papers.ticket import print_ticket
from batches.queries.labels import labels_of
from batches.queries.tickets import ticket_of
from tests.batches.papers.conftest import COPY
from tests.papers import words

TEMPLATES = FILES.parents[2] / "templates"
ROOT = TEMPLATES.parents[1]
SOUGHT = "templates/batches/papers"
HOSTILE = [
    '<img src="file:///etc/passwd">',
    '"><link rel="stylesheet" href="http://192.0.2.1/x.css">',
    "<style>@import url(http://192.0.2.1/y.css); * { background: url(file:///etc/hostname) }</style>",
    '<svg><image href="http://192.0.2.1/z.png"/></svg>',
    "{% include '/etc/passwd' %}{{ settings.SECRET_KEY }}",
    "</title></head><body onload=alert(1)><script>alert(1)</script>",
    "url(file:///etc/passwd) code:x paper:../../../../etc/passwd",
]
_seen: list[tuple[str, str]] = []
_watching = False


def _note(event: str, told: tuple) -> None:
    if _watching and (event == "open" or event.startswith("socket.")):
        _seen.append((event, str(told[0])))


sys.addaudithook(_note)


@contextmanager
def watched() -> Iterator[list[tuple[str, str]]]:
    """Everything that is opened meanwhile, files and sockets alike."""
    global _watching
    _seen.clear()
    _watching = True
    try:
        yield _seen
    finally:
        _watching = False


def foreign(seen: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """What was opened besides the pictures, styles and templates of papers, and the code of libraries."""
    ours = (
        str(FILES),
        str(TEMPLATES),
        *(path for path in sys.path if path.endswith("site-packages")),
        sys.prefix,
        sys.base_prefix,
    )
    return [
        (event, name)
        for event, name in seen
        if event != "open"
        or not (name.startswith(ours) or Path(name).suffix in (".py", ".pyc") or is_template(name))
    ]


def is_template(name: str) -> bool:
    """Whether a template of papers is sought: the first time that is done on every floor."""
    return name.startswith(tuple(str(ROOT / floor / SOUGHT) for floor in ("studio", "inventory", "batches")))


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_printed_as_it_is_and_reaches_for_nothing(name, closed, studio):
    ticket = ticket_of(studio=studio, number=closed.number)
    line = replace(ticket.lines[0], title=name, material=name, shelf=name, supplier_lot=name)
    hostile = replace(ticket, title=name, note=name, studio=name, lines=(line, *ticket.lines[1:]))
    labels = labels_of(studio=studio, numbers=[ticket.lines[0].lot])
    label = replace(labels.labels[0], title=name, keeper=name, solvent=name)
    with watched() as seen:
        paper = print_ticket(hostile, replace(COPY, by=name))
        print_labels(replace(labels, labels=(label,)), LabelLayout(), COPY)
    assert foreign(seen) == []
    assert "".join(name.split())[:20] in "".join(words(paper).split())
    assert "root:" not in words(paper)


def test_the_watch_sees_a_file_and_a_socket():
    import socket

    with watched() as seen:
        Path("/etc/hostname").read_bytes()
        socket.socket().close()
    assert [event for event, _ in foreign(seen)][:1] == ["open"]
    assert any(event.startswith("socket.") for event, _ in foreign(seen))


@pytest.mark.parametrize(
    "address",
    [
        "http://192.0.2.1/x",
        "file:///etc/passwd",
        "data:text/plain,x",
        "paper:../../../settings.py",
        "paper:paper.css",
        "ftp://x/y",
        "",
    ],
)
def test_every_other_address_is_refused(address):
    with pytest.raises(ValueError, match="own pictures"):
        OwnFiles(allowed_protocols=()).fetch(address)


def test_a_picture_of_the_package_and_a_code_are_given():
    own = OwnFiles(allowed_protocols=())
    assert own.fetch("paper:GHS02.svg").read().startswith(b"<svg")
    assert own.fetch("code:26-0417-Z").read().startswith(b"\x89PNG")
