"""Every word of the crew's pages and of the cautions that has to be translated, gathered from the sources."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from api.models import User
from api.pages.field_words import make_field_context
from api.pages.navigation import AREAS
from jobs.models import AccessPoint, CableSize, CrewDay, PressureLimit
from jobs.queries.pressure_limits import NO_LIMIT
from jobs.queries.rules import SHOWN_TEXTS, list_rules

ROOT = Path(__file__).resolve().parents[3]
CALLS = {"_", "gettext", "gettext_noop", "ngettext"}
IN_TAG = re.compile(r"""{%\s*translate\s+(?:"([^"]*)"|'([^']*)')""")
IN_BLOCK = re.compile(r"{%\s*blocktranslate[^%]*%}(.*?){%\s*endblocktranslate\s*%}", re.DOTALL)


def list_words() -> set[str]:
    """The message ids: those written in a call or tag, and those that are chosen from data."""
    return {*_of_programs(), *_of_templates(), *_of_rules(), *_of_choices()}


def _of_programs() -> Iterator[str]:
    for package in ("inventory", "jobs", "api"):
        for path in (ROOT / package).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            if "django.utils.translation" not in text:
                continue
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CALLS:
                    told = [part.value for part in node.args if isinstance(part, ast.Constant)]
                    yield from (text for text in told if isinstance(text, str))


def _of_templates() -> Iterator[str]:
    for path in (ROOT / "api" / "templates").rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        yield from (double or single for double, single in IN_TAG.findall(text))
        for block in IN_BLOCK.findall(text):
            yield re.sub(r"{{\s*(\w+)\s*}}", r"%(\1)s", block)


def _of_rules() -> Iterator[str]:
    for rule in list_rules():
        yield from (text for text in (getattr(rule, name) for name in SHOWN_TEXTS) if text)


def _of_choices() -> Iterator[str]:
    context = make_field_context()
    rows = [*context["outcomes"], *context["methods"]]
    for _name, _part, _title, fields in context["addition_rows"]:
        for field in fields:
            rows += field.choices if field.kind == "choice" else ()
    yield from (str(words) for _value, words in rows)
    yield from (str(label) for label in User.Units.labels)
    yield from (str(label) for label in PressureLimit.Purpose.labels)
    yield from CrewDay.State.values
    yield from (str(value) for value in CableSize.Confidence.values if value != CableSize.Confidence.SOUND)
    yield from AccessPoint.Kind.values
    yield from (NO_LIMIT, "each")
    yield from (area.word for area in AREAS if User.Role.CREW in area.roles)


def list_words_of_the_office() -> set[str]:
    """Words of the bar that only an office sees, on a crew's page; it can do without their translation."""
    return {area.word for area in AREAS}
