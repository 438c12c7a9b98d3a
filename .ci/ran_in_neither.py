"""Name the tests that were skipped in every one of the runs given as JUnit XML files; exit 1 if any were."""

# ruff: noqa: T201 - what it prints is what it is for.

import sys
from xml.etree import ElementTree


def main() -> int:
    runs = [read_run(path) for path in sys.argv[1:]]
    neither = find_tests_never_run(runs)
    for name, reason in neither.items():
        print(f"skipped on every database: {name}: {reason}", file=sys.stderr)
    ran = len({name for run in runs for name in run} - set(neither))
    print(f"{ran} tests ran on at least one database, {len(neither)} on none.")
    return 1 if neither or not ran else 0


def read_run(path: str) -> dict[str, str | None]:
    """The reason why each test was skipped, None for one that ran."""
    found: dict[str, str | None] = {}
    for case in ElementTree.parse(path).iter("testcase"):
        name = f"{case.get('classname')}::{case.get('name')}"
        skipped = case.find("skipped")
        # An expected failure stands as a skip too, but it ran.
        is_skipped = skipped is not None and skipped.get("type") != "pytest.xfail"
        found[name] = (skipped.get("message") or "no reason") if is_skipped else None
    return found


def find_tests_never_run(runs: list[dict[str, str | None]]) -> dict[str, str]:
    reasons: dict[str, str] = {}
    for name in sorted({name for run in runs for name in run}):
        outcomes = [run[name] for run in runs if name in run]
        if all(outcome is not None for outcome in outcomes):
            reasons[name] = "; ".join(dict.fromkeys(outcome for outcome in outcomes if outcome))
    return reasons


if __name__ == "__main__":
    sys.exit(main())
