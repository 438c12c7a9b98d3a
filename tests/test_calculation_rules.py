"""The house rules of calculations: units, sources, and a number from outside for each.

A public function of a `calc` package says the unit of everything numeric it takes and gives and names its
source; at least one test of it is marked `outside_check` and says where the expected number comes from.
"""

import ast
import inspect
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("inventory", "jobs")
# Modules whose functions calculate nothing of their own.
NO_CALCULATIONS = {
    "inventory/calc/ranges.py": "refuses parameters that are out of range",
    "inventory/calc/exact_numbers.py": "reads numbers as exact fractions",
    "inventory/calc/bisection.py": "searches for other calculations, which are checked through them",
    "jobs/calc/reels/columns.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/filling.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/network.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/problem.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/remnants.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/repair.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/scaling.py": "a step of the allotment of reels, checked through it",
    "jobs/calc/reels/sums.py": "a step of the allotment of reels, checked through it",
}
NUMERIC = re.compile(r"\b(float|int|array|array_like|ndarray|sequence|list|dict|mapping|Fraction)\b", re.I)
# A unit in brackets: [m^3], [-], [any unit u], [degC, kg/m^3].
UNIT = re.compile(r"\[[^\[\]]+\]")
SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.M)
ENTRY = re.compile(r"^(\*{0,2}\w+(?:, \*{0,2}\w+)*)(?: : (.*))?$")


class Function:
    """A public function of a calc module, read from its source so that nothing is imported."""

    def __init__(self, path: Path, node: ast.FunctionDef) -> None:
        self.path = path.relative_to(ROOT).as_posix()
        self.name = node.name
        arguments = node.args
        self.parameters = [
            argument.arg for argument in (*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs)
        ]
        self.sections = _split_sections(inspect.cleandoc(ast.get_docstring(node) or ""))

    def __str__(self) -> str:
        return f"{self.path}:{self.name}"


def _split_sections(docstring: str) -> dict[str, str]:
    parts = SECTION.split(docstring)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def _calc_modules() -> Iterator[Path]:
    for package in PACKAGES:
        for path in sorted((ROOT / package / "calc").rglob("*.py")):
            if path.relative_to(ROOT).as_posix() not in NO_CALCULATIONS:
                yield path


def _public_functions() -> list[Function]:
    return [
        Function(path, node)
        for path in _calc_modules()
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


EVERY = pytest.mark.parametrize("function", _public_functions(), ids=str)


def _entries(section: str) -> Iterator[tuple[list[str], str, str]]:
    """The entries of a Parameters section: names, type, and the whole text."""
    names, kind, lines = [], "", []
    for line in section.splitlines():
        entry = ENTRY.match(line)
        if entry and not line.startswith(" "):
            if names:
                yield names, kind, "\n".join(lines)
            names, kind, lines = entry[1].split(", "), entry[2] or "", []
        lines.append(line)
    if names:
        yield names, kind, "\n".join(lines)


@EVERY
def test_every_parameter_is_described_with_its_unit(function: Function) -> None:
    described: set[str] = set()
    for names, kind, text in _entries(function.sections.get("Parameters", "")):
        described.update(names)
        assert not NUMERIC.search(kind) or UNIT.search(text), f"{function}: {names} has no unit in brackets"
    missing = set(function.parameters) - described
    assert not missing, f"{function}: the docstring does not describe {sorted(missing)}"


@EVERY
def test_every_result_is_described_with_its_unit(function: Function) -> None:
    assert UNIT.search(function.sections.get("Returns", "")), f"{function}: no unit in brackets under Returns"


@EVERY
def test_every_calculation_names_its_source(function: Function) -> None:
    assert ".. [1] " in function.sections.get("References", ""), f"{function}: no References"


@cache
def _outside_checks() -> dict[str, set[str]]:
    """For each package the names that its outside checks carry in their own name or use in their body."""
    found: dict[str, set[str]] = {}
    for package in PACKAGES:
        words = found.setdefault(package, set())
        for path in (ROOT / "tests" / package / "calc").rglob("test_*.py"):
            for node in ast.parse(path.read_text()).body:
                if isinstance(node, ast.FunctionDef) and _outside_source(node) is not None:
                    words.add(node.name)
                    words.update(name.id for name in ast.walk(node) if isinstance(name, ast.Name))
    return found


def _outside_source(node: ast.FunctionDef) -> str | None:
    """The source that a test's `outside_check` marker names; None without the marker."""
    for decorator in node.decorator_list:
        if isinstance(decorator, ast.Call) and ast.unparse(decorator.func) == "pytest.mark.outside_check":
            return str(ast.literal_eval(decorator.args[0])) if decorator.args else ""
    return None


@EVERY
def test_every_calculation_is_checked_from_outside(function: Function) -> None:
    words = _outside_checks()[function.path.split("/")[0]]
    is_checked = function.name in words or any(word.startswith(f"test_{function.name}_") for word in words)
    assert is_checked, f"{function}: no test of it is marked outside_check"


def _marked_tests() -> list[tuple[str, str]]:
    return [
        (f"{path.relative_to(ROOT).as_posix()}:{node.name}", source)
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef) and (source := _outside_source(node)) is not None
    ]


@pytest.mark.parametrize(("where", "source"), _marked_tests())
def test_every_outside_check_says_how_its_number_is_known(where: str, source: str) -> None:
    assert len(source) > 20, f"{where}: the marker names no source"
    assert re.search(r"how known|common practice|no source", source), f"{where}: says not how it is known"
