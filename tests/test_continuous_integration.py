"""What `.ci/run` concludes from the reports of both runs."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

SQLITE = """<testsuites><testsuite>
<testcase classname="tests.a" name="test_both"/>
<testcase classname="tests.a" name="test_here"/>
<testcase classname="tests.a" name="test_nowhere"><skipped type="pytest.skip" message="none"/></testcase>
<testcase classname="tests.a" name="test_expected"><skipped type="pytest.xfail" message="known"/></testcase>
</testsuite></testsuites>"""
POSTGRESQL = SQLITE.replace(
    '"test_here"/>', '"test_here"><skipped type="pytest.skip" message="needs SQLite"/></testcase>'
)


def _conclude(tmp_path: Path, *reports: str) -> "subprocess.CompletedProcess[str]":
    paths = []
    for number, report in enumerate(reports):
        path = tmp_path / f"{number}.xml"
        path.write_text(report)
        paths.append(str(path))
    command = [sys.executable, str(ROOT / ".ci" / "ran_in_neither.py"), *paths]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def test_ran_in_neither_names_what_every_run_skipped(tmp_path: Path) -> None:
    run = _conclude(tmp_path, SQLITE, POSTGRESQL)
    assert run.returncode == 1
    assert run.stderr == "skipped on every database: tests.a::test_nowhere: none\n"
    assert run.stdout == "3 tests ran on at least one database, 1 on none.\n"


def test_ran_in_neither_is_content_when_each_ran_somewhere(tmp_path: Path) -> None:
    run = _conclude(tmp_path, SQLITE.replace('type="pytest.skip"', 'type="pytest.xfail"'), POSTGRESQL)
    assert run.returncode == 0


def test_ran_in_neither_wants_tests(tmp_path: Path) -> None:
    assert _conclude(tmp_path, "<testsuites/>").returncode == 1
