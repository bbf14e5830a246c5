"""Draws the answer to `setup`: force over travel for each number of spacers, with the sag marked.

It can be read on a phone, in print and without colour: lines differ by dashes and have a label at their end. It draws
the figures of the answer and computes none; if there is no curve, it says what is missing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from app.units.quantity import to_set
from app.web.representation.answer import Answer
from app.web.representation.svg import WARNINGS, child, sheet, text, warnings, wrapped, written

WIDTH, HEIGHT = 480, 430
LEFT, RIGHT, TOP, BOTTOM = 62, 372, 74, 358
DASHES = ("none", "9 4", "3 3", "12 3 3 3", "6 2 2 2 2 2", "1 3")
APART = 15  # least distance between two labels


@dataclass(frozen=True, slots=True)
class PlottedLine:
    """A curve with its label and its points as (travel, force), in the units of the answer."""

    label: str
    points: Sequence[tuple[float, float]]
    fitted: bool


@dataclass(frozen=True, slots=True)
class Plane:
    """Maps travel and force to the sheet."""

    travel_max: float
    force_min: float
    force_max: float

    def x(self, travel: float) -> float:
        """The x position of a travel."""
        return round(LEFT + (RIGHT - LEFT) * travel / self.travel_max, 2)

    def y(self, force: float) -> float:
        """The y position of a force."""
        return round(BOTTOM - (BOTTOM - TOP) * (force - self.force_min) / (self.force_max - self.force_min), 2)


def spring_curve(answer: Answer) -> bytes:
    """The drawing as UTF-8."""
    lines = _lines(answer)
    heading = _heading(answer)
    root = sheet(WIDTH, HEIGHT, heading, _described(answer, lines))
    text(root, WIDTH / 2, 22, heading, anchor="middle", size=15, weight="bold")
    if lines:
        _drawn(root, answer, lines)
    else:
        _told(root, answer)
    _warned(root, answer)
    return written(root, answer)


def _lines(answer: Answer) -> list[PlottedLine]:
    if "coil" in answer:
        near = {answer["coil"][name]["id"] for name in ("fitted", "softer", "stiffer") if name in answer["coil"]}
        coils = [each for each in answer["coil"]["springs"] if not near or each["spring"]["id"] in near]
        fitted = answer["coil"].get("fitted", {}).get("id")
        return [PlottedLine(each["rate"]["text"], _points(each), each["spring"]["id"] == fitted) for each in coils]
    return [
        PlottedLine(_counted(each["spacers"]), _points(each), each["spacers"] == answer.get("spacers"))
        for each in answer["by_spacers"]
    ]


def _points(each: Answer) -> list[tuple[float, float]]:
    return [(point["travel"]["value"], point["force"]["value"]) for point in each["curve"]]


def _counted(spacers: int) -> str:
    return f"{spacers} spacer" if spacers == 1 else f"{spacers} spacers"


def _heading(answer: Answer) -> str:
    fit = answer.get("fit")
    name = answer["chassis"]["name"]
    return f"{name}, {fit['travel']['text']}: spring curve" if fit else f"{name}: spring curve"


def _described(answer: Answer, lines: Sequence[PlottedLine]) -> str:
    """The contents of the drawing in sentences, for screen readers."""
    if not lines:
        return " ".join(["No curve can be drawn.", *_missing(answer)])
    said = ["Force over travel."]
    for line in lines:
        said.append(f"{line.label}: {line.points[-1][1]:g} {_unit(answer, 'force')} at full travel.")
    if "sag" in answer:
        said.append(f"Sag {answer['sag']['travel']['text']}, {answer['sag']['percent']['text']} of the travel.")
    if "load" in answer:
        said.append(f"Load {answer['load']['text']}.")
    if "start_pressure" in answer:
        said.append(f"Start pressure {answer['start_pressure']['text']}, {answer['basis']}.")
    said += [each["text"] for each in answer["cautions"] if each["code"] in WARNINGS]
    return " ".join(said)


def _unit(answer: Answer, what: str) -> str:
    rows = answer["by_spacers"] or answer["coil"]["springs"]
    unit: str = rows[0]["curve"][0][what]["unit"]
    return unit


def _drawn(root: ET.Element, answer: Answer, lines: Sequence[PlottedLine]) -> None:
    forces = [force for line in lines for _, force in line.points]
    step = _step(max(forces) - min(0.0, *forces))
    low = min(0.0, *forces)  # the negative chamber may draw the fork in: shown as it is
    plane = Plane(max(travel for line in lines for travel, _ in line.points), low, -(-max(forces) // step) * step)
    _axes(root, plane, step, _unit(answer, "travel"), _unit(answer, "force"))
    ends: list[tuple[float, PlottedLine]] = []
    for number, line in enumerate(lines):
        dash, width = DASHES[number % len(DASHES)], 2.6 if line.fitted else 1.6
        points = " ".join(f"{plane.x(travel)},{plane.y(force)}" for travel, force in line.points)
        drawn = child(
            root, "polyline", points=points, fill="none", stroke="black", stroke_width=width, stroke_dasharray=dash
        )
        drawn.set("class", "curve")
        child(drawn, "title", line.label)
        ends.append((plane.y(line.points[-1][1]), line))
    _labels(root, ends)
    _sag(root, answer, plane)


def _axes(root: ET.Element, plane: Plane, step: float, travel_unit: str, force_unit: str) -> None:
    force = -(-plane.force_min // step) * step + 0.0
    while force <= plane.force_max + step / 2:
        y = plane.y(force)
        child(root, "line", x1=LEFT, x2=RIGHT, y1=y, y2=y, stroke="#bbb" if force else "black", stroke_width=0.8)
        text(root, LEFT - 6, y + 4, f"{force:g}", anchor="end", name="force-tick")
        force += step
    across = _step(plane.travel_max)
    travel = 0.0
    while travel <= plane.travel_max + 1e-9:
        x = plane.x(travel)
        child(root, "line", x1=x, x2=x, y1=BOTTOM, y2=BOTTOM + 5, stroke="black", stroke_width=0.8)
        text(root, x, BOTTOM + 19, f"{travel:g}", anchor="middle", name="travel-tick")
        travel += across
    child(root, "line", x1=LEFT, x2=LEFT, y1=TOP, y2=BOTTOM, stroke="black", stroke_width=1)
    text(root, (LEFT + RIGHT) / 2, BOTTOM + 40, f"travel from full extension ({travel_unit})", anchor="middle")
    text(root, LEFT - 6, TOP - 12, f"force ({force_unit})", anchor="start")


def _labels(root: ET.Element, ends: Sequence[tuple[float, PlottedLine]]) -> None:
    """The label of each line at its end, moved apart if they would touch, from the lowest upwards."""
    free = float(BOTTOM)
    for y, line in sorted(ends, key=lambda end: -end[0]):
        at = min(y, free)
        free = at - APART
        if abs(at - y) > 1:
            child(root, "line", x1=RIGHT, y1=y, x2=RIGHT + 8, y2=at, stroke="#777", stroke_width=0.8)
        text(root, RIGHT + 10, at + 4, line.label, weight="bold" if line.fitted else "normal", name="label")


def _sag(root: ET.Element, answer: Answer, plane: Plane) -> None:
    """The wanted sag as an upright line, and the load as a point on the curve."""
    if "sag" not in answer:
        return
    sag = answer["sag"]
    x = plane.x(to_set(sag["travel"]))
    child(root, "line", x1=x, x2=x, y1=TOP, y2=BOTTOM, stroke="black", stroke_width=1, stroke_dasharray="2 3")
    text(root, x + 5, TOP + 12, f"sag {sag['travel']['text']} ({sag['percent']['text']})", name="sag-label")
    if "load" in answer:
        x = plane.x(sag.get("expected", sag["travel"])["value"])
        mark = child(root, "circle", cx=x, cy=plane.y(answer["load"]["value"]), r=5, fill="white", stroke="black")
        mark.set("stroke-width", "2")
        child(mark, "title", f"load {answer['load']['text']}")
        text(root, x + 9, plane.y(answer["load"]["value"]) + 18, f"load {answer['load']['text'].split(' (')[0]}")
    if "start_pressure" in answer:
        told = f"start pressure {answer['start_pressure']['text']}, {answer['basis']}"
        text(root, WIDTH / 2, 40, told, anchor="middle")


def _told(root: ET.Element, answer: Answer) -> None:
    """Instead of a drawing: what is missing, one line each."""
    y = 60
    for sentence in ["No curve can be drawn.", *_missing(answer)]:
        for row in wrapped(sentence, 62):
            if y > HEIGHT - 30:
                return
            text(root, 24, y, row, name="missing")
            y += 18


def _warned(root: ET.Element, answer: Answer) -> None:
    """The cautions at the foot of the drawing."""
    said = warnings(answer)
    if said:
        text(root, WIDTH / 2, HEIGHT - 10, "; ".join(said), anchor="middle", weight="bold", name="warning")


def _missing(answer: Answer) -> list[str]:
    undecided = [each["text"] for each in answer["undecided"]]
    return [*undecided, *(each["text"] for each in answer["gaps"])]


def _step(span: float) -> float:
    """A round step that gives four to nine ticks."""
    step = 1.0
    while span / step > 9:
        step *= 10
    while span / step < 1:
        step /= 10
    for finer in (5.0, 2.0):
        if span / (step / finer) <= 9:
            return step / finer
    return step
