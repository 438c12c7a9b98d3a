"""The top of the tree is agreed; what lies there is there for a reason."""

from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
AGREED = {
    "README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", "constraints.txt",
    "inventory", "jobs", "api", "tests", "fixtures_demo",
}  # fmt: skip


def test_top_level_holds_nothing_beyond_the_agreed_names() -> None:
    seen = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    built = {name for name in seen if name.endswith(".egg-info") or name in {"build", "__pycache__"}}
    assert seen - built <= AGREED
