"""The sources of an answer, and the newer documents that a reader of a figure should look at too."""

from collections.abc import Collection, Iterable
from threading import Lock
from typing import NamedTuple
from weakref import WeakKeyDictionary

from cachetools import LRUCache

from app.catalogue.rows import Snapshot
from app.catalogue.snapshot import holding
from app.catalogue.stored import SQL
from app.catalogue.tables import Source

SOURCES_KEPT = 4096
_KEPT: WeakKeyDictionary[object, LRUCache[tuple[int, str], "Newer"]] = WeakKeyDictionary()
_GUARD = Lock()
_REPLACING = holding(Source).where(SQL[Source].c.supersedes.is_not(None)).order_by(SQL[Source].c.id)


class Newer(NamedTuple):
    """The document that replaces a source, and the newest edition of its series, as far as there are any."""

    superseded_by: Source | None = None
    edition: Source | None = None


class CitedSources(dict[str, Source]):
    """The sources that an answer cites, by id."""

    def __init__(self, snapshot: Snapshot) -> None:
        super().__init__()
        self._snapshot = snapshot
        self._newer: dict[str, Newer] = {}

    def newer(self, id: str) -> Newer:
        """The newer documents of one of these sources."""
        if id not in self._newer:
            self._newer.update(newer_than(self._snapshot, [self[each] for each in self if each not in self._newer]))
        return self._newer[id]


def newer_than(snapshot: Snapshot, sources: Collection[Source]) -> dict[str, Newer]:
    """The newer documents of some sources, by the id of the source.

    A revision never changes, so those of the last few thousand sources are kept.
    """
    with _GUARD:
        kept = _KEPT.setdefault(snapshot.cache_key, LRUCache(SOURCES_KEPT))
        found = {
            source.id: known for source in sources if (known := kept.get((snapshot.revision, source.id))) is not None
        }
    wanted = [source for source in sources if source.id not in found]
    if wanted:
        new = _newer_than(snapshot, wanted)
        found |= new
        with _GUARD:
            kept.update(((snapshot.revision, id), newer) for id, newer in new.items())
    return found


def _newer_than(snapshot: Snapshot, sources: Collection[Source]) -> dict[str, Newer]:
    replacing = Source.all_from_database(snapshot.fetch(_REPLACING))
    series = {source.series for source in sources if source.series is not None}
    editions = snapshot.among(Source, "series", series) if series else []
    found: dict[str, Newer] = {}
    for source in sources:
        naming = (each for each in replacing if source.id in (each.supersedes or ()))
        later = (each for each in editions if is_older_edition(source, each))
        found[source.id] = Newer(_newest(naming), _newest(later))
    return found


def is_older_edition(one: Source, other: Source) -> bool:
    """Whether one source is an older edition of another's series: both are dated, as far as both dates go."""
    if one.series is None or (one.maker, one.series) != (other.maker, other.series):
        return False
    if one.published_on is None or other.published_on is None:
        return False
    length = min(len(one.published_on), len(other.published_on))
    return one.published_on[:length] < other.published_on[:length]


def _newest(sources: Iterable[Source]) -> Source | None:
    return max(sources, key=lambda each: (each.published_on or "", each.id), default=None)
