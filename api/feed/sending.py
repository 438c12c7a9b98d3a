"""One request to an address that somebody named: where it leads is looked at when the connection is made.

A name is resolved once, every address it has is judged, and the connection goes to one that was judged; so a
name that answers otherwise a moment later reaches nothing else. No redirect is followed, no proxy asked.
"""

import http.client
import ipaddress
import socket
import ssl
import threading
from dataclasses import dataclass
from urllib.parse import urlsplit

from inventory.errors import BadInput, Fault

WAIT_S = 10
LONGEST_S = 20
LONGEST_URL = 500
MOST_READ_BYTES = 2_000


class TargetRefused(Exception):
    """The address leads to where nothing is sent."""


@dataclass(frozen=True)
class Answer:
    """What came back: a status, or the word for why there is none."""

    status: int | None
    fault: str = ""

    @property
    def is_taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


def check_url(url: str, *, may_be_private: bool) -> None:
    """Refuse an address to which nothing would ever be sent."""
    complaint = _complain(url, may_be_private=may_be_private)
    if complaint:
        raise BadInput.of([Fault("/url", url[:60], complaint)])


def _complain(url: str, *, may_be_private: bool) -> str:
    if len(url) > LONGEST_URL or not url.isascii() or any(sign <= " " for sign in url):
        return f"must be an address of at most {LONGEST_URL} plain characters"
    try:
        parts = urlsplit(url)
        host, _port = parts.hostname, parts.port
    except ValueError:
        return "is no address"
    if parts.scheme != "https" and not (may_be_private and parts.scheme == "http"):
        return "must begin with https://"
    if not host or "@" in parts.netloc or parts.fragment:
        return "must name a host, and neither a user nor a fragment"
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return ""
    return "" if may_be_private or is_public(address) else "must not lead into a private network"


def is_public(address: ipaddress.IPv4Address | ipaddress.IPv6Address) -> bool:
    """Whether the address is of the open internet, also where it is wrapped in another."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour or (address.teredo or (None, None))[1]
        if inner is None and address in ipaddress.ip_network("64:ff9b::/96"):
            inner = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        if inner is not None:
            return is_public(inner)
    return address.is_global and not address.is_multicast and not address.is_reserved


def send(url: str, body: bytes, headers: dict[str, str], *, may_be_private: bool) -> Answer:
    """Post the body; never raises for what the other side does."""
    complaint = _complain(url, may_be_private=may_be_private)
    if complaint:
        return Answer(None, "address refused")
    parts = urlsplit(url)
    host, is_tls = str(parts.hostname), parts.scheme == "https"
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        reached = _connect(host, parts.port or (443 if is_tls else 80), may_be_private=may_be_private)
    except TargetRefused:
        return Answer(None, "address refused")
    except OSError as error:
        return Answer(None, f"not reached: {type(error).__name__}")
    # A peer that gives a byte now and then keeps each read within its patience; this ends the whole.
    end = threading.Timer(LONGEST_S, _cut, [reached])
    end.daemon = True
    end.start()
    try:
        return _post(reached, host, parts.netloc, path, body, headers, is_tls=is_tls)
    except (OSError, http.client.HTTPException, ValueError) as error:
        return Answer(None, f"no answer: {type(error).__name__}")
    finally:
        end.cancel()
        reached.close()


def _connect(host: str, port: int, *, may_be_private: bool) -> socket.socket:
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    addresses = [ipaddress.ip_address(str(row[4][0]).split("%")[0]) for row in found]
    # One bad address is enough: a name that leads to both is made to slip through.
    if not may_be_private and not all(is_public(address) for address in addresses):
        raise TargetRefused
    return socket.create_connection((str(addresses[0]), port), timeout=WAIT_S)


def _post(
    reached: socket.socket,
    host: str,
    netloc: str,
    path: str,
    body: bytes,
    headers: dict[str, str],
    *,
    is_tls: bool,
) -> Answer:
    connection = http.client.HTTPConnection(host, timeout=WAIT_S)
    connection.sock = (
        ssl.create_default_context().wrap_socket(reached, server_hostname=host) if is_tls else reached
    )
    try:
        connection.request("POST", path, body=body, headers={"Host": netloc, **headers})
        response = connection.getresponse()
        response.read(MOST_READ_BYTES)
        return Answer(response.status)
    finally:
        connection.close()


def _cut(reached: socket.socket) -> None:
    try:
        reached.shutdown(socket.SHUT_RDWR)
    except OSError:
        # It has ended by itself meanwhile.
        return
