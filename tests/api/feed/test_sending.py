"""Where a webhook may lead: nowhere but the open internet, whatever a name says."""

import socket
from typing import Any

import pytest

from api.feed import sending
from api.feed.sending import check_url, send
from inventory.errors import BadInput

PUBLIC = "93.184.216.34"
PRIVATE = [
    "127.0.0.1", "10.0.0.1", "172.16.0.1", "192.168.1.1", "169.254.169.254", "0.0.0.0", "100.64.0.1",
    "224.0.0.1", "255.255.255.255", "::1", "::", "fe80::1", "fc00::1", "ff02::1", "::ffff:127.0.0.1",
    "64:ff9b::7f00:1", "2002:7f00:1::", "192.0.2.1",
]  # fmt: skip


def _resolve_to(monkeypatch: pytest.MonkeyPatch, *addresses: str) -> list[Any]:
    """Let every name have these addresses; returns what is connected to."""
    reached: list[Any] = []

    def resolve(host: str, port: int, **_rest: Any) -> list[Any]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port)) for address in addresses]

    def connect(address: Any, timeout: float) -> Any:
        reached.append(address)
        raise ConnectionRefusedError

    monkeypatch.setattr(sending.socket, "getaddrinfo", resolve)
    monkeypatch.setattr(sending.socket, "create_connection", connect)
    return reached


@pytest.mark.parametrize("address", PRIVATE)
def test_owasp_api7_server_side_request_forgery_name_of_a_private_address_is_not_reached(
    monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    reached = _resolve_to(monkeypatch, address)
    assert send("https://hooks.example/x", b"{}", {}, may_be_private=False).fault == "address refused"
    assert reached == []


def test_name_with_a_public_and_a_private_address_is_not_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    reached = _resolve_to(monkeypatch, PUBLIC, "127.0.0.1")
    assert send("https://hooks.example/x", b"{}", {}, may_be_private=False).fault == "address refused"
    assert reached == []


def test_connection_goes_to_the_address_that_was_judged(monkeypatch: pytest.MonkeyPatch) -> None:
    reached = _resolve_to(monkeypatch, PUBLIC)
    answer = send("https://hooks.example:8443/x", b"{}", {}, may_be_private=False)
    assert answer.fault == "not reached: ConnectionRefusedError"
    assert reached == [(PUBLIC, 8443)]


@pytest.mark.parametrize(
    "url",
    [
        "http://hooks.example/",
        "https://user@hooks.example/",
        "https:///x",
        "https://hooks.example/#x",
        "https://hooks.example:99999/",
        "https://[::1/",
        "ftp://hooks.example/",
        "file:///etc/passwd",
        "https://hooks.example/\r\nHost: x",
        "https://hööks.example/",
        "https://hooks.example/" + "x" * 500,
        *(f"https://[{address}]/" if ":" in address else f"https://{address}/" for address in PRIVATE),
    ],
)
def test_address_to_which_nothing_would_be_sent_is_refused(url: str) -> None:
    with pytest.raises(BadInput) as refusal:
        check_url(url, may_be_private=False)
    assert [fault.pointer for fault in refusal.value.faults] == ["/url"]
    assert send(url, b"{}", {}, may_be_private=False).fault == "address refused"


def test_open_address_is_taken() -> None:
    check_url("https://hooks.example/spanstock?x=1", may_be_private=False)
    check_url("http://127.0.0.1:9/x", may_be_private=True)
