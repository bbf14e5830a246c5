"""The elements of a drawing: presentation attributes only, so that the strictest content policy lets it be seen."""

from xml.etree import ElementTree as ET

from app.web.representation.answer import Answer

# What a drawing must not be seen without, by the code of the caution.
WARNINGS = {
    "invented-data": "invented data, not for a real fork",
    "over-pressure-limit": "above the maximum fill pressure",
}


def sheet(width: float, height: float, title: str, described: str, size: int = 13) -> ET.Element:
    """A white sheet with its title and what it shows in words, for those who cannot see it."""
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {width:g} {height:g}", "role": "img", "lang": "en",
            "aria-labelledby": "title desc", "font-family": "sans-serif", "font-size": f"{size}", "fill": "black",
        },
    )  # fmt: skip
    child(root, "title", title, id="title")
    child(root, "desc", described, id="desc")
    child(root, "rect", width=width, height=height, fill="white")
    return root


def written(root: ET.Element) -> bytes:
    """The drawing as UTF-8."""
    body: str = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}'.encode()


def warnings(answer: Answer) -> list[str]:
    """The short words of those cautions of an answer that its drawing must bear."""
    there = {each["code"] for each in answer["cautions"]}
    return [WARNINGS[code] for code in WARNINGS if code in there]


def wrapped(told: str, most: int) -> list[str]:
    """A sentence in rows of about that many characters."""
    rows = [""]
    for word in told.split():
        if rows[-1] and len(rows[-1]) + len(word) >= most:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}".strip()
    return rows


def child(parent: ET.Element, tag: str, told: str | None = None, **attributes: str | float) -> ET.Element:
    """An element; an underscore in an attribute's name stands for a hyphen."""
    element = ET.SubElement(parent, tag, {name.replace("_", "-"): f"{value}" for name, value in attributes.items()})
    element.text = told
    return element


def text(
    root: ET.Element, x: float, y: float, told: str, *, anchor: str = "start", size: int | None = None,
    weight: str | None = None, name: str | None = None,
) -> None:  # fmt: skip
    """Words at a place; `name` becomes their class."""
    element = child(root, "text", told, x=round(x, 2), y=round(y, 2), text_anchor=anchor)
    for attribute, value in (("font-size", size), ("font-weight", weight), ("class", name)):
        if value is not None:
            element.set(attribute, str(value))
