"""A real browser in front of the real service, for what only a browser can show.

The service runs in threads of the test process, on the test database as it stands: what is written is committed, as
in the tests of races, because the ledger cannot be emptied afterwards. Each test founds a studio of its own and looks
at nothing else. The browser is Debian's Chromium, kept from talking to anybody but the service.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from socketserver import ThreadingMixIn
from threading import Thread
from typing import TYPE_CHECKING, Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

import pytest

from tests.conftest import PASSWORD

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from studio.models import Member

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
WIDTHS = (360, 768, 1280)
SCHEMES = {"light": WIDTHS, "dark": WIDTHS[:1]}
"""The widths that a page is looked at in each scheme of colours: colours do not hang on the width."""
SWITCHES = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class _Server(ThreadingMixIn, WSGIServer):
    """A thread for each request, which leaves no database connection behind, not even one opened by a stream."""

    daemon_threads = True

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        from django.db import connections

        try:
            super().process_request_thread(request, client_address)
        finally:
            connections.close_all()


class _Quiet(WSGIRequestHandler):
    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002
        """Say nothing; a failing test tells more than a log of requests."""


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The browser, one for all tests. Where there is none the tests fail, and do not pass silently."""
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium")
    assert program, (
        "The browser tests need Debian's chromium: apt-get install --no-install-recommends chromium"
    )
    # The driver keeps an event loop in this thread, which Django would take for asynchronous code of ours.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "yes"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=SWITCHES)
        yield browser
        browser.close()


@pytest.fixture
def service(committed: None, settings: Any) -> Iterator[str]:
    """The address of the running service."""
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.core.handlers.wsgi import WSGIHandler

    settings.ALLOWED_HOSTS = ["127.0.0.1"]
    server = make_server("127.0.0.1", 0, StaticFilesHandler(WSGIHandler()), _Server, _Quiet)
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def open_page(chromium: Browser, service: str) -> Iterator[Callable[..., Page]]:
    """Opens further browsers; each is checked at the end for errors in its console and for foreign requests."""
    contexts = []
    wrong: list[str] = []

    def fresh(width: int = 1280, scheme: str = "light") -> Page:
        context = chromium.new_context(
            base_url=service, viewport={"width": width, "height": 900}, color_scheme=scheme
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("console", lambda told: wrong.append(told.text) if _is_error(told, page) else None)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on(
            "request",
            lambda request: (
                None if request.url.startswith((service, "data:", "blob:")) else wrong.append(request.url)
            ),
        )
        return page

    yield fresh
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture
def page(open_page: Callable[..., Page]) -> Page:
    """A browser nobody is signed in with."""
    return open_page()


def _is_error(told: Any, page: Any) -> bool:
    """Warnings count too. That a page as a whole answers 404 or 422 is noted as an error too, but is meant."""
    itself = told.location.get("url") == page.url and "responded with a status of 4" in told.text
    return told.type in ("error", "warning") and not itself


def sign_in(page: Page, member: Member) -> Page:
    """Sign in by the page, as a person does."""
    page.goto("/sign-in/")
    page.get_by_label("E-mail address").fill(member.person.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    return page


def faults_of(page: Page) -> list[str]:
    """What is wrong with a page as it stands: axe's findings, sideways scroll, targets that are too small."""
    if not page.evaluate("typeof axe === 'object'"):
        # Evaluated by the debugger, so that the page's own policy stays as strict as it is.
        page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})",
        RULES,
    )
    faults = [
        f"{violation['id']}: {node['target']} {node['failureSummary']}"
        for violation in found["violations"]
        for node in violation["nodes"]
    ]
    width = page.viewport_size["width"]  # type: ignore[index]
    scroll = page.evaluate("document.documentElement.scrollWidth")
    if scroll > width:
        faults.append(f"the page is {scroll} px wide on a screen of {width} px")
    return faults + page.evaluate(SMALL_TARGETS)


SMALL_TARGETS = """() => [...document.querySelectorAll("button, .button, input:not([type=hidden]), select, summary, nav a")]
  .filter(one => one.checkVisibility() && !one.closest(".skip"))
  .map(one => [one.matches("[type=checkbox], [type=radio]") ? one.closest(".field, label") ?? one : one, one])
  .filter(([box]) => box.getBoundingClientRect().height < 43.5)
  .map(([box, one]) => `only ${box.getBoundingClientRect().height} px high: ${one.outerHTML.slice(0, 90)}`)"""
