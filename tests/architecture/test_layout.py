"""The folders and files are those of the house: few at the top, none too long, each named for its idea."""

import re
from collections.abc import Iterator
from pathlib import Path

from tests.architecture.source import FLOORS, ROOT

AT_THE_TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "requirements.txt",
    "pyproject.toml", "docker-compose.yml", "studio", "inventory", "batches", "tests", "fixtures",
}  # fmt: skip
LEFT_BY_RUNNING = {"var", "__pycache__"}
OF_THIS_COPY = {".git", ".env", ".coverage"}
LONGEST_FILE = 400
SHAPELESS = {"util", "utils", "helper", "helpers", "common", "manager", "managers", "misc"}
PROSE_AND_CODE = {".py", ".sh", ".md", ".toml", ".yml", ".txt", ".html", ".css", ".js", ".json", ".csv", ""}
OF_ONE_MACHINE = re.compile(r"/(?:work|root|home|Users|opt)/\w")


def own_files() -> Iterator[Path]:
    """Every file of the project that a person wrote or reads, without caches and vendored scripts."""
    tops = [ROOT / name for name in (*FLOORS, "tests", "fixtures", ".ci")]
    found = [file for top in tops for file in top.rglob("*")]
    found += [file for file in ROOT.iterdir() if file.name in AT_THE_TOP or file.name.startswith(".")]
    for file in sorted(found):
        parts = file.relative_to(ROOT).parts
        foreign = {"__pycache__", "vendor", *OF_THIS_COPY} & {*parts}
        if file.is_file() and file.suffix in PROSE_AND_CODE and not foreign:
            yield file


def named(files: Iterator[Path]) -> list[str]:
    return [file.relative_to(ROOT).as_posix() for file in files]


def test_nothing_unexpected_lies_at_the_top():
    entries = {entry.name for entry in ROOT.iterdir() if not entry.name.startswith(".")}
    assert entries - AT_THE_TOP - LEFT_BY_RUNNING == set()


def test_no_file_of_code_is_longer_than_four_hundred_lines():
    code = [
        file for file in own_files() if file.suffix in {".py", ".sh", ".html"} or file.parent.name == "bin"
    ]
    assert code
    # A migration is as long as the change it records.
    long = (
        file
        for file in code
        if "migrations" not in file.parts and len(file.read_text("utf-8").splitlines()) > LONGEST_FILE
    )
    assert named(long) == []


def test_every_file_is_named_for_an_idea():
    assert named(file for file in own_files() if file.stem.lower() in SHAPELESS) == []
    assert [folder for top in FLOORS for folder in (ROOT / top).rglob("*") if folder.name in SHAPELESS] == []


def test_no_path_of_one_machine_is_named():
    assert OF_ONE_MACHINE.search("see /home/" + "somebody/notes")
    assert named(file for file in own_files() if OF_ONE_MACHINE.search(file.read_text("utf-8"))) == []
