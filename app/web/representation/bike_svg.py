"""Draws the answer to `fork-check`: the bicycle from the side with the old fork and the new one, to scale.

Every point follows from the figures of the answer. If one of them is unknown, nothing is drawn and a sentence names it.
The two states differ by dashes and line width, not by colour.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from xml.etree import ElementTree as ET

from app.json_types import JsonObject
from app.units.convert import exact
from app.units.table import Kind, unit
from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.svg import child, sheet, text, warnings, wrapped, written

WIDTH, MARGIN, GROUND = 400.0, 10.0, 262.0
KEY = 300.0
NEEDED = ("axle_to_crown", "offset", "head_angle", "trail", "wheelbase", "bb_drop", "bb_height", "reach", "stack")
TOLD = ("axle_to_crown", "head_angle", "bb_height", "wheelbase")
STYLES: dict[str, JsonObject] = {
    "before": {"stroke": "#555", "stroke_width": 1.2, "stroke_dasharray": "5 3"},
    "after": {"stroke": "black", "stroke_width": 2.4, "stroke_dasharray": "none"},
}

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Bike:
    """Side view in mm: x forward from the rear axle, y up from the ground."""

    rear_axle: Point
    front_axle: Point
    steerer_foot: Point  # where the steering axis is nearest to the front axle
    crown: Point
    head_top: Point
    bottom_bracket: Point
    saddle: Point | None  # on the line of the seat angle, at the height of the head tube's top; None if unknown


def bike_change(answer: Answer) -> bytes:
    """The drawing as UTF-8, or a sentence if figures are missing."""
    title = f"{answer['frame']['name']} with {answer['chassis']['name']}: before and after"
    lacking = missing(answer)
    told = [f"No drawing: {lacking}"] if lacking else _described(answer)
    root = sheet(WIDTH, 400, title, " ".join(told), size=14)
    text(root, WIDTH / 2, 22, title, anchor="middle", size=15, weight="bold")
    if lacking:
        for number, row in enumerate(wrapped(told[0], 48)):
            text(root, 16, 60 + 20 * number, row, name="missing")
    else:
        _drawn(root, answer)
    said = warnings(answer)
    if said:
        text(root, WIDTH / 2, 392, "; ".join(said), anchor="middle", weight="bold", name="warning")
    return written(root, answer)


def missing(answer: Answer) -> str:
    """The reason the bicycle cannot be drawn, or an empty text."""
    if "geometry" not in answer:
        return " ".join(each["text"] for each in answer["gaps"]) or "the geometry is not known."
    states = (answer["geometry"]["before"], answer["geometry"]["after"])
    lacking = [words.label(name) for name in NEEDED if any(name not in state for state in states)]
    return f"the frame's data give no {', '.join(lacking)}." if lacking else ""


def bike(geometry: Answer, state: str) -> Bike:
    """The points of one state of the answer.

    The steering axis passes `offset` behind the front axle; stack and reach lead from it back to the bottom bracket.
    """
    shown = geometry[state]
    mm = {name: _in("length", shown[name], "mm") for name in NEEDED if name != "head_angle"}
    angle = math.radians(_in("angle", shown["head_angle"], "°"))
    sine, cosine = math.sin(angle), math.cos(angle)
    radius = (mm["trail"] * sine + mm["offset"]) / cosine
    foot = (mm["wheelbase"] - mm["offset"] * sine, radius - mm["offset"] * cosine)
    assumed = {each["name"]: each for each in geometry["assumptions"]}
    length = mm["axle_to_crown"]
    if assumed["axle-to-crown measured"]["assumed"] == "straight":
        length = math.sqrt(length**2 - mm["offset"] ** 2)
    up = length - _sag(assumed["fork sag"])
    head = (mm["bb_height"] + mm["stack"] - foot[1]) / sine
    top = (foot[0] - head * cosine, foot[1] + head * sine)
    bottom = (top[0] - mm["reach"], mm["bb_height"])
    saddle = None
    if "seat_angle" in shown:
        back = mm["stack"] / math.tan(math.radians(_in("angle", shown["seat_angle"], "°")))
        saddle = (bottom[0] - back, top[1])
    return Bike(
        rear_axle=(0.0, mm["bb_height"] + mm["bb_drop"]),
        front_axle=(mm["wheelbase"], radius),
        steerer_foot=foot,
        crown=(foot[0] - up * cosine, foot[1] + up * sine),
        head_top=top,
        bottom_bracket=bottom,
        saddle=saddle,
    )


def _sag(assumed: Answer) -> float:
    """The sag at which the geometry is given, in mm; none for a fully extended fork."""
    return _in("length", assumed["value"], "mm") if "value" in assumed else 0.0


def _in(kind: Kind, shown: Answer, name: str) -> float:
    """The figure in a unit; of a range its middle, so that a drawing needs no choice."""
    figure = shown.get("value", (shown["min"] + shown["max"]) / 2 if "min" in shown else None)
    return float(exact(Decimal(str(figure)), unit(kind, shown["unit"]), unit(kind, name)))


def _described(answer: Answer) -> list[str]:
    geometry = answer["geometry"]
    said = ["Side view to scale, rear wheels in one place. Dashed: before. Solid: after."]
    for name in TOLD:
        before, after = (geometry[state][name]["text"] for state in STYLES)
        said.append(f"{words.heading(name)} {before} before, {after} after.")
    return [*said, *(f"{each.capitalize()}." for each in warnings(answer))]


def _drawn(root: ET.Element, answer: Answer) -> None:
    geometry = answer["geometry"]
    bikes = {state: bike(geometry, state) for state in STYLES}
    text(root, WIDTH / 2, 42, "side view, to scale", anchor="middle", size=13)
    left = max(each.rear_axle[1] for each in bikes.values())
    right = max(each.front_axle[0] + each.front_axle[1] for each in bikes.values())
    scale = (WIDTH - 2 * MARGIN) / (left + right)
    child(root, "line", x1=0, x2=WIDTH, y1=GROUND, y2=GROUND, stroke="black", stroke_width=1)
    for state, each in bikes.items():
        _one(root, state, each, left, scale)
    _heights(root, bikes, left, scale)
    _key(root, geometry)


def _one(root: ET.Element, state: str, each: Bike, left: float, scale: float) -> None:
    def at(point: Point) -> Point:
        return round(MARGIN + (left + point[0]) * scale, 3), round(GROUND - point[1] * scale, 3)

    drawn = child(root, "g", fill="none", stroke_linejoin="round", **STYLES[state])
    drawn.set("class", state)
    for name, axle in (("rear-wheel", each.rear_axle), ("front-wheel", each.front_axle)):
        x, y = at(axle)
        child(drawn, "circle", cx=x, cy=y, r=round(axle[1] * scale, 3)).set("class", name)
    lines: dict[str, tuple[Point, ...]] = {
        "fork": (each.front_axle, each.steerer_foot, each.crown),
        "frame": (each.rear_axle, each.bottom_bracket, each.crown, each.head_top, each.bottom_bracket),
    }
    if each.saddle is not None:
        lines["seat"] = (each.bottom_bracket, each.saddle, each.head_top)
    for name, points in lines.items():
        path = " ".join("{},{}".format(*at(point)) for point in points)
        child(drawn, "polyline", points=path).set("class", name)
    foot, angle = (
        each.steerer_foot,
        math.atan2(each.crown[1] - each.steerer_foot[1], each.steerer_foot[0] - each.crown[0]),
    )
    ground = (foot[0] + foot[1] / math.tan(angle), 0.0)
    (x1, y1), (x2, y2) = at(foot), at(ground)
    axis = child(drawn, "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke_width=1, stroke_dasharray="2 3")
    axis.set("class", "steering-axis")


def _heights(root: ET.Element, bikes: Mapping[str, Bike], left: float, scale: float) -> None:
    """The height of the bottom bracket with the new fork, as a line to the ground."""
    x, height = bikes["after"].bottom_bracket
    across, top = round(MARGIN + (left + x) * scale, 3), round(GROUND - height * scale, 3)
    child(root, "circle", cx=across, cy=top, r=4, fill="white", stroke="black", stroke_width=2)
    child(root, "line", x1=across, x2=across, y1=top + 4, y2=GROUND, stroke="black", stroke_width=1)
    text(root, across + 5, GROUND - 8, "BB", name="label")


def _key(root: ET.Element, geometry: Answer) -> None:
    """Both states with their line style and figures, under the drawing."""
    columns = {"before": 232.0, "after": 330.0}
    for state, x in columns.items():
        child(root, "line", x1=x - 36, x2=x + 36, y1=KEY - 20, y2=KEY - 20, **STYLES[state])
        text(root, x, KEY - 4, state, anchor="middle", weight="bold")
    for row, name in enumerate(TOLD):
        y = KEY + 16 + 18 * row
        text(root, 12, y, words.heading(name))
        for state, x in columns.items():
            text(root, x, y, geometry[state][name]["text"].split(" (")[0], anchor="middle", name=f"{state}-{name}")
