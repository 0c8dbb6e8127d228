"""Looking at pages without a browser: signed in as a member, their text, and their forms sent as a browser would."""

import re
from html import unescape
from typing import Any

from django.test import Client


class Visitor:
    """Somebody in front of the pages."""

    def __init__(self, member: Any) -> None:
        self.client = Client(raise_request_exception=False)
        self.client.force_login(member.person)

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(path, headers=headers)

    def text(self, path: str) -> str:
        """What one reads on a page, in one line."""
        return text(self.get(path))

    def key(self, path: str) -> str:
        """The key of the form on a page."""
        return re.search(r'name="once" value="(\w+)"', self.get(path).content.decode())[1]

    def send(self, path: str, **values: Any) -> Any:
        """Open a form, fill it in, and send it."""
        return self.client.post(path, {"once": self.key(path), **values})

    def send_and_follow(self, path: str, **values: Any) -> str:
        """Likewise, and what one then reads."""
        answer = self.send(path, **values)
        assert answer.status_code == 303, text(answer)
        return self.text(answer["Location"])


def text(answer: Any) -> str:
    """The words of an answer, without tags, in one line."""
    bare = re.sub(r"<(script|svg)\b.*?</\1>|<[^>]+>", " ", answer.content.decode(), flags=re.DOTALL)
    return " ".join(unescape(bare).split()).replace("\u00a0", " ")
