"""The settings as doctor sees them: what is open, and what is right in some places and risky in others."""

import ipaddress
from collections.abc import Iterator

from app.operating.finding import DoctorFinding
from app.settings import Settings, is_loopback


def risks(settings: Settings) -> Iterator[DoctorFinding]:
    """A finding per risky setting; one that says so if there is none."""
    found = list(_risks(settings))
    yield from found or [DoctorFinding("settings", "good", "none that is risky")]


def what_is_open(settings: Settings) -> Iterator[DoctorFinding]:
    """Who may read, which web pages may, and for which hosts it answers: never bad, as each may be meant so."""
    beyond = not is_loopback(settings.host)
    where = f"whoever reaches {settings.host} port {settings.port}" if beyond else "whoever is on this machine"
    if settings.open_reads:
        text = f"open: {where} may read the catalogue without a key (LEGWORK_OPEN_READS)"
        yield DoctorFinding("lookups", "notice" if beyond else "good", text)
    else:
        yield DoctorFinding("lookups", "good", "closed: they take a key")
    if "*" in settings.cors_origins:
        text = "open: any web page that a browser here has open may read answers (LEGWORK_CORS_ORIGINS)"
        yield DoctorFinding("web pages of others", "notice", text)
    else:
        listed = ", ".join(settings.cors_origins)
        yield DoctorFinding("web pages of others", "good", f"may read answers: {listed}" if listed else "closed")
    hosts = ", ".join(settings.allowed_hosts)
    own = beyond and "allowed_hosts" not in settings.model_fields_set
    yield DoctorFinding(
        "hosts", "good", f"answers for {hosts}{' and the addresses and names of this machine' if own else ''}"
    )


def _risks(settings: Settings) -> Iterator[DoctorFinding]:
    def notice(name: str, text: str) -> DoctorFinding:
        return DoctorFinding(f"LEGWORK_{name}", "notice", text)

    if "*" in settings.allowed_hosts:
        yield notice("ALLOWED_HOSTS", "any Host is answered, and stands in the links of pages: name those you have")
    if any(_is_all(network) for network in settings.trusted_proxies):
        yield notice("TRUSTED_PROXIES", "whoever asks may say that they are another address: rates can be got round")
    if settings.database_url == settings.shop_database_url:
        yield DoctorFinding("LEGWORK_SHOP_DATABASE_URL", "bad", "it names the catalogue, which is never erased from")
    if settings.log_level == "debug":
        yield notice("LOG_LEVEL", "debug is for looking for a fault; it writes much")
    public = not is_loopback(settings.host)
    if public and settings.read_rate is None:
        yield notice("READ_RATE", f"listens on {settings.host} and lookups have no rate per client")
    if public and settings.metrics == "open":
        yield notice("METRICS", f"listens on {settings.host} and anyone who reaches it may read /metrics: use `key`")
    if settings.log_level in ("warning", "error"):
        yield notice(
            "LOG_LEVEL", f"{settings.log_level}: there is no line per request, so no way to find one by its id"
        )


def _is_all(network: str) -> bool:
    if network == "*":
        return True
    try:
        return ipaddress.ip_network(network, strict=False).prefixlen == 0
    except ValueError:
        return False
