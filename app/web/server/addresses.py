"""Finds and prints the addresses and names at which a service that listens beyond this machine can be reached."""

import contextlib
import ipaddress
import re
import socket
import struct
import sys
from typing import TextIO

import segno

from app.settings import Settings, is_loopback

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
_SIOCGIFADDR = 0x8915
"""Linux: the IPv4 address of an interface (netdevice(7))."""
_ELSEWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737). Connecting a UDP socket sends nothing; it only chooses the route."""
_NAME = re.compile(r"[a-z0-9_](?:[a-z0-9_.-]{0,251}[a-z0-9_])?")


def with_own_hosts(settings: Settings) -> Settings:
    """The settings with all hosts that `serve` answers in `allowed_hosts`.

    Loopback is always included, because health checks use it. If the service listens beyond this machine and no hosts
    are set, the machine's own addresses and names are included. If hosts are set, they are the only others.
    """
    given = settings.allowed_hosts
    own = [] if "allowed_hosts" in settings.model_fields_set or is_loopback(settings.host) else own_hosts(settings.host)
    return settings.model_copy(update={"allowed_hosts": [*dict.fromkeys([*given, *LOOPBACK, *own])]})


def own_hosts(listening: str) -> list[str]:
    """The addresses at which `listening` can be reached, the usual one first, then the names of this machine."""
    address = ipaddress.ip_address(listening) if _is_address(listening) else None
    if address is None:
        return [listening.lower(), *_names()]
    if not address.is_unspecified:
        return [_as_host(listening), *_names()]
    return [*map(_as_host, _addresses(v6=address.version == 6)), *_names()]


def announce(settings: Settings, port: int, to: TextIO) -> None:
    """Print where the service answers and for which hosts and, on a terminal, a code for phones."""
    if is_loopback(settings.host):
        print(f"Legwork answers at {_url(_as_host(settings.host), port)}", file=to, flush=True)
        return
    hosts = settings.allowed_hosts
    beyond = [host for host in hosts if host not in LOOPBACK and "*" not in host]
    first, *others = [_url(host, port) for host in (own_hosts(settings.host) if "*" in hosts else beyond) or LOOPBACK]
    print(f"Legwork answers at {first}", file=to)
    for url in others:
        print(f"                or {url}", file=to)
    print(f"Allowed hosts: {', '.join(hosts)}. To change them, set LEGWORK_ALLOWED_HOSTS.", file=to)
    if to.isatty():
        print(f"On a phone in the same network, scan this to open {first}", file=to)
        segno.make(first, micro=False).terminal(to, compact=True)
    to.flush()


def _url(host: str, port: int) -> str:
    return f"http://{host}:{port}/"


def _as_host(address: str) -> str:
    return f"[{address}]" if ":" in address and not address.startswith("[") else address


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def _names() -> list[str]:
    """The name of this machine: the full one if it is known, and the one for local networks (RFC 6762)."""
    name = socket.gethostname().lower()
    short = name.partition(".")[0]
    found = [name, *([f"{short}.local"] if short not in ("", "localhost") else [])]
    return [*dict.fromkeys(each for each in found if _NAME.fullmatch(each) and not each.startswith("localhost"))]


def _addresses(*, v6: bool) -> list[str]:
    """Addresses of this machine that others can reach, that of the usual route first."""
    found = dict.fromkeys([*_usual(), *_of_interfaces(), *_by_name()])
    addresses = [address for address in map(ipaddress.ip_address, found) if v6 or address.version == 4]
    return [str(each) for each in addresses if not (each.is_loopback or each.is_link_local or each.is_unspecified)]


def _usual() -> list[str]:
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.connect(_ELSEWHERE)
        return [str(line.getsockname()[0])]
    return []


def _of_interfaces() -> list[str]:
    if sys.platform != "linux":
        return []
    import fcntl

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # an interface without an address
                answer = fcntl.ioctl(line.fileno(), _SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                found.append(socket.inet_ntoa(answer[20:24]))
    return found


def _by_name() -> list[str]:
    with contextlib.suppress(OSError, UnicodeError):
        entries = socket.getaddrinfo(socket.gethostname(), None, type=socket.SOCK_STREAM)
        return [str(entry[4][0]).partition("%")[0] for entry in entries]
    return []
