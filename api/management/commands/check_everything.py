"""`manage.py check_everything`: every check a change must pass, one after the other."""

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from api.config import environment

# `lint-imports` has no module to run with `python -m`; the script lies beside the interpreter.
STEPS = {
    "format": [sys.executable, "-m", "ruff", "format", "--check", "."],
    "lint": [sys.executable, "-m", "ruff", "check", "."],
    "types": [sys.executable, "-m", "mypy"],
    "import contracts": [str(Path(sys.executable).with_name("lint-imports"))],
    "missing migrations": [sys.executable, "manage.py", "makemigrations", "--check", "--dry-run"],
    "tests": [sys.executable, "-m", "pytest"],
}


class Command(BaseCommand):
    help = "Check format, lint, types, import contracts, missing migrations and tests. Needs the dev extra."
    # What is broken is found by the steps, which go on past it.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--without-tests", action="store_true", help="leave the test suite out")

    def handle(self, *args: Any, **options: Any) -> None:
        steps = dict(STEPS)
        if options["without_tests"]:
            del steps["tests"]
        failed = [name for name, command in steps.items() if not self._has_passed(name, command)]
        if failed:
            raise CommandError(f"{len(failed)} of {len(steps)} checks failed: {', '.join(failed)}.")
        self.stdout.write(f"All {len(steps)} checks passed.")

    def _has_passed(self, name: str, command: list[str]) -> bool:
        self.stdout.write(f"{name} ...")
        self.stdout.flush()
        began = time.monotonic()
        outcome = _run(command)
        word = "passed" if outcome == 0 else "FAILED"
        self.stdout.write(f"{name}: {word} in {time.monotonic() - began:.1f} s")
        return outcome == 0


def _run(command: list[str]) -> int:
    try:
        return subprocess.run(command, cwd=environment.ROOT, check=False).returncode
    except FileNotFoundError:
        print(f"{command[0]} is not installed; install the dev extra.", file=sys.stderr)  # noqa: T201
        return 127
