"""A real Chromium that opens the pages of a running service.

The browser is the system's own (`chromium`); where there is none, these tests are skipped and say so.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, Playwright, sync_playwright

from tests.factories.accounts import PASSWORD, Office, make_office
from tests.factories.jobs import add_step, make_span

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine; install the package of that name")
    # The driver runs a loop in this thread; what the tests ask of the database is no part of it.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as found:
        yield found
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def open_phone(playwright: Playwright, tmp_path: Path) -> Iterator[Callable[..., BrowserContext]]:
    """Opens a phone's browser; the same name opens the same phone, with all that it keeps."""
    opened: list[BrowserContext] = []

    def open_it(name: str = "phone", **options: Any) -> BrowserContext:
        context = playwright.chromium.launch_persistent_context(
            str(tmp_path / name),
            executable_path=CHROMIUM,
            args=["--no-sandbox"],
            viewport={"width": 375, "height": 740},
            **options,
        )
        context.set_default_timeout(30_000)
        opened.append(context)
        return context

    yield open_it
    for context in opened:
        context.close()


@pytest.fixture
def six_span_office(transactional_db: None) -> Office:
    """An office whose crew has six spans to extract today, a drum on its truck."""
    office = make_office()
    day = office.crew.days.get()
    for number in range(2, 7):
        span = make_span(office.run, f"S{number}", f"P{number}", f"P{number + 1}", sequence=number)
        add_step(day, "extract", span=span)
    return office


def sign_in(page: Page, base: str, name: str, to: str) -> None:
    """Sign in as a person of the office and go on to an address."""
    page.goto(f"{base}/sign-in?next={to}")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", PASSWORD)
    page.click("button.main")
