"""All settings, each a `LEGWORK_*` environment variable; nothing else in the program reads the environment."""

import ipaddress
from pathlib import Path
from typing import Literal, Self

from pydantic import DirectoryPath, Field, model_validator
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
    """Whether a service that listens on `host` can be reached only from this machine."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


class Settings(BaseSettings):
    """One field per setting. A wrong value stops the start with a message that names the variable."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True)

    database_url: DatabaseUrl = Field(
        default=f"sqlite:///{DATA / 'legwork.db'}",
        description="The catalogue database: an SQLAlchemy URL of SQLite or PostgreSQL.",
    )
    shop_database_url: DatabaseUrl = Field(
        default=f"sqlite:///{DATA / 'shop.db'}",
        description="The database of the bench log, keys and audit log. Its rows can be erased.",
    )
    read_url: DatabaseUrl | None = Field(
        default=None,
        description="A streaming replica to read from. By default lookups read from the catalogue database.",
    )

    backup_folder: Path = Field(
        default=DATA / "backups",
        description="Folder where `backup` writes if you give no path, and where `doctor` looks for the last backup.",
    )

    host: str = Field(default="127.0.0.1", min_length=1, description="The address `serve` listens on.")
    workers: int = Field(
        default=1, ge=1, le=256, description="Processes that answer; one for each core serves the most lookups."
    )
    worker_folder: DirectoryPath | None = Field(
        default=None, description="Where workers share their metrics and places for imports; `serve` sets it itself."
    )
    port: ListenPort = Field(default=8000, description="The port `serve` listens on; 0 takes a free one.")
    allowed_hosts: HostList = Field(
        default=["localhost", "127.0.0.1", "[::1]"],
        description="Allowed Host headers, as a,b or a JSON list; `*.example.org` allows all subdomains, `*` all.",
    )
    trusted_proxies: NetworkList = Field(
        default=[],
        description="Proxies whose X-Forwarded-For and -Proto are trusted: addresses or networks, as a list.",
    )
    cors_origins: OriginList = Field(
        default=[],
        description="Origins whose web pages may read answers, such as `https://shop.example.org`, as a list; `*` all, "
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
        description="Seconds that clients may cache an answer of the latest revision; 0 means always revalidate.",
    )
    cache_bytes: int = Field(
        default=32_000_000,
        ge=0,
        description="Bytes of answers kept for the next who asks, of all workers together; 0 keeps none.",
    )
    max_body_bytes: int = Field(
        default=16_000_000, ge=1_000, description="The largest body accepted, in bytes (larger: 413)."
    )
    max_url_bytes: int = Field(
        default=8_192, ge=256, description="The longest path and query accepted, in bytes (longer: 414)."
    )
    max_header_bytes: int = Field(
        default=16_384, ge=1_024, description="Maximum size of all header lines, in bytes (larger: 431)."
    )
    max_headers: int = Field(default=100, ge=10, description="Maximum number of header lines (more: 431).")
    max_in_flight: int = Field(
        default=256, ge=1, description="Requests that a worker handles at once; more get 503 with Retry-After."
    )
    max_lag: Seconds = Field(
        default=1.0,
        le=60,
        description="Seconds a request may queue before it starts; after that it gets 503 with Retry-After.",
    )
    max_connections: int = Field(
        default=4_096,
        ge=1,
        le=1_000_000,
        description="Open connections per worker, idle ones included; more get 503 and are closed.",
    )

    header_timeout: Seconds = Field(
        default=8.0, le=60, description="Seconds a client has to send its request header (longer: 408)."
    )
    body_timeout: Seconds = Field(
        default=8.0, le=60, description="Seconds a client has to send each 16 KiB of a body (longer: 408)."
    )
    write_timeout: Seconds = Field(
        default=30.0,
        description="Seconds a client has to read what was sent to it; then its connection is closed.",
    )
    request_timeout: Seconds = Field(
        default=10.0, description="Seconds from the complete request to the first byte of the answer (longer: 503)."
    )
    import_timeout: Seconds = Field(
        default=300.0, description="Seconds an import, a dry run or an export may take (longer: 503)."
    )
    upload_timeout: Seconds = Field(default=300.0, description="Seconds to receive a whole body (longer: 503).")
    keep_alive_timeout: WholeSeconds = Field(default=15, description="Seconds to keep an idle connection open.")
    shutdown_timeout: WholeSeconds = Field(
        default=10, description="Seconds that running requests have to finish when the server stops."
    )

    read_rate: RateText | None = Field(
        default=None,
        description="Lookups per key, or per address without a key, as `number/second|minute|hour`; unset: no limit.",
    )
    write_rate: RateText = Field(default="60/minute", description="Writes and dry runs, likewise.")
    batch_rate: RateText = Field(
        default="6000/minute", description="Questions in batches, likewise; they count towards LEGWORK_READ_RATE too."
    )
    draft_rate: RateText = Field(
        default="600/minute", description="Answers, corrections and ticks of drafts, likewise."
    )
    rate_store: RateStoreUrl = Field(
        default="memory://",
        description="Where rates are counted: `memory://` for each worker alone, or the URL of a shared store.",
    )

    second_reader: bool = Field(
        default=True,
        description="Whether another key must have read each row of a draft before it is loaded; a shop of one sets "
        "false.",
    )

    audit_days: int = Field(
        default=400, ge=1, le=36_500, description="Days for which audit entries are kept; older ones are erased."
    )

    log_level: Literal["debug", "info", "warning", "error"] = Field(
        default="info", description="The lowest level that is logged; each request is one `info` line."
    )
    log_format: Literal["json", "text"] = Field(
        default="json", description="Log lines as JSON objects or as key=value."
    )
    metrics: Literal["off", "key", "open"] = Field(
        default="off",
        description="Who may read `/metrics`: nobody, keys with scope `read`, or anyone who can reach the port.",
    )

    @model_validator(mode="after")
    def _any_origin_reads_only_what_is_open(self) -> Self:
        if "*" in self.cors_origins and not self.open_reads:
            raise ValueError("LEGWORK_CORS_ORIGINS may be * only while LEGWORK_OPEN_READS is true: list the origins")
        return self
