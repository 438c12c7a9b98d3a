"""What a system's token may be narrowed to, beside its role. `api/wire/viewer.py` turns both into limits."""

from collections.abc import Iterable

from inventory.errors import SpanstockError

READ, MONEY, GOODS, REPORTS, ACCOUNTS, DECIDE = "read", "money", "goods", "reports", "accounts", "decide"
SCOPES = {
    READ: "see what the role sees, money excepted",
    MONEY: "see money, where the role sees it",
    GOODS: "what the role may do with goods: entries, orders, receipts, shipments, counts",
    REPORTS: "what the role may say of crews' work: field reports, returns, hand-overs",
    ACCOUNTS: "what the role may do with value: revaluations, bills, periods, the journal",
    DECIDE: "what else the role decides: kits, check lists, instruments, fittings, limits, stops",
}
WRITING = frozenset({GOODS, REPORTS, ACCOUNTS, DECIDE})


class ScopeMissing(SpanstockError):
    """The token was not given the scope that this needs."""

    code = "insufficient_scope"


def read_scopes(text: str) -> frozenset[str]:
    """Words with spaces between as a set."""
    return frozenset(text.split())


def write_scopes(scopes: Iterable[str]) -> str:
    """A set as words, in the order of the list above."""
    chosen = set(scopes)
    return " ".join(scope for scope in SCOPES if scope in chosen)


def require_read(scopes: frozenset[str] | None) -> None:
    """Refuse a token that may not read; people have no scopes and pass."""
    if scopes is not None and READ not in scopes:
        raise ScopeMissing(f"This needs a token with the scope {READ}.")


def require_write(scopes: frozenset[str] | None) -> None:
    """Refuse a token that may only read. Which writes are open to it is its viewer's matter."""
    if scopes is not None and not scopes & WRITING:
        raise ScopeMissing(f"This needs a token with one of the scopes {', '.join(sorted(WRITING))}.")
