"""Notices that an older catalogue was put in place: the shop database remembers the latest revision it ever had."""

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.access.stored import AuditEntry, CatalogueSeen
from app.database.connections import Database


def known_revision(shop: Database, latest: int, *, accept: bool = False) -> int:
    """The latest revision that the catalogue is known to have had, from writes in the audit and from earlier starts.

    `latest` is the revision it has now, which is remembered if it is newer, and in any case with `accept`. Raises
    Unavailable or NoRoom.
    """
    with shop.reading() as session:
        seen, audited, known = _looked_up(session)
    if accept:
        known = latest
    elif known > latest or (seen is not None and (seen.revision, seen.audited) == (latest, audited)):
        return known
    with shop.writing() as session:
        session.merge(CatalogueSeen(one=1, revision=max(latest, known), audited=audited))
    return max(latest, known)


def _looked_up(session: Session) -> tuple[CatalogueSeen | None, int, int]:
    seen = session.get(CatalogueSeen, 1)
    since = -1 if seen is None else seen.audited
    later = col(AuditEntry.number) > since
    found = session.exec(select(func.max(AuditEntry.number), func.max(AuditEntry.revision)).where(later)).one()
    audited, revision = found
    return seen, max(since, audited or 0), max(0 if seen is None else seen.revision, revision or 0)
