"""The project's own source, parsed once, for tests that watch what import contracts cannot see.

A watch is a function from one parsed module to the places where it found something. Keeping it apart from the
files lets every test show first that the watch sees a bad example, and then that the project has none.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FLOORS = ("studio", "inventory", "batches")


@dataclass(frozen=True, slots=True)
class Module:
    """One Python file: its path from the top, with slashes, and its syntax tree."""

    path: str
    tree: ast.Module

    @property
    def floor(self) -> str:
        return self.path.split("/")[0]

    def is_in(self, *parts: str) -> bool:
        """Whether the file lies in one of these folders of its floor, or is a module of that name."""
        return self.path.split("/")[1].removesuffix(".py") in parts


Watch = Callable[[Module], Iterator[str]]


def parsed(text: str, path: str = "inventory/queries/example.py") -> Module:
    return Module(path, ast.parse(text))


@cache
def modules() -> tuple[Module, ...]:
    """Every Python file of the three floors."""
    files = sorted(file for floor in FLOORS for file in (ROOT / floor).rglob("*.py"))
    return tuple(parsed(file.read_text("utf-8"), file.relative_to(ROOT).as_posix()) for file in files)


def file_of(path: str) -> str:
    """`path`, when it is a Python file of the three floors: an exception for one that is gone would excuse the next."""
    if path not in {module.path for module in modules()}:
        raise LookupError(f"There is no {path} any more; take it out of the list.")
    return path


def seen_by(watch: Watch, *, among: Callable[[Module], bool] = lambda module: True) -> list[str]:
    """Everything the watch sees in the project, as `path:line what`."""
    return [f"{module.path}:{what}" for module in modules() if among(module) for what in watch(module)]


def sees(watch: Watch, text: str, path: str = "inventory/queries/example.py") -> bool:
    """Whether the watch sees something in this example."""
    return any(watch(parsed(text, path)))


def calls(module: Module) -> Iterator[tuple[ast.Call, str]]:
    """Every call of a method, with the method's name."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            yield node, node.func.attr


def imported(module: Module) -> Iterator[tuple[int, str]]:
    """Line and dotted name of everything imported."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((node.lineno, f"{node.module}.{alias.name}") for alias in node.names)


def texts(module: Module) -> Iterator[tuple[int, str]]:
    """Line and value of every string that is not a docstring, the fixed parts of f-strings included."""
    prose = {
        id(node.value)
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in prose:
            yield node.lineno, node.value
