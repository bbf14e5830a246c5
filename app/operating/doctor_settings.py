"""Checks settings: what is open, and what is right in some places and risky in others."""

import ipaddress
from collections.abc import Iterator

from app.operating.finding import DoctorFinding
from app.settings import Settings, is_loopback


def risks(settings: Settings) -> Iterator[DoctorFinding]:
    """One finding per risky setting, or one that says there is none."""
    found = list(_risks(settings))
    yield from found or [DoctorFinding("settings", "good", "no risky settings")]


def what_is_open(settings: Settings) -> Iterator[DoctorFinding]:
    """Who may read, which web pages may, and which hosts are answered. Never bad, because each may be intended."""
    beyond = not is_loopback(settings.host)
    where = f"anyone who can reach {settings.host} port {settings.port}" if beyond else "anyone on this machine"
    if settings.open_reads:
        text = f"open: {where} may read the catalogue without a key (LEGWORK_OPEN_READS)"
        yield DoctorFinding("lookups", "notice" if beyond else "good", text)
    else:
        yield DoctorFinding("lookups", "good", "closed: lookups need a key")
    if "*" in settings.cors_origins:
        text = "open: any web page open in a browser that can reach this server may read answers (LEGWORK_CORS_ORIGINS)"
        yield DoctorFinding("other web pages", "notice", text)
    else:
        listed = ", ".join(settings.cors_origins)
        yield DoctorFinding("other web pages", "good", f"may read answers: {listed}" if listed else "closed")
    hosts = ", ".join(settings.allowed_hosts)
    own = beyond and "allowed_hosts" not in settings.model_fields_set
    yield DoctorFinding(
        "hosts", "good", f"answers for {hosts}{' and the addresses and names of this machine' if own else ''}"
    )


def _risks(settings: Settings) -> Iterator[DoctorFinding]:
    def notice(name: str, text: str) -> DoctorFinding:
        return DoctorFinding(f"LEGWORK_{name}", "notice", text)

    if "*" in settings.allowed_hosts:
        yield notice(
            "ALLOWED_HOSTS", "any Host header is accepted and appears in the links of pages: list your own hosts"
        )
    if any(_is_all(network) for network in settings.trusted_proxies):
        yield notice("TRUSTED_PROXIES", "clients can claim any address, so rate limits can be bypassed")
    if settings.database_url == settings.shop_database_url:
        yield DoctorFinding(
            "LEGWORK_SHOP_DATABASE_URL", "bad", "it is the catalogue database, from which nothing is ever erased"
        )
    if settings.log_level == "debug":
        yield notice("LOG_LEVEL", "debug is for finding faults; it writes a lot")
    public = not is_loopback(settings.host)
    if public and settings.read_rate is None:
        yield notice("READ_RATE", f"the server listens on {settings.host} and lookups have no rate limit")
    if public and settings.metrics == "open":
        yield notice(
            "METRICS", f"the server listens on {settings.host} and anyone who can reach it may read /metrics: use `key`"
        )
    if settings.log_level in ("warning", "error"):
        yield notice("LOG_LEVEL", f"{settings.log_level}: requests are not logged, so none can be found by its id")


def _is_all(network: str) -> bool:
    if network == "*":
        return True
    try:
        return ipaddress.ip_network(network, strict=False).prefixlen == 0
    except ValueError:
        return False
