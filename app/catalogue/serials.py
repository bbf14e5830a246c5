"""Serial numbers: the shape of a variant's serials, and ranges of serials. Pure.

Serials are compared bytewise in capitals, with spaces and hyphens as stamped. A range contains only serials of exactly
the length of its ends, so ranges of different length never overlap.
"""

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from app.catalogue.tables import Variant

_HIGHEST = "\U0010ffff"  # sorts after every serial


class Run(NamedTuple):
    """The serials of one variant: their shape (`#` a digit, `@` a capital letter) and the ends of a range."""

    variant: str
    pattern: str
    first: str | None
    last: str | None

    def holds(self, serial: str) -> bool:
        """Whether a serial, in capitals, is one of these; ends are compared as text of equal length."""
        first = self.pattern[0]
        if len(serial) != len(self.pattern) or (first not in "#@" and first != serial[0]):
            return False  # decides most patterns without the other comparisons
        if not shape(self.pattern).fullmatch(serial):
            return False
        if self.first is not None and len(self.first) == len(serial) and serial < self.first:
            return False
        return not (self.last is not None and len(self.last) == len(serial) and serial > self.last)


@lru_cache(maxsize=65536)
def shape(pattern: str) -> re.Pattern[str]:
    """The pattern of serials as a regular expression: one character each, so no text takes long."""
    classes = {"#": "[0-9]", "@": "[A-Z]"}
    return re.compile("".join(classes.get(character, re.escape(character)) for character in pattern))


class SerialRange(NamedTuple):
    """All serials of one length from `first` to `last`, in capitals; an open end is empty or above every serial."""

    length: int
    first: str
    last: str

    @property
    def empty(self) -> bool:
        """True if the range runs backwards."""
        return self.first > self.last

    @property
    def text(self) -> str:
        """The range in words: `A22-0500 to A22-0999`."""
        if self.first == self.last:
            return self.first
        if not self.first:
            return f"up to {self.last}"
        return f"from {self.first}" if self.last == _HIGHEST else f"{self.first} to {self.last}"

    def holds(self, serial: str) -> bool:
        """Whether a serial, in capitals, is in the range."""
        return len(serial) == self.length and self.first <= serial <= self.last

    def meets(self, other: "SerialRange") -> bool:
        """Whether some serial is in both ranges."""
        return self.length == other.length and max(self.first, other.first) <= min(self.last, other.last)

    def within(self, other: "SerialRange") -> bool:
        """Whether every serial of this range is in the other."""
        return self.length == other.length and other.first <= self.first and self.last <= other.last

    def both(self, other: "SerialRange") -> "SerialRange":
        """The serials in both of two ranges that meet."""
        return SerialRange(self.length, max(self.first, other.first), min(self.last, other.last))


@lru_cache(maxsize=4096)
def serial_range(first: str | None, last: str | None) -> SerialRange | None:
    """The range between two ends; None if neither is given."""
    if first is None and last is None:
        return None
    return SerialRange(len(first or last or ""), (first or "").upper(), _HIGHEST if last is None else last.upper())


def one_serial(serial: str) -> SerialRange:
    """The range of a single serial, in capitals."""
    return SerialRange(len(serial), serial, serial)


def has_serial(variant: Variant, serial: str) -> bool | None:
    """Whether a serial, in capitals, is one of a variant's; None if the variant states no serials."""
    if variant.serial_pattern is not None:
        return Run(variant.id, variant.serial_pattern, variant.serial_from, variant.serial_to).holds(serial)
    made = serial_range(variant.serial_from, variant.serial_to)
    return None if made is None else made.holds(serial)


def made_serials(variant: Variant) -> SerialRange | None:
    """The range of a variant's serials; None if it states no end."""
    return serial_range(variant.serial_from, variant.serial_to)


def is_known(serial: str, variants: Iterable[Variant], ranges: Iterable[SerialRange]) -> bool:
    """Whether a serial, in capitals, has a shape that the catalogue knows, so that it is inside or outside its ranges.

    It has one if it is a variant's or within a range, or if its digits, letters and other characters are where those
    of an end of a range are.
    """
    stated = list(variants)
    every = [*ranges, *(made for each in stated if (made := made_serials(each)) is not None)]
    if any(has_serial(each, serial) for each in stated) or any(each.holds(serial) for each in every):
        return True
    mine = _outline(serial)
    return any(mine in (_outline(each.first), _outline(each.last)) for each in every)


def _outline(serial: str) -> str:
    """The pattern that a serial itself shows: `A22-0500` → `@##-####`."""
    return re.sub("[A-Z]", "@", re.sub("[0-9]", "#", serial))
