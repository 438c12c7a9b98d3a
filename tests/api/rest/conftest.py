"""A clock that stands still for what this door is told of."""

from datetime import UTC, datetime

import pytest


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let what the tests tell of have happened yesterday, whatever the machine's clock says."""
    told = (
        "accounting",
        "acting",
        "buying",
        "cost_sheets",
        "counting",
        "entries",
        "field_reports",
        "invoices",
    )
    for module in (*told, "periods", "receiving"):
        monkeypatch.setattr(f"api.rest.{module}.now", lambda: datetime(2026, 3, 3, 12, tzinfo=UTC))
