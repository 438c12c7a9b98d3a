"""The field page in the language of whoever is signed in, also where there is no signal."""

from collections.abc import Callable

from playwright.sync_api import BrowserContext, expect
from pytest_django.live_server_helper import LiveServer

from api.models import User
from jobs.models import RuleFinding
from tests.browser.conftest import sign_in
from tests.factories.accounts import Office
from tests.factories.jobs import DAY

Phone = Callable[..., BrowserContext]


def test_spanish_crew_works_in_spanish_without_a_signal(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    User.objects.filter(pk=six_span_office.users["crew"].pk).update(language="es")
    phone = open_phone()
    page = phone.pages[0]
    sign_in(page, live_server.url, "crew", f"/field/%3Fdate={DAY}")
    page.wait_for_url("**/field/es/**")
    page.wait_for_selector(".day-view")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    phone.set_offline(True)
    # By the address that everybody knows; the phone goes to its person's language by itself.
    page.goto(f"{live_server.url}/field/?date={DAY}")
    page.wait_for_url("**/field/es/**")
    assert page.evaluate("document.documentElement.lang") == "es"
    page.click("[data-tab=sheet]")
    expect(page.locator('[data-slot="cautions"]')).to_contain_text("Nunca busque una fuga con la mano")
    expect(page.locator("#state")).to_contain_text("Sin señal")
    page.click("[data-tab=report]")
    row = page.locator('[data-key^="step extract"]').first
    expect(row).to_contain_text("Extraer el tramo S1")
    row.locator('label:has(input[value="all_out"])').click()
    row.locator("details > summary").click()
    row.locator('[data-field="was_leak_looked_for"]').select_option("no")
    expect(row.locator('[data-slot="findings"]')).to_contain_text("Tramo S1: no se buscaron fugas")
    page.once("dialog", lambda dialog: dialog.accept())
    page.click("[data-action=report]")
    expect(page.locator(".sending.waiting")).to_have_count(1)
    phone.set_offline(False)
    page.click("#send-now")
    expect(page.locator(".sending.sent")).to_have_count(1)
    # The record keeps the language of the book; the phone says the rule in Spanish beside it.
    expect(page.locator(".sending .warn").first).to_contain_text("No se buscaron fugas")
    expect(page.locator('.sending .warn[lang="en"]')).to_contain_text("no leak was looked for")
    assert RuleFinding.objects.get(rule="leak_not_looked_for").sentence.startswith("Span S1: no leak")


def test_phone_that_changes_hands_changes_its_language(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    crew = six_span_office.users["crew"]
    page = open_phone().pages[0]
    sign_in(page, live_server.url, "crew", f"/field/%3Fdate={DAY}")
    page.wait_for_selector(".day-view")
    assert page.evaluate("document.documentElement.lang") == "en"
    User.objects.filter(pk=crew.pk).update(language="es")
    page.click("#send-now")
    page.wait_for_url("**/field/es/**")
    User.objects.filter(pk=crew.pk).update(language="en")
    page.wait_for_selector(".day-view")
    page.click("#send-now")
    page.wait_for_url(f"**/field/?date={DAY}")


def test_phone_of_nobody_follows_the_browser(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    page = open_phone(locale="es-MX").pages[0]
    page.goto(f"{live_server.url}/field/")
    page.wait_for_url("**/field/es/")
    expect(page.locator("#days")).to_contain_text("Este teléfono aún no guarda ningún día")
