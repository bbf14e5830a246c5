"""Checks an installation, with one finding per check. Changes nothing and creates nothing.

A finding is `good`, a `notice`, or `bad`, which means that something needs attention.
"""

from collections.abc import Iterator

from app.operating import doctor_files, doctor_settings, doctor_stores
from app.operating.finding import DoctorFinding
from app.settings import Settings


def looked_over(settings: Settings) -> list[DoctorFinding]:
    """All findings, in reading order."""
    return list(_findings(settings))


def as_text(findings: list[DoctorFinding]) -> str:
    """One line per finding, with bad ones last, where they are noticed."""
    order = {"good": 0, "notice": 1, "bad": 2}
    lines = sorted(findings, key=lambda finding: order[finding.level])
    wide = max(len(finding.name) for finding in lines)
    return "\n".join(f"{finding.level:<6}  {finding.name:<{wide}}  {finding.text}" for finding in lines)


def _findings(settings: Settings) -> Iterator[DoctorFinding]:
    yield from doctor_stores.versions(settings)
    for which, url in (("catalogue", settings.database_url), ("shop", settings.shop_database_url)):
        yield from doctor_stores.store(which, url)
        yield from doctor_files.files(which, url)
    yield doctor_files.last_backup(settings)
    yield from doctor_settings.what_is_open(settings)
    yield from doctor_settings.risks(settings)
