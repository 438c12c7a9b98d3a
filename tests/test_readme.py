"""The README says what the code does, and nothing is read or offered that it does not say."""

import ast
import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text()
PACKAGES = ("inventory", "jobs", "api")


def _table_under(heading: str) -> list[list[str]]:
    """The rows of the table under a heading, without its head."""
    section = README.split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def _variables_read() -> dict[str, str | bool | None]:
    """Names of the variables that `environment.py` reads, and their defaults where those are plain."""
    found = {}
    for node in ast.walk(ast.parse((ROOT / "api/config/environment.py").read_text())):
        if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") in {"text", "flag"}):
            continue
        name, default = node.args
        if isinstance(name, ast.Constant):
            value = default.value if isinstance(default, ast.Constant) else None
            found[f"SPANSTOCK_{name.value}"] = value
    return found


def test_readme_lists_every_variable_that_is_read_and_no_other() -> None:
    listed = [row[0].strip("`") for row in _table_under("Environment variables")]
    assert sorted(listed) == sorted(_variables_read())


def test_readme_states_plain_defaults() -> None:
    stated = {row[0].strip("`"): row[1].strip("`") for row in _table_under("Environment variables")}
    for name, default in _variables_read().items():
        if isinstance(default, bool):
            assert stated[name] == ("yes" if default else "no")
        elif default:
            assert stated[name] == default


def test_variables_are_read_in_one_place() -> None:
    elsewhere = [
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        if path.name != "environment.py" and re.search(r"SPANSTOCK_[A-Z]|os\.getenv", path.read_text())
    ]
    assert elsewhere == []


def test_readme_lists_every_command() -> None:
    listed = {row[0].strip("`").split()[0] for row in _table_under("Commands")}
    offered = {path.stem for path in (ROOT / "api/management/commands").glob("*.py")} - {"__init__"}
    assert offered <= listed


def test_readme_commands_install_what_is_pinned() -> None:
    commands = [line for line in README.splitlines() if line.startswith("python3 -m venv ")]
    assert [command.split(" && ")[-1] for command in commands] == [
        ".venv/bin/python manage.py demo",
        ".venv/bin/python -m pytest",
    ]
    assert all("pip install -c constraints.txt -e" in command for command in commands)


def test_constraints_pin_every_dependency_by_number_only() -> None:
    lines = [line for line in (ROOT / "constraints.txt").read_text().splitlines() if not line.startswith("#")]
    assert all(re.fullmatch(r"[\w.-]+==[\w.]+", line) for line in lines)
    pinned = {_plain(line.split("==")[0]) for line in lines}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    lists = [project["dependencies"], *project["optional-dependencies"].values()]
    wanted = [line for lines in lists for line in lines]
    assert {_plain(re.match(r"[\w.-]+", line)[0]) for line in wanted} <= pinned  # type: ignore[index]


def test_every_dependency_has_a_reason_beside_it() -> None:
    lines = (ROOT / "pyproject.toml").read_text().splitlines()
    start, end = lines.index("dependencies = ["), lines.index("[tool.setuptools]")
    has_reason = False
    for line in lines[start:end]:
        if line.strip().startswith("#"):
            has_reason = True
        elif not line.startswith("    "):
            has_reason = False
        elif line.startswith('    "'):
            assert has_reason, line
            has_reason = False


def _plain(name: str) -> str:
    """A distribution's name as the packaging standard compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()
