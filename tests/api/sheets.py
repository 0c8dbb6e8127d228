"""Sending sheets to the API and reading those it gives."""

import csv
import io
from typing import Any


def send(api: Any, path: str, text: str, **headers: Any) -> Any:
    return api.call("POST", path, text.encode(), content_type="text/csv", **headers)


def exported(api: Any, path: str) -> str:
    """A list as the text of a sheet."""
    answer = api.get(f"{path}{'&' if '?' in path else '?'}format=csv")
    assert answer.status_code == 200
    text: str = b"".join(answer.streaming_content).decode()
    return text


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))


def without(rows: list[dict[str, Any]], *names: str) -> list[dict[str, Any]]:
    """The rows without what only the studio they came from can know."""
    return [{name: value for name, value in row.items() if name not in names} for row in rows]
