"""Parses settings from environment variables, and finds names that are almost those of a setting.

Every unusable value is refused here with a sentence, so that nothing fails later with a traceback.
"""

import ipaddress
import json
import re
from collections.abc import Iterable, Mapping
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field
from pydantic_settings import NoDecode
from rapidfuzz.distance import OSA

PREFIX = "LEGWORK_"
NEAR = 2
"""A name that differs from a setting's name by at most this many letters counts as a typing error."""

_LINK = re.compile(r"(?:tcp|udp|sctp)://\S+")
_LINKS = re.compile(
    rf"{PREFIX}(?:[A-Z0-9_]+_)?(?:SERVICE_(?:HOST|PORT)(?:_\w+)?|PORT_\d+_(?:TCP|UDP|SCTP)(?:_(?:PROTO|PORT|ADDR))?)"
)
"""Variables that Kubernetes (and container links before it) sets for a service called legwork."""
_OF_TESTS = f"{PREFIX}TEST_"
_HOST = re.compile(r"\*|(?:\*\.)?[a-z0-9_](?:[a-z0-9_-]*)(?:\.[a-z0-9_][a-z0-9_-]*)*")
_ORIGIN = re.compile(r"https?://(?:[a-z0-9_](?:[a-z0-9_.-]*[a-z0-9_])?|\[[0-9a-f:.]+\])(?::[0-9]{1,5})?")
_ENGINES = ("sqlite:///", "postgresql://", "postgresql+psycopg://")


def without_links(given: object, usual: int) -> object:
    """Use `usual` in place of a service link such as `tcp://10.0.0.7:8000`, which no operator wrote."""
    return usual if isinstance(given, str) and _LINK.fullmatch(given) else given


def misnamed(environment: Mapping[str, str], names: Iterable[str]) -> tuple[dict[str, str], list[str]]:
    """Variables that are almost settings, each with the setting probably meant, and other unknown ones with our prefix.

    `names` are the full names of the settings. Service links of orchestrators and the tests' own variables are neither.
    """
    known = set(names)
    slips: dict[str, str] = {}
    unknown = []
    for variable, value in environment.items():
        name = variable.upper()
        if name in known or name.startswith(_OF_TESTS) or _LINKS.fullmatch(name) or _LINK.fullmatch(value):
            continue
        near = min(known, key=lambda each, name=name: OSA.distance(name, each, score_cutoff=NEAR))  # type: ignore[misc]
        if OSA.distance(name, near, score_cutoff=NEAR) <= NEAR:
            slips[variable] = near
        elif name.startswith(PREFIX):
            unknown.append(variable)
    return slips, sorted(unknown)


def _split(given: object) -> object:
    """Split a list written as words with commas, or as JSON."""
    if not isinstance(given, str):
        return given
    if not re.match(r'\s*\[\s*["\]]', given):
        return [word.strip() for word in given.split(",") if word.strip()]
    try:
        return json.loads(given)
    except ValueError as error:
        raise ValueError(f"this is not a list: write a,b or a JSON list ({error})") from None


def _host(given: str) -> str:
    """A host as browsers write it, without scheme and port."""
    host = given.lower()
    bare = host[1:-1] if host.startswith("[") and host.endswith("]") else host
    try:
        address = ipaddress.ip_address(bare)
    except ValueError:
        if _HOST.fullmatch(host) is None:
            raise ValueError(f"{given!r} is not a host: write a name or an address, without scheme or port") from None
        return host
    return f"[{address}]" if address.version == 6 else host


def _network(given: str) -> str:
    if given == "*":
        return given
    try:
        ipaddress.ip_network(given, strict=False)
    except ValueError:
        raise ValueError(f"{given!r} is not an address or a network such as 10.0.0.0/8") from None
    return given


def _origin(given: str) -> str:
    """An origin as a browser writes it in the Origin header: scheme, host, and the port if it is not the default."""
    origin = given.lower()
    if origin == "*":
        return origin
    usual = ":80" if origin.startswith("http:") else ":443"
    if _ORIGIN.fullmatch(origin) is None or origin.endswith(usual):
        raise ValueError(f"{given!r} is not an origin: write https://host or http://host:port, with no / at the end")
    return origin


def _database(given: str) -> str:
    from sqlalchemy import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        engine = make_url(given)
    except (ArgumentError, ValueError):
        engine = None
    if engine is None or not given.startswith(_ENGINES) or not (engine.database or "sqlite" not in given):
        raise ValueError("this is not a database: write sqlite:///path or postgresql+psycopg://user@host/name")
    return given


def _rate(given: str) -> str:
    from limits import parse_many

    try:
        (rate,) = parse_many(given)
    except ValueError:
        rate = None
    if rate is None or rate.amount < 1 or rate.get_expiry() < 1:
        raise ValueError(f"{given!r} is not a rate: write number/second, number/minute or number/hour")
    return given


def _rate_store(given: str) -> str:
    if given == "memory://":
        return given
    from limits.errors import ConfigurationError
    from limits.storage import storage_from_string

    try:
        storage_from_string(given)
    except ConfigurationError as error:
        raise ValueError(f"this store does not work: {error}") from None
    except Exception as error:  # each store has its own parser of addresses, with errors of its own
        raise ValueError(f"this is not the address of a store, such as redis://host:6379 ({error})") from None
    return given


def _printable(given: str) -> str:
    if not given or not given.isascii() or not given.isprintable() or " " in given:
        raise ValueError("this is not a key: it has only letters, digits, - and _")
    return given


HostList = Annotated[
    list[Annotated[str, AfterValidator(_host)]], NoDecode, BeforeValidator(_split), Field(min_length=1)
]
NetworkList = Annotated[list[Annotated[str, AfterValidator(_network)]], NoDecode, BeforeValidator(_split)]
OriginList = Annotated[list[Annotated[str, AfterValidator(_origin)]], NoDecode, BeforeValidator(_split)]
DatabaseUrl = Annotated[str, AfterValidator(_database)]
RateText = Annotated[str, AfterValidator(_rate)]
RateStoreUrl = Annotated[str, AfterValidator(_rate_store)]
KeyText = Annotated[str, AfterValidator(_printable)]
Seconds = Annotated[float, Field(gt=0, le=86_400, allow_inf_nan=False)]
WholeSeconds = Annotated[int, Field(ge=1, le=86_400)]
ListenPort = Annotated[int, BeforeValidator(lambda given: without_links(given, 8000)), Field(ge=0, le=65_535)]
