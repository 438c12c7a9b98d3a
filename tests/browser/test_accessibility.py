"""No page breaks a rule of axe-core, in light and dark, at a desk and on a phone of 320 px."""

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.browser.conftest import sign_in
from tests.factories.accounts import Office
from tests.factories.jobs import DAY

PAGES = {
    "stores": [
        "/restock",
        "/where",
        "/where?search=zzz",
        "/containers/D-1",
        "/settings",
        f"/days?date={DAY}",
    ],
    "crew": [f"/days?date={DAY}", f"/days/north/{DAY}", f"/field/?date={DAY}", "/restock"],
    "": ["/sign-in"],
}
LOOKS = [("light", 1280), ("dark", 320)]


@pytest.fixture
def page(open_phone: Callable[..., BrowserContext]) -> Page:
    return open_phone().pages[0]


@pytest.mark.long
def test_axe_finds_nothing_in_the_list_of_addresses(
    six_span_office: Office, page: Page, live_server: LiveServer
) -> None:
    page.set_viewport_size({"width": 320, "height": 700})
    page.goto(f"{live_server.url}/api/v1/reference")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


@pytest.mark.parametrize("role", PAGES)
@pytest.mark.parametrize(("scheme", "width"), LOOKS)
def test_axe_finds_nothing_and_nothing_is_wider_than_the_screen(
    six_span_office: Office, page: Page, live_server: LiveServer, role: str, scheme: str, width: int
) -> None:
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.set_viewport_size({"width": width, "height": 700})
    if role:
        sign_in(page, live_server.url, role, "/settings")
    for address in PAGES[role]:
        page.goto(live_server.url + address)
        if address.startswith("/field"):
            expect(page.locator(".day-view")).to_have_count(1)
            page.click("[data-tab=report]")
        found = Axe().run(page)
        assert found.violations_count == 0, f"{address}: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= width, address
