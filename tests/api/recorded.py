"""The recorded copy of the description, so that every change of the contract is seen as a diff.

What is recorded says the same as the description, only that the refusals which many operations share stand there once,
under `components/responses`. Run as a module, this renews the copy.
"""

import difflib
import functools
import os
from copy import deepcopy
from pathlib import Path
from typing import Any

import yaml

RECORDED = Path(__file__).with_name("openapi.yaml")
RENEW = "STILLROOM_DEBUG=1 python -m tests.api.recorded"
CONTEXT = 3
DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)


@functools.cache
def described() -> str:
    """The description as it is recorded."""
    from studio.api.reference import document

    told = with_shared_refusals(document())
    return yaml.dump(told, Dumper=DUMPER, sort_keys=False, allow_unicode=True, width=110)


def with_shared_refusals(document: dict[str, Any]) -> dict[str, Any]:
    """The description with each refusal said once and referred to everywhere else."""
    shared: dict[str, Any] = {}
    told = deepcopy(document)
    for methods in told["paths"].values():
        for operation in methods.values():
            for status, response in operation["responses"].items():
                if status >= "400" and shared.setdefault(status, response) == response:
                    operation["responses"][status] = {"$ref": f"#/components/responses/{status}"}
    told["components"]["responses"] = dict(sorted(shared.items()))
    return told


def changes(recorded: str, now: str) -> str:
    """What changed, as a unified diff; empty when nothing did."""
    lines = difflib.unified_diff(
        recorded.splitlines(), now.splitlines(), "recorded", "described", lineterm="", n=CONTEXT
    )
    return "\n".join(lines)


def renew() -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    django.setup()
    RECORDED.write_text(described(), "utf-8")


if __name__ == "__main__":
    renew()
