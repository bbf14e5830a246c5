"""How a spreadsheet shows a number: the digits, percent sign and words of its format (ECMA-376-1, 18.8.31).

Fractions, exponents, thousands as units and conditions are not shown here: whoever reads such a cell has to be asked.
"""

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

MOST_DIGITS = 10
"""Significant digits that a General cell shows at its usual width; more of them come from a calculation."""
_TOKEN = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|_.|\*.|\[\$(?P<currency>[^\]-]*)(?:-[^\]]*)?\]|(?P<colour>\[[A-Za-z]+\d*\])'
    r"|(?P<bracket>\[[^\]]*\])|(?P<general>General)|(?P<digits>[0#?.,]+)|(?P<exponent>[Ee][+-])|(?P<percent>%)"
    r"|(?P<text>@)|(?P<other>.)",
    re.IGNORECASE | re.DOTALL,
)
_SECTION = re.compile(r'((?:"[^"]*"|\\.|[^;])*)(?:;|$)', re.DOTALL)
_DIGITS = re.compile(r"(?P<whole>[0#?]*(?:,[0#?]+)*)(?P<scale>,*)(?:\.(?P<decimals>[0#?]*))?")


@dataclass(frozen=True, slots=True)
class Shown:
    """The text of a cell; `doubt` says why it may not be what the page says."""

    text: str
    doubt: str | None = None


def shown(value: float, code: str) -> Shown:
    """A number as its format shows it."""
    exact = Decimal(f"{value:.15g}")
    if code in ("General", "@", ""):
        return _general(exact)
    section, signed = _section(code, exact)
    before, pattern, after, percents = "", None, "", 0
    for token in _TOKEN.finditer(section):
        kind, text = token.lastgroup, token[0]
        if kind in ("digits", "general"):
            if pattern is not None:
                return _strange(exact, code)
            pattern = text
        elif kind in ("exponent", "bracket", "text") or (kind == "other" and text == "/" and pattern is not None):
            return _strange(exact, code)
        elif kind != "colour":
            literal = next((part for part in (token["quoted"], token["escaped"], token["currency"]) if part), None)
            if text[0] in "_*" and kind is None:
                literal = " " if text[0] == "_" else ""
            elif literal is None:
                literal = "" if kind in ("quoted", "currency") else text
            percents += kind == "percent"
            before, after = (before + literal, after) if pattern is None else (before, after + literal)
    if pattern is None:  # a format may show zero as a dash
        is_word = exact == 0 and not any(each.isdigit() for each in before)
        return Shown(before.strip()) if is_word else _strange(exact, code)
    digits = _general(exact.copy_abs()) if pattern.lower() == "general" else _fixed(exact, pattern, percents)
    if digits is None:
        return _strange(exact, code)
    sign = "-" if exact < 0 and not signed else ""
    text = f"{sign}{before}{digits.text}{after}".strip()
    return Shown(text, digits.doubt and digits.doubt.replace(digits.text, text, 1))


def _section(code: str, value: Decimal) -> tuple[str, bool]:
    """The part of a format that applies to a value, and whether that part itself writes the sign."""
    sections = [found[1] for found in _SECTION.finditer(code)]
    sections = sections[:-1] if len(sections) > 1 and not code.endswith(";") and sections[-1] == "" else sections
    if value < 0 and len(sections) > 1:
        return sections[1], True
    if value == 0 and len(sections) > 2:
        return sections[2], False
    return sections[0], False


def _general(value: Decimal) -> Shown:
    text = f"{value:f}"
    if len(value.normalize().as_tuple().digits) > MOST_DIGITS or len(text) > 2 * MOST_DIGITS:
        return Shown(text, f"the cell holds {text}, which looks calculated")
    return Shown(text.rstrip("0").rstrip(".") if "." in text else text)


def _fixed(value: Decimal, pattern: str, percents: int) -> Shown | None:
    """The digits for a pattern such as 0.00; None if it does not show the number itself."""
    found = _DIGITS.fullmatch(pattern)
    if found is None or found["scale"]:
        return None
    decimals = found["decimals"] or ""
    scaled = (value * 100**percents).copy_abs()
    rounded = scaled.quantize(Decimal(1).scaleb(-len(decimals)), ROUND_HALF_UP)
    text = f"{rounded:f}"
    needed = len(decimals.rstrip("#?"))
    while "." in text and text.endswith("0") and len(text.partition(".")[2]) > needed:
        text = text[:-1]
    whole, point, rest = text.rstrip(".").partition(".")
    least = found["whole"].replace(",", "").lstrip("#?")
    text = (whole.zfill(len(least)) if least or whole != "0" else "") + point + rest
    if rounded != scaled:
        return Shown(text, f"the cell shows {text} but holds {scaled:f}")
    return Shown(text)


def _strange(value: Decimal, code: str) -> Shown:
    return Shown(f"{value:f}", f"the cell holds {value:f} in the number format {code}")
