"""One POST to an address that a stranger may have written down, without being led into the network the service stands in.

A name is resolved once; every address it stands for must be public, and the connection is made to the very address
that was looked at, so a name that changes its mind in between leads nowhere. The certificate is checked for the name.
Redirections are answers like others and are not followed. From connecting to the status line everything has to happen
within `DEADLINE_SECONDS`; of the answer nothing but the status is read.

The standard library does it: what a library for HTTP has to offer beyond it (pools, redirections, encodings) is what must
not happen here, and connecting to a checked address while speaking to a name is what those make hard.
"""

import http.client
import ipaddress
import socket
import ssl
import threading
from collections.abc import Mapping, Sequence
from urllib.parse import SplitResult, urlsplit

from studio.kernel.errors import Invalid

CONNECT_SECONDS = 5.0
DEADLINE_SECONDS = 15.0
TRIED = 4
"""Of the addresses of a name, how many are tried."""
_EMBEDDING = ipaddress.ip_network("64:ff9b::/96")
"""Addresses of RFC 6052, which carry one of version 4 in their last 32 bits."""

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network


class UnfitAddress(Invalid):
    """An address that nothing is sent to: not https, with a password in it, or inside of some private network."""

    code = "unfit-address"
    title = "Nothing is sent there"


class NotTaken(Exception):
    """What was sent did not arrive, or nobody said that it did. The message says why, in words for a log."""


def networks(text: str) -> tuple[Network, ...]:
    """The networks named in a text, separated by commas."""
    return tuple(ipaddress.ip_network(part.strip()) for part in text.split(",") if part.strip())


def checked_url(url: str, allowed: Sequence[Network]) -> SplitResult:
    """The parts of `url`; raises `UnfitAddress` for what can be told from the text alone.

    Plain http is only for networks that the operator has allowed.
    """
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        raise _unfit("This is not an address of the form https://host/path.") from None
    schemes = ("https", "http") if allowed else ("https",)
    if parts.scheme not in schemes or not host or port == 0:
        raise _unfit("Give an address of the form https://host/path.")
    if not url.isascii() or any(letter.isspace() for letter in url):
        raise _unfit("An address has plain letters only, and no spaces; write others in their encoded form.")
    if parts.username is not None or parts.password is not None:
        raise _unfit("No name or password may stand in the address; the signature tells who sends.")
    if parts.fragment:
        raise _unfit("Leave out what follows the #; it is never sent.")
    literal = _literal(host)
    if literal is not None:
        refuse_private([literal], allowed)
    elif not allowed and (host == "localhost" or host.endswith((".localhost", ".local", ".internal"))):
        raise _unfit(f"{host} is a name inside of some private network; nothing is sent there.")
    return parts


def addresses_of(parts: SplitResult) -> list[Address]:
    """What the host of a checked URL stands for now; raises `NotTaken` when it stands for nothing."""
    try:
        found = socket.getaddrinfo(parts.hostname, _port(parts), type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise NotTaken(f"The name {parts.hostname} stands for no address.") from None
    return list(dict.fromkeys(ipaddress.ip_address(str(place[0])) for *_, place in found))


def refuse_private(addresses: Sequence[Address], allowed: Sequence[Network]) -> None:
    """Raise `UnfitAddress` if one of them is not public, in whatever form it hides, and not among the allowed."""
    for address in addresses:
        inner = _innermost(address)
        if not _is_public(inner) and not _is_allowed(inner, allowed):
            raise _unfit(f"{address} is not a public address; nothing is sent there.")


def post(url: str, body: bytes, headers: Mapping[str, str], allowed: Sequence[Network] = ()) -> int:
    """Send `body`; returns the status of the answer. Raises `UnfitAddress` or `NotTaken`."""
    parts = checked_url(url, allowed)
    addresses = addresses_of(parts)
    refuse_private(addresses, allowed)
    if parts.scheme == "http" and not all(_is_allowed(address, allowed) for address in addresses):
        raise _unfit("Plain http is only for networks that the operator of this service has allowed.")
    with _connected(addresses[:TRIED], _port(parts)) as plain, plain.dup() as handle:
        late = threading.Event()
        watch = threading.Timer(DEADLINE_SECONDS, _cut, [handle, late])
        watch.daemon = True
        watch.start()
        try:
            status = _ask(plain, parts, body, headers)
            if late.is_set():
                raise TimeoutError
            return status
        except (OSError, http.client.HTTPException) as error:
            raise NotTaken(_words(error)) from None
        finally:
            watch.cancel()


def _ask(plain: socket.socket, parts: SplitResult, body: bytes, headers: Mapping[str, str]) -> int:
    host = parts.hostname or ""
    connection = http.client.HTTPConnection(host, _port(parts), timeout=DEADLINE_SECONDS)
    plain.settimeout(DEADLINE_SECONDS)
    secure = parts.scheme == "https"
    connection.sock = (
        ssl.create_default_context().wrap_socket(plain, server_hostname=host) if secure else plain
    )
    try:
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        named = {"Host": parts.netloc, "Connection": "close", **headers}
        connection.request("POST", target, body=body, headers=named)
        return connection.getresponse().status
    finally:
        connection.close()


def _connected(addresses: Sequence[Address], port: int) -> socket.socket:
    for address in addresses:
        try:
            return socket.create_connection((str(address), port), timeout=CONNECT_SECONDS)
        except OSError as error:
            reason = _words(error)
    raise NotTaken(reason)


def _cut(plain: socket.socket, late: threading.Event) -> None:
    """End a conversation that goes on for too long, however slowly it drips."""
    late.set()
    try:
        plain.shutdown(socket.SHUT_RDWR)
    except OSError:
        return


def _words(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "It did not answer in time."
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"Its certificate does not hold: {error.verify_message}."
    if isinstance(error, ConnectionRefusedError):
        return "It refused the connection."
    return f"The connection failed ({type(error).__name__})."


def _literal(host: str) -> Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def _innermost(address: Address) -> Address:
    """The address of version 4 that one of version 6 carries in itself, or the address as it is."""
    if isinstance(address, ipaddress.IPv4Address):
        return address
    if address in _EMBEDDING:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    teredo = address.teredo[1] if address.teredo else None
    return address.ipv4_mapped or address.sixtofour or teredo or address


def _is_public(address: Address) -> bool:
    inside = isinstance(address, ipaddress.IPv6Address) and address.is_site_local
    return address.is_global and not (inside or address.is_multicast or address.is_reserved)


def _is_allowed(address: Address, allowed: Sequence[Network]) -> bool:
    inner = _innermost(address)
    return any(inner.version == one.version and inner in one for one in allowed)


def _port(parts: SplitResult) -> int:
    return parts.port or (443 if parts.scheme == "https" else 80)


def _unfit(sentence: str) -> UnfitAddress:
    return UnfitAddress(sentence, errors={"url": [sentence]})
