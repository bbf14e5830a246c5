"""Whether all is well with an installation, one finding per thing looked at. Changes nothing and creates nothing.

A finding is `good`, worth a `notice`, or `bad`: then something must be seen to.
"""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Literal

from app.settings import Settings

Level = Literal["good", "notice", "bad"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at: what, how it is, and a sentence for whoever keeps the service."""

    name: str
    level: Level
    text: str

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


def looked_over(settings: Settings) -> list[Finding]:
    """All findings, in the order in which they are read."""
    return list(_findings(settings))


def as_text(findings: list[Finding]) -> str:
    """A line each, what is bad last, where it is seen."""
    order = {"good": 0, "notice": 1, "bad": 2}
    lines = sorted(findings, key=lambda finding: order[finding.level])
    wide = max(len(finding.name) for finding in lines)
    return "\n".join(f"{finding.level:<6}  {finding.name:<{wide}}  {finding.text}" for finding in lines)


def _findings(settings: Settings) -> Iterator[Finding]:
    from app.operating import look_at_files, look_at_settings, look_at_stores

    yield from look_at_stores.versions(settings)
    for which, url in (("catalogue", settings.database_url), ("shop", settings.shop_database_url)):
        yield from look_at_stores.store(which, url)
        yield from look_at_files.files(which, url)
    yield look_at_files.last_backup(settings)
    yield from look_at_settings.risks(settings)
