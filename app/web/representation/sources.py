"""The documents an answer cites, each with a letter, for marks beside figures and a list at the end."""

from collections.abc import Mapping

from app.web.representation import words
from app.web.representation.answer import Answer


class Sources:
    """The documents an answer cites, in order of appearance."""

    def __init__(self, answer: object) -> None:
        self.listed: list[Mapping[str, object]] = []
        self._numbers: dict[str, int] = {}
        self._collect(answer)

    def letter(self, source: Answer) -> str:
        """The letter of a source in the list of this answer: a to z, then aa."""
        return _letter(self._numbers[source["id"]])

    def mark(self, statement: Answer) -> str:
        """The letter and the page of the source of a statement; empty if it has none. With `!` it is to be read again
        in a newer document, which the list of sources names.
        """
        source = statement.get("source")
        if source is None:
            return ""
        page = f" {source['page']}" if "page" in source else ""
        return f"{self.letter(source)}{page}{'!' if words.edition_words(source) else ''}"

    def _collect(self, value: object) -> None:
        if isinstance(value, list):
            for inner in value:
                self._collect(inner)
        elif isinstance(value, dict) and "ucum" not in value:  # a quantity cites nothing
            source = value.get("source")
            if isinstance(source, dict) and "id" in source and source["id"] not in self._numbers:
                self.listed.append(source)
                self._numbers[source["id"]] = len(self.listed)
            for inner in value.values():
                if isinstance(inner, dict | list):
                    self._collect(inner)


def _letter(number: int) -> str:
    """The number of an item in a list that counts in letters, as a browser numbers it."""
    before, last = divmod(number - 1, 26)
    return (_letter(before) if before else "") + chr(ord("a") + last)
