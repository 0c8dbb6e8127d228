"""A small client for the API: says what a test means, and nothing of headers."""

import json
from typing import Any

from django.test import Client

ROOT = "/api/v1/"


class Api:
    """Calls the API with one key; paths are relative to /api/v1/ unless they start with a slash."""

    def __init__(self, secret: str | None) -> None:
        self.client = Client(raise_request_exception=False)
        self.secret = secret

    def get(self, path: str, **headers: Any) -> Any:
        return self.call("GET", path, **headers)

    def post(self, path: str, body: Any = None, *, key: str | None = None, **headers: Any) -> Any:
        """`key` is an idempotency key, put in quotes here."""
        if key is not None:
            headers["idempotency_key"] = f'"{key}"'
        return self.call("POST", path, {} if body is None else body, **headers)

    def patch(self, path: str, body: Any = None, *, etag: str | None = "*", **headers: Any) -> Any:
        """`etag` is what If-Match says; None leaves it out."""
        return self.call("PATCH", path, {} if body is None else body, **_matching(etag), **headers)

    def put(self, path: str, body: Any = None, *, etag: str | None = "*", **headers: Any) -> Any:
        return self.call("PUT", path, {} if body is None else body, **_matching(etag), **headers)

    def delete(self, path: str, *, etag: str | None = "*", **headers: Any) -> Any:
        return self.call("DELETE", path, **_matching(etag), **headers)

    def call(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        content_type: str = "application/json",
        **headers: Any,
    ) -> Any:
        """One request; header names are written with underscores."""
        data = b"" if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.secret is not None:
            named.setdefault("authorization", f"Bearer {self.secret}")
        address = path if path.startswith(("/", "http")) else ROOT + path
        return self.client.generic(
            method, address, data, content_type=content_type if data else "", headers=named
        )

    def all(self, path: str) -> list[Any]:
        """The rows of all pages of a list."""
        rows: list[Any] = []
        following: str | None = path
        while following:
            page = self.get(following).json()
            rows += page["items"]
            following = page["next"]
        return rows


def _matching(etag: str | None) -> dict[str, str]:
    return {} if etag is None else {"if_match": etag}
