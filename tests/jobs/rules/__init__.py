"""The cases that both evaluators of the rules are held to."""

import json
from pathlib import Path
from typing import Any

CASES: dict[str, list[dict[str, Any]]] = json.loads(
    (Path(__file__).resolve().parent / "cases.json").read_text(encoding="utf-8")
)


def named(part: str) -> dict[str, dict[str, Any]]:
    """The cases of one part by name; a name stands for one case."""
    found = {case["name"]: case for case in CASES[part]}
    assert len(found) == len(CASES[part]), "two cases share a name"
    return found
