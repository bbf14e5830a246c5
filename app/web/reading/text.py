"""The characters that text from clients may contain."""

import re
import unicodedata

# C0 controls but tab and line ends, DEL, C1 controls, lone surrogates, bidirectional embeddings, overrides and
# isolates (Unicode Standard Annex 9, 2), two noncharacters.
_REFUSED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufffe\uffff]")


def refused_character(text: str, *, one_line: bool) -> str | None:
    """The first forbidden character of `text`, as `U+0000`, or None; `one_line` also forbids tabs and line ends."""
    match = _REFUSED.search(text) or (re.search(r"[\t\r\n]", text) if one_line else None)
    return f"U+{ord(match[0]):04X}" if match else None


def composed(text: str) -> str:
    """The text in NFC, so that an accented letter compares equal however it was typed."""
    return text if text.isascii() else unicodedata.normalize("NFC", text)
