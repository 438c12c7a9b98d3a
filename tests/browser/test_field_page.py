"""A crew's day on the phone: few taps, no signal, a killed browser, an ended sign-in; each report once."""

from collections.abc import Callable
from pathlib import Path

from django.utils import timezone
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from api.deploy.backups import tell_restored
from inventory.models import Container, Holding
from jobs.models import AttachedDocument, CounterPurchase, CrewDay, FieldReport, HandOver, SpanAttempt
from tests.browser.conftest import sign_in
from tests.factories.accounts import Office
from tests.factories.jobs import DAY

Phone = Callable[..., BrowserContext]
FIELD = f"/field/%3Fdate={DAY}"
MOST_TAPS = 40


def _open_field(phone: BrowserContext, live_server: LiveServer) -> Page:
    page = phone.pages[0]
    sign_in(page, live_server.url, "crew", FIELD)
    page.wait_for_selector(".day-view")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    return page


def _tell_the_day(page: Page) -> int:
    """Report the whole day by taps; returns how many it took."""
    taps = ["[data-tab=report]", "[data-action=as-planned]"]
    labels = page.eval_on_selector_all(".vessel-row", "rows => rows.map((row) => row.dataset.key)")
    taps += [f'[data-key="{label}"] label:has(input[value="2"])' for label in labels]
    taps += ["[data-action=report]"]
    for tap in taps:
        page.click(tap)
    expect(page.locator(".sending")).not_to_have_count(0)
    return len(taps)


def _wait_until_sent(page: Page, count: int) -> None:
    expect(page.locator(".sending.sent")).to_have_count(count)


def test_six_span_day_takes_at_most_forty_taps(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    page = _open_field(open_phone(), live_server)
    taps = _tell_the_day(page)
    _wait_until_sent(page, 1)
    assert taps <= MOST_TAPS
    assert FieldReport.objects.count() == 1
    assert SpanAttempt.objects.filter(outcome="all_out").count() == 6
    drum = Holding.objects.get(container__label="D-north", quantity__gt=0)
    # Half of what the drum takes, which is 57 gal.
    assert drum.quantity == 28_500_000


def test_reports_without_signal_outlive_the_browser_and_are_posted_once_each(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    phone = open_phone()
    page = _open_field(phone, live_server)
    phone.set_offline(True)
    for number in range(3):
        page.reload()
        page.wait_for_selector(".day-view")
        page.click("[data-tab=report]")
        page.fill("[data-slot=note]", f"note {number}")
        page.on("dialog", lambda dialog: dialog.accept())
        page.click("[data-action=report]")
        expect(page.locator(".sending.waiting")).to_have_count(number + 1)
        page = _open_again(phone, page)
    assert "3 waiting" in page.inner_text("#state")
    assert FieldReport.objects.count() == 0
    phone.close()

    # The same phone, its browser started anew, the sign-in ended meanwhile.
    phone = open_phone()
    phone.clear_cookies()
    page = phone.pages[0]
    page.goto(f"{live_server.url}/field/")
    expect(page.locator("#state")).to_contain_text("Signed out")
    assert "3 waiting" in page.inner_text("#state")

    # Somebody else signs in: what waits is not sent under that name.
    sign_in(page, live_server.url, "stores", "/field/")
    expect(page.locator("#state")).to_contain_text("crew to sign in")
    assert FieldReport.objects.count() == 0

    phone.clear_cookies()
    sign_in(page, live_server.url, "crew", "/field/")
    _wait_until_sent(page, 3)
    assert sorted(FieldReport.objects.values_list("note", flat=True)) == ["note 0", "note 1", "note 2"]
    assert set(FieldReport.objects.values_list("by__code", flat=True)) == {"user-crew"}


def test_report_whose_answer_was_lost_is_sent_again_and_posted_once(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    phone = open_phone()
    page = _open_field(phone, live_server)
    lost = []

    def lose_the_answer(route) -> None:  # type: ignore[no-untyped-def]
        if lost:
            route.continue_()
            return
        lost.append(route.fetch())
        route.abort()

    page.route("**/api/v1/field-reports", lose_the_answer)
    with page.expect_event("requestfailed", lambda request: request.url.endswith("/field-reports")):
        _tell_the_day(page)
    expect(page.locator("#state")).to_contain_text("1 waiting")
    assert FieldReport.objects.count() == 1
    page.click("#send-now")
    _wait_until_sent(page, 1)
    assert FieldReport.objects.count() == 1


def test_report_is_sent_again_once_after_the_book_was_brought_back(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    page = _open_field(open_phone(), live_server)
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    _tell_the_day(page)
    _wait_until_sent(page, 1)
    tell_restored(occurred_at=timezone.now(), backup=None)
    for _ in range(2):
        page.click("#send-now")
        expect(page.locator("#send-now")).to_be_enabled()
        page.wait_for_timeout(500)
        _wait_until_sent(page, 1)
    assert [url for url in sent if url.endswith("/field-reports")] == [
        f"{live_server.url}/api/v1/field-reports"
    ] * 2
    assert FieldReport.objects.count() == 1


def test_refused_report_is_kept_and_says_why(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    phone = open_phone()
    page = _open_field(phone, live_server)
    page.click("[data-tab=report]")
    page.click("[data-add=caught]")
    page.fill(".added [data-field=container]", "D-north")
    page.fill(".added [data-field=amount]", "-5.25")
    page.on("dialog", lambda dialog: dialog.accept())
    page.click("[data-action=report]")
    page.wait_for_selector(".sending.refused")
    assert "-5.25" in page.inner_text(".sending.refused")
    page.reload()
    page.wait_for_selector(".sending.refused")
    assert FieldReport.objects.count() == 0


def test_rules_of_the_trade_speak_at_once(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    page = _open_field(open_phone(), live_server)
    page.click("[data-tab=report]")
    step = page.locator(".row[data-part=attempts]").first
    step.locator("summary").click()
    step.locator("[data-field=meter_start]").fill("120")
    step.locator("[data-field=meter_end]").fill("100")
    expect(step.locator(".finding")).not_to_have_count(0)
    assert "Meter running backwards" in step.inner_text()
    assert CrewDay.objects.count() == 2


def _open_again(phone: BrowserContext, page: Page) -> Page:
    """A new tab, as after the phone's system has thrown the page out."""
    address = page.url
    fresh = phone.new_page()
    page.close()
    fresh.goto(address)
    fresh.wait_for_selector(".day-view")
    return fresh


def test_truck_hands_over_leaves_picks_up_and_buys_without_signal(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer
) -> None:
    world = six_span_office.world
    world.drum("D-second", 55, cost=550, place=six_span_office.crew.vehicle)
    phone = open_phone()
    page = _open_field(phone, live_server)
    page.click("[data-tab=truck]")
    phone.set_offline(True)
    _tick_and_send(page, "D-north", "hand-over", "truck", "truck-south")
    _tick_and_send(page, "D-second", "drop", "site", "site-1")
    form = page.locator("form[data-move=buy]")
    form.locator("[name=supplier]").select_option("supplier-1")
    form.locator("[name=ticket]").fill("T 17")
    form.locator("[name=material]").select_option("projectile-12")
    form.locator("[name=amount]").fill("4")
    form.locator("[name=cost]").fill("6,50")
    form.locator("button").click()
    expect(page.locator(".sending.waiting")).to_have_count(3)
    assert not HandOver.objects.exists()
    phone.set_offline(False)
    page.click("#send-now")
    _wait_until_sent(page, 3)
    assert HandOver.objects.get().target.code == "truck-south"
    assert Container.objects.get(label="D-second").place.code == "site-1"
    assert CounterPurchase.objects.get().ticket_number == "T 17"


def _tick_and_send(page: Page, label: str, move: str, select: str, value: str) -> None:
    page.check(f"[data-goods={label}]")
    page.locator(f"form[data-move={move}] [name={select}]").select_option(value)
    page.click(f"form[data-move={move}] button")
    page.wait_for_timeout(200)


def test_photo_waits_with_its_report_and_hangs_on_it(
    six_span_office: Office, open_phone: Phone, live_server: LiveServer, tmp_path: Path
) -> None:
    picture = tmp_path / "vault.png"
    Image.new("RGB", (64, 48), "teal").save(picture)
    phone = open_phone()
    page = _open_field(phone, live_server)
    phone.set_offline(True)
    page.click("[data-tab=report]")
    page.set_input_files("[data-slot=photos]", picture)
    expect(page.locator("[data-slot=photo-names]")).to_contain_text("vault.png")
    # Torn away before it was sent: the draft keeps it.
    page = _open_again(phone, page)
    expect(page.locator("[data-slot=photo-names]")).to_contain_text("vault.png")
    _tell_the_day(page)
    expect(page.locator(".sending.waiting")).to_have_count(2)
    phone.set_offline(False)
    page.click("#send-now")
    _wait_until_sent(page, 2)
    assert AttachedDocument.objects.get().report == FieldReport.objects.get()
