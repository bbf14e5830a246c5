"""All settings, each a `LEGWORK_*` environment variable; nothing else in the program reads the environment."""

import ipaddress
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from app.environment import (
    PREFIX,
    DatabaseUrl,
    HostList,
    KeyText,
    ListenPort,
    NetworkList,
    OriginList,
    RateStoreUrl,
    RateText,
    Seconds,
    WholeSeconds,
)

DATA = Path(".data")


def is_loopback(host: str) -> bool:
    """Whether only this machine itself reaches a service that listens on `host`."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


class Settings(BaseSettings):
    """One value per setting; a wrong value stops the start with a message that names the variable."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True)

    database_url: DatabaseUrl = Field(
        default=f"sqlite:///{DATA / 'legwork.db'}",
        description="Where the catalogue is: an SQLAlchemy URL of SQLite or PostgreSQL.",
    )
    shop_database_url: DatabaseUrl = Field(
        default=f"sqlite:///{DATA / 'shop.db'}",
        description="Where the bench log, keys and audit are: a second database, whose rows can be erased.",
    )
    read_url: DatabaseUrl | None = Field(
        default=None, description="Where lookups read from, if not from the catalogue itself: a streaming replica."
    )

    backup_folder: Path = Field(
        default=DATA / "backups",
        description="Where `backup` writes when no path is given, and where `doctor` looks for the last one.",
    )

    host: str = Field(default="127.0.0.1", min_length=1, description="The address `serve` listens on.")
    workers: int = Field(
        default=1, ge=1, le=256, description="Processes that answer; one for each core serves the most lookups."
    )
    worker_folder: Path | None = Field(
        default=None, description="Where workers share their metrics and places for imports; `serve` sets it itself."
    )
    port: ListenPort = Field(default=8000, description="The port `serve` listens on; 0 takes a free one.")
    allowed_hosts: HostList = Field(
        default=["localhost", "127.0.0.1", "[::1]"],
        description="Hosts that are answered, between commas or as a JSON list; `*.example.org` is any below, `*` all.",
    )
    trusted_proxies: NetworkList = Field(
        default=[],
        description="Addresses or networks whose X-Forwarded-For and -Proto are believed, likewise.",
    )
    cors_origins: OriginList = Field(
        default=[],
        description="Origins whose web pages may read answers, such as `https://shop.example.org`, likewise; `*` all, "
        "while lookups are open. Never with cookies.",
    )
    open_reads: bool = Field(default=True, description="Whether the catalogue may be read without a key.")

    mirror_key: KeyText | None = Field(
        default=None, description="The key that `mirror` sends to an origin whose lookups are not open."
    )

    max_age: int = Field(
        default=0,
        ge=0,
        le=86_400,
        description="Seconds an answer of the newest revision may be kept; 0 means ask each time.",
    )
    cache_bytes: int = Field(
        default=32_000_000,
        ge=0,
        description="Bytes of answers kept for the next who asks, of all workers together; 0 keeps none.",
    )
    max_body_bytes: int = Field(
        default=16_000_000, ge=1_000, description="The largest body that is taken (413 beyond)."
    )
    max_url_bytes: int = Field(
        default=8_192, ge=256, description="The longest path and query that is taken (414 beyond)."
    )
    max_header_bytes: int = Field(default=16_384, ge=1_024, description="All header lines together (431 beyond).")
    max_headers: int = Field(default=100, ge=10, description="The number of header lines (431 beyond).")
    max_in_flight: int = Field(
        default=256, ge=1, description="Requests a worker answers at once; beyond it 503 with Retry-After."
    )
    max_lag: Seconds = Field(
        default=1.0,
        le=60,
        description="Seconds a request may wait for those before it to be begun; beyond it 503 with Retry-After.",
    )
    max_connections: int = Field(
        default=4_096,
        ge=1,
        le=1_000_000,
        description="Open connections a worker holds, idle ones too; beyond it 503 and closed.",
    )

    header_timeout: Seconds = Field(
        default=8.0, le=60, description="Seconds in which a request's header must have come (408 beyond)."
    )
    body_timeout: Seconds = Field(
        default=8.0, le=60, description="Seconds in which the next 16 KiB of a body must have come (408 beyond)."
    )
    write_timeout: Seconds = Field(
        default=30.0,
        description="Seconds in which a client must have taken what is waiting for it; then it is cut off.",
    )
    request_timeout: Seconds = Field(
        default=10.0, description="Seconds from the whole request to the first byte of its answer (503 beyond)."
    )
    import_timeout: Seconds = Field(
        default=300.0, description="Seconds an import, a dry run or an export may take (503 beyond)."
    )
    upload_timeout: Seconds = Field(default=300.0, description="Seconds a whole body may take (503 beyond).")
    keep_alive_timeout: WholeSeconds = Field(
        default=15, description="Seconds an idle connection is kept for the next request."
    )
    shutdown_timeout: WholeSeconds = Field(
        default=10, description="Seconds that answers under way get to finish at a stop."
    )

    read_rate: RateText | None = Field(
        default=None,
        description="Lookups per key, or per address without one, as `number/second|minute|hour`; no limit unless set.",
    )
    write_rate: RateText = Field(default="60/minute", description="Writes and dry runs, likewise.")
    batch_rate: RateText = Field(
        default="6000/minute", description="Questions in batches, likewise; they count towards LEGWORK_READ_RATE too."
    )
    rate_store: RateStoreUrl = Field(
        default="memory://",
        description="Where rates are counted: `memory://` in each worker, or a shared store's URL.",
    )

    audit_days: int = Field(
        default=400, ge=1, le=36_500, description="Days for which audit entries are kept; older ones are erased."
    )

    log_level: Literal["debug", "info", "warning", "error"] = Field(
        default="info", description="The least that is logged; each request is one `info` line."
    )
    log_format: Literal["json", "text"] = Field(default="json", description="One JSON object a line, or key=value.")
    metrics: Literal["off", "key", "open"] = Field(
        default="off",
        description="Who may read `/metrics`: nobody, a key with the scope `read`, or whoever reaches the port.",
    )

    @model_validator(mode="after")
    def _any_origin_reads_only_what_is_open(self) -> Self:
        if "*" in self.cors_origins and not self.open_reads:
            raise ValueError("LEGWORK_CORS_ORIGINS may be * only while LEGWORK_OPEN_READS is true: list the origins")
        return self
