"""The crew's pages and the cautions in another language: nothing is missing, numbers stay what they are."""

import ast
import gettext
import json
import re
import string
from collections.abc import Callable
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
import quickjs
from django.contrib.staticfiles import finders
from django.test import Client
from django.utils import timezone, translation

from api.models import User
from inventory.models import Container
from inventory.units import Amount
from jobs.models import CableSize
from jobs.queries.kit_masses import lifting_caution
from jobs.queries.truck_load import TruckLoad
from jobs.services.safety.pressure_limits import approve_pressure_limit
from tests.api.pages.translated_words import ROOT, list_words, list_words_of_the_office
from tests.factories.accounts import Office
from tests.factories.jobs import DAY

Browse = Callable[[str], Client]
CATALOG = ROOT / "api" / "locale" / "es" / "LC_MESSAGES" / "django"
# The same in both languages: signs of units, fractions, words that Spanish shares.
SHARED = {"Spanstock", "no", "pedestal", "Pedestal", "", "·", "English", "Español", "crew", "north crew"}


def read_source(path: Path) -> dict[str, str]:
    """Message ids and what they become, from the text that people edit; plurals joined as they are in use."""
    found: dict[str, str] = {}
    for block in path.read_text(encoding="utf-8").split("\n\n"):
        parts: dict[str, str] = {}
        name = ""
        for line in block.splitlines():
            match = re.match(r'(?:(msgid_plural|msgid|msgstr(?:\[\d\])?) )?(".*")$', line)
            if match:
                name = match[1] or name
                parts[name] = parts.get(name, "") + ast.literal_eval(match[2])
        if parts.get("msgid"):
            found[parts["msgid"]] = parts.get("msgstr", parts.get("msgstr[0]", ""))
        if "msgid_plural" in parts:
            found[parts["msgid_plural"]] = parts["msgstr[1]"]
    return found


def read_compiled(path: Path) -> dict[str, str]:
    with path.open("rb") as file:
        catalog = gettext.GNUTranslations(file)
    rows: dict[Any, str] = catalog._catalog  # type: ignore[attr-defined]
    found = {key: text for key, text in rows.items() if isinstance(key, str) and key}
    for key, text in rows.items():
        if isinstance(key, tuple):
            single = key[0]
            found[single if key[1] == 0 else f"plural of {single}"] = text
    return found


def places(text: str) -> list[str]:
    """The names in a sentence that are filled in."""
    named = [name for _text, name, _format, _conversion in string.Formatter().parse(text) if name is not None]
    return sorted(named + re.findall(r"%\((\w+)\)s", text))


def test_every_word_is_translated_and_no_other_is_kept() -> None:
    source = read_source(CATALOG.with_suffix(".po"))
    assert {word for word in list_words() if not source.get(word, "").strip()} == set()
    assert set(source) - list_words() - list_words_of_the_office() == set()
    assert len(source) > 250


def test_what_is_filled_in_is_the_same_in_both_languages() -> None:
    for word, text in read_source(CATALOG.with_suffix(".po")).items():
        assert places(word) == places(text), word


def test_numbers_in_a_caution_are_the_same_in_both_languages() -> None:
    for word, text in read_source(CATALOG.with_suffix(".po")).items():
        assert re.findall(r"\d+", word) == re.findall(r"\d+", text), word


def test_compiled_words_are_made_of_the_source() -> None:
    source, compiled = read_source(CATALOG.with_suffix(".po")), read_compiled(CATALOG.with_suffix(".mo"))
    plurals = {key for key in compiled if key.startswith("plural of ")}
    assert {key: compiled[key] for key in compiled if key not in plurals} == {
        key: text for key, text in source.items() if key in compiled
    }
    assert sorted(compiled.values()) == sorted(source.values())


@pytest.fixture
def crew(office: Office, browse: Browse) -> Client:
    User.objects.filter(pk=office.users["crew"].pk).update(language="es")
    return browse("crew")


def test_day_sheet_and_its_cautions_are_spanish(crew: Client, browse: Browse, office: Office) -> None:
    approve_limit_of_extraction(office)
    spanish = crew.get(f"/days/north/{DAY}")
    text = spanish.content.decode()
    assert spanish["Content-Language"] == "es"
    assert '<html lang="es">' in text
    assert "Extraer el tramo S1" in text
    assert "Nunca busque una fuga con la mano" in text
    assert "Los tambores llenos nunca se levantan a mano" in text
    assert "Presión, para extracción: el límite aprobado es 60 psi, el de hose." in text
    for english in ("Never feel", "Eye protection for", "Extract span", "pressure end"):
        assert english not in text
    other = browse("planner").get(f"/days/north/{DAY}").content.decode()
    assert "the approved limit is 60 psi, that of hose." in other
    assert amounts(text) == amounts(other)
    assert len(amounts(text)) > 2


def amounts(text: str) -> list[str]:
    return re.findall(r'<td class="number">([^<]*)</td>', text)


def approve_limit_of_extraction(office: Office) -> None:
    officer = office.users["safety"].actor
    assert officer is not None
    approve_pressure_limit(
        id=uuid4(),
        purpose="extraction",
        pressure=Amount(Decimal(60), "[psi]"),
        weakest_part="hose",
        by=officer,
        role="safety",
        occurred_at=timezone.now(),
    )


def test_missing_limit_is_said_in_spanish_and_never_as_a_permission(crew: Client) -> None:
    text = crew.get(f"/days/north/{DAY}").content.decode()
    assert "sin límite aprobado. Pregunte a seguridad" in text
    assert "esta hoja no autoriza ninguna presión" in text


def test_confidence_of_a_size_is_said_in_spanish(crew: Client) -> None:
    CableSize.objects.update(confidence="weak", measured_bore_mm=None)
    assert "es un valor nominal poco fiable: mida antes" in crew.get(f"/days/north/{DAY}").content.decode()


@pytest.mark.parametrize(
    ("chosen", "asked", "language"),
    [
        ("", "es-MX,es;q=0.9", "es"),
        ("", "fr,es;q=0.5", "es"),
        ("", "fr", "en"),
        ("", "", "en"),
        ("en", "es", "en"),
        ("es", "en", "es"),
    ],
)
def test_ones_choice_goes_before_what_the_browser_asks(
    office: Office, browse: Browse, chosen: str, asked: str, language: str
) -> None:
    User.objects.filter(pk=office.users["crew"].pk).update(language=chosen)
    answer = browse("crew").get("/settings", headers={"Accept-Language": asked})
    assert f'<html lang="{language}">' in answer.content.decode()
    assert "Accept-Language" in answer["Vary"]


def test_language_is_chosen_in_ones_settings(browse: Browse, office: Office) -> None:
    client = browse("crew")
    client.post("/settings", {"units": "metric", "language": "es"})
    office.users["crew"].refresh_from_db()
    assert (office.users["crew"].units, office.users["crew"].language) == ("metric", "es")
    assert "Sus ajustes" in client.get("/settings").content.decode()
    client.post("/settings", {"units": "metric", "language": "xx"})
    office.users["crew"].refresh_from_db()
    assert office.users["crew"].language == "es"
    client.post("/settings", {"units": "metric", "language": ""})
    office.users["crew"].refresh_from_db()
    assert office.users["crew"].language == ""


def test_sign_in_follows_the_browser(db: None) -> None:
    text = Client().get("/sign-in", headers={"Accept-Language": "es"}).content.decode()
    assert "Iniciar sesión" in text
    assert "Sign in" not in text
    wrong = (
        Client()
        .post("/sign-in", {"username": "a", "password": "b"}, headers={"Accept-Language": "es"})
        .content.decode()
    )
    assert 'role="alert"' in wrong
    assert "Please" not in wrong


def test_pages_of_the_office_and_answers_to_programs_stay_in_the_language_of_the_book(crew: Client) -> None:
    page = crew.get("/where").content.decode()
    assert '<html lang="en">' in page
    assert "What is where" in page
    answer = crew.get(f"/api/v1/pull-sheets/north/{DAY}", headers={"Accept-Language": "es"}).json()
    assert any("Never feel for a leak by hand" in caution for caution in answer["cautions"])


def test_refusal_is_framed_in_spanish_and_told_in_the_language_it_is_in(crew: Client) -> None:
    text = crew.get("/days/none/2026-03-02").content.decode()
    assert "No se encuentra" in text
    assert '<div lang="en">' in text


class _Texts(HTMLParser):
    """All that a person reads or hears of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.is_code = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.is_code = tag in ("script", "style")
        self.found |= {
            text or "" for name, text in attrs if name in ("aria-label", "title", "placeholder", "alt")
        }

    def handle_data(self, data: str) -> None:
        if not self.is_code:
            self.found.add(data.strip())


def texts(page: bytes) -> set[str]:
    reader = _Texts()
    reader.feed(page.decode())
    return {text for text in reader.found if re.search(r"[a-z]{3}", text)}


@pytest.mark.parametrize("address", ["/field/", "/settings", "/sign-in"])
def test_no_word_of_a_page_was_left_out(browse: Browse, crew: Client, address: str) -> None:
    signs = {"gal", "imp gal", "psi", "kPa", "bar", "MPa", "each", "floz"}
    client = Client() if address == "/sign-in" else crew
    english = Client() if address == "/sign-in" else browse("planner")
    spanish = "/field/es/" if address == "/field/" else address
    same = texts(english.get(address).content) & texts(
        client.get(spanish, headers={"Accept-Language": "es"}).content
    )
    assert same - SHARED - signs - {"crew", "planner"} == set()


def test_both_languages_of_the_field_page_are_kept_and_nobodys(browse: Browse, crew: Client) -> None:
    stranger = Client().get("/field/es/")
    assert stranger["Content-Language"] == "es"
    assert b'<html lang="es" data-languages="en es">' in stranger.content
    assert crew.get("/field/es/").content == stranger.content
    assert '<html lang="en" data-languages="en es">' in crew.get("/field/").content.decode()
    assert '"/field/", "/field/es/", "/static/' in Client().get("/field/worker.js").content.decode()


@pytest.mark.parametrize("language", ["en", "fr", "xx", "ES"])
def test_field_page_in_no_other_language(db: None, language: str) -> None:
    assert Client().get(f"/field/{language}/").status_code == 404


def test_pack_brings_the_rules_in_the_persons_language(crew: Client, browse: Browse) -> None:
    spanish = crew.get(f"/field/pack?date={DAY}").json()
    assert spanish["language"] == "es"
    assert spanish["days"][0]["steps"][0]["title"] == "Extraer el tramo S1"
    assert {line["group_title"] for line in spanish["days"][0]["lines"]} <= {
        "extremo de presión",
        "extremo de salida",
        "limpieza",
        "soplado",
        "cuadrilla",
    }
    assert any("desenergizada" in caution for caution in spanish["days"][0]["cautions"])
    english = browse("planner").get(f"/field/pack?date={DAY}").json()
    assert english["language"] == "en"
    assert all(key == text for key, text in english["words"].items())
    for one, other in zip(spanish["rules"]["rules"], english["rules"]["rules"], strict=True):
        assert (one["code"], one["when"], one["severity"]) == (
            other["code"],
            other["when"],
            other["severity"],
        )
        assert one["name"] != other["name"]


def test_phone_fills_a_spanish_sentence_with_the_same_numbers(crew: Client) -> None:
    pack = crew.get(f"/field/pack?date={DAY}").json()
    engine = quickjs.Context()
    engine.eval(Path(str(finders.find("spanstock/rules.js"))).read_text(encoding="utf-8"))
    engine.eval(f"const pack = {json.dumps(pack)};")

    def check(about: str, facts: dict[str, Any]) -> list[dict[str, Any]]:
        told = f"pack.rules, {json.dumps(about)}, {json.dumps(facts)}, 'us', pack.words"
        found: list[dict[str, Any]] = json.loads(engine.eval(f"JSON.stringify(spanstockRules.check({told}))"))
        return found

    (stop,) = check("attempt", {"span": "S1", "pressure_kpa": 689.5, "limit_kpa": 413.7})
    assert stop["sentence"] == "Tramo S1: se anotaron 100 psi; el límite aprobado para extracción es 60 psi."
    assert stop["caution"].startswith("Libere la presión antes de abrir.")
    assert stop["severity"] == "stop"
    (inside,) = check("projectiles", {"run": "R1", "fired": 2, "inside": 1})
    assert (
        inside["sentence"]
        == "Corrida R1: se lanzaron 2 proyectiles y salieron no informado; siguen dentro: 1."
    )


def test_weights_and_lifting_are_cautioned_in_spanish() -> None:
    load = TruckLoad(leaving_kg=900.4, heaviest_kg=1200, returning_kg=800, heaviest_after=3, payload_kg=1000)
    with translation.override("es"):
        lifting = lifting_caution(Container(kind="drum"), 200.4, 23)
        said = load.sentence
    assert lifting == "unos 200 kg: carretilla para tambores o equipo de izaje, nunca a mano"
    assert said == (
        "Unos 900 kg al salir, 1200 kg en el momento de más peso (después del paso 3), 800 kg al volver. "
        "Es más que los 1000 kg que pueden llevar el camión y el remolque. "
        "No se cuentan las herramientas ni las personas."
    )
