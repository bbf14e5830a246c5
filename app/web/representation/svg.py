"""Builds SVG elements with presentation attributes only, so they work under the strictest content policy."""

from xml.etree import ElementTree as ET

from app.web.representation.answer import Answer

INVENTED = "Demonstration: invented data. Never use it on a real fork."
STRIP = 22  # height of that line above a drawing
# Cautions that every drawing must show, by their code.
WARNINGS = {
    "over-pressure-limit": "above the maximum pressure",
}


def sheet(width: float, height: float, title: str, described: str, size: int = 13) -> ET.Element:
    """A white sheet with its title and a description for screen readers."""
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


def written(root: ET.Element, answer: Answer) -> bytes:
    """The drawing as UTF-8. A striped line at the top says if the answer rests on invented data."""
    if any(each["code"] == "invented-data" for each in answer["cautions"]):
        _marked(root)
    body: str = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}'.encode()


def _marked(root: ET.Element) -> None:
    """Add a line above the drawing, which grows by it. The stripes are visible in black and white."""
    for description in root.findall("desc"):
        description.text = f"{INVENTED} {description.text}"
    left, top, width, height = map(float, root.attrib["viewBox"].split())
    root.set("viewBox", f"{left:g} {top - STRIP:g} {width:g} {height + STRIP:g}")
    child(root, "rect", x=left, y=top - STRIP, width=width, height=STRIP, fill="white", stroke="black")
    child(root, "rect", x=left, y=top - STRIP, width=24, height=STRIP, fill="black")
    for at in (left, left + 12):
        corners = ((at, top), (at + 6, top), (at + 12, top - STRIP), (at + 6, top - STRIP))
        child(root, "polygon", points=" ".join(f"{x:g},{y:g}" for x, y in corners), fill="#ffd84a")
    text(root, left + 30, top - 7, INVENTED, size=11, weight="bold", name="invented")


def warnings(answer: Answer) -> list[str]:
    """The short texts of the cautions that a drawing of this answer must show."""
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
    """An element; an underscore in an attribute's name becomes a hyphen."""
    element = ET.SubElement(parent, tag, {name.replace("_", "-"): f"{value}" for name, value in attributes.items()})
    element.text = told
    return element


def text(
    root: ET.Element, x: float, y: float, told: str, *, anchor: str = "start", size: int | None = None,
    weight: str | None = None, name: str | None = None,
) -> None:  # fmt: skip
    """Words at a position; `name` becomes their class."""
    element = child(root, "text", told, x=round(x, 2), y=round(y, 2), text_anchor=anchor)
    for attribute, value in (("font-size", size), ("font-weight", weight), ("class", name)):
        if value is not None:
            element.set(attribute, str(value))
