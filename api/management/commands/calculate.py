"""`manage.py calculate NAME`: a stateless calculation, JSON on standard input, JSON on standard output."""

import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from api.management.base import REFUSED, WRONG_USAGE, problem
from api.wire.calculations import calculate, get_calculation, list_calculations
from inventory.errors import BadInput, SpanstockError

# The largest sensible request is a few thousand cuts or streams.
LARGEST_REQUEST_BYTES = 4_000_000


class NotJson(BadInput):
    """Standard input does not hold one JSON value."""

    code = "not_json"


class Command(BaseCommand):
    help = "Run a stateless calculation: a JSON object on standard input, a JSON object on standard output."
    # Nothing here reads the database, so a broken or absent one must not stand in the way.
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", nargs="?", help="the calculation, such as bore-volume")
        parser.add_argument("--list", action="store_true", help="name all calculations and what they do")
        parser.add_argument(
            "--schema", action="store_true", help="print what NAME takes and gives, as JSON Schema"
        )
        parser.add_argument("--example", action="store_true", help="print a request that NAME accepts")
        parser.add_argument("--format", choices=["text", "json"], default=None, help="form of --list")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["list"]:
            self._write_list(as_json=options["format"] == "json")
            return
        if not options["name"]:
            self.stderr.write("Name a calculation, or use --list to see them all.")
            sys.exit(WRONG_USAGE)
        try:
            self._write_answer(options)
        except SpanstockError as refusal:
            self.stderr.write(json.dumps(problem(refusal), ensure_ascii=False))
            sys.exit(REFUSED)

    def _write_list(self, *, as_json: bool) -> None:
        found = [(calculation.name, calculation.summary) for calculation in list_calculations()]
        if as_json:
            self.stdout.write(json.dumps([{"name": name, "summary": text} for name, text in found]))
            return
        width = max(len(name) for name, _ in found)
        for name, summary in found:
            self.stdout.write(f"{name:{width}}  {summary}")

    def _write_answer(self, options: dict[str, Any]) -> None:
        calculation = get_calculation(options["name"])
        if options["schema"]:
            schemas = {"request": calculation.request_schema(), "answer": calculation.answer_schema()}
            self.stdout.write(json.dumps(schemas, indent=2))
        elif options["example"]:
            self.stdout.write(json.dumps(calculation.example, indent=2))
        else:
            answer = calculate(calculation.name, read_json(sys.stdin.buffer.read(LARGEST_REQUEST_BYTES + 1)))
            self.stdout.write(json.dumps(answer, ensure_ascii=False))


def read_json(body: bytes) -> Any:
    """One JSON value, refused with the place where reading stopped."""
    if len(body) > LARGEST_REQUEST_BYTES:
        raise NotJson(f"The request is larger than {LARGEST_REQUEST_BYTES} bytes.")
    try:
        return json.loads(body.decode("utf-8-sig"), object_pairs_hook=_refuse_repeats)
    except UnicodeDecodeError as error:
        raise NotJson(f"Standard input is not UTF-8: byte {error.start} cannot be read.") from error
    except json.JSONDecodeError as error:
        raise NotJson(f"Standard input is not JSON: {error}") from error
    except RecursionError as error:
        raise NotJson("Standard input is nested too deeply.") from error
    except ValueError as error:
        raise NotJson(f"Standard input is not usable JSON: {error}") from error


def _refuse_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        repeated = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the name {repeated[:80]!r} stands twice in one object")
    return found
