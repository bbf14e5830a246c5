"""A second reading of a job card: checks its steps against the rows of the catalogue, without the code that made it.

The invariants are those of the order of work on a fork: common practice of the trade, no source."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import (
    TABLES,
    Chassis,
    Damper,
    Fastener,
    Fit,
    Limit,
    Row,
    Spring,
    Step,
    Torque,
    Variant,
    is_row_of,
)

OPENING = ("loosen", "back-off", "free", "remove")
FEET = ("foot bolt", "foot nut")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
BLANK = "____"


class Known:
    """Every row of the catalogue by id, all statements in one place."""

    def __init__(self, catalogue: Catalogue) -> None:
        with catalogue.snapshot() as snapshot:
            self.rows = {name: {row.id: row for row in snapshot.all(table)} for name, table in TABLES.items()}
        self.any: dict[str, Row] = {}
        for name in ("fits", "torques", "fills", "greases", "uses", "limits", "steps"):
            self.any.update(self.rows[name])

    def step(self, id: str) -> Step:
        return self.rows["steps"][id]  # type: ignore[return-value]

    def spring(self, id: str) -> Spring:
        return self.rows["springs"][id]  # type: ignore[return-value]

    def chassis(self, id: str) -> Chassis:
        return self.rows["chassis"][id]  # type: ignore[return-value]


@dataclass(frozen=True)
class Fork:
    """The configuration after the job."""

    chassis: str
    model_year: int
    travel_mm: float
    spring: str
    damper: str
    wheel_size: int
    variant: str | None
    spacers: int | None = None
    serial: str | None = None


def holds(row: Row, fork: Fork, known: Known) -> bool:
    """Whether a statement's scope covers the fork, dimension by dimension."""
    variant: Variant | None = known.rows["variants"].get(row.variant[0] if row.variant else None)  # type: ignore[assignment]
    starts = [row.model_year_from, variant.model_year_from if variant else None]
    ends = [row.model_year_to, variant.model_year_to if variant else None]
    return (
        row.chassis == fork.chassis
        and all(year is None or year <= fork.model_year for year in starts)
        and all(year is None or fork.model_year <= year for year in ends)
        and (getattr(row, "travel_from_mm", None) is None or row.travel_from_mm <= fork.travel_mm)
        and (getattr(row, "travel_to_mm", None) is None or fork.travel_mm <= row.travel_to_mm)
        and row.spring in (None, fork.spring)
        and (row.damper is None or fork.damper in row.damper)
        and (row.wheel_size is None or fork.wheel_size in row.wheel_size)
        and (row.variant is None or fork.variant in row.variant)
        and _stamped(row, fork.serial)
    )


def _stamped(row: Row, serial: str | None) -> bool:
    """Whether a serial is one of a row's. Every range of the demo has both ends."""
    first, last = row["serial_from"], row["serial_to"]
    return first is None or (serial is not None and len(serial) == len(first) and first <= serial <= last)


def faults(card: Mapping[str, Any], fork: Fork, known: Known) -> list[str]:
    """Every fault of a card, in words; empty for a good one."""
    return [
        *_form(card), *_conditions(card, fork, known), *_tightened(card, known), *_filled(card, known),
        *_air_first(card, fork, known), *_eyes(card, known), *_bought(card, fork, known), *_figures(card, fork, known),
        *_valves(card, fork, known), *_order(card, known), *_named(card, known), *_cautioned(card, fork, known),
        *_set_and_proved(card, fork, known), *_clicks(card, fork, known),
    ]  # fmt: skip


def _form(card: Mapping[str, Any]) -> Iterable[str]:
    if [step["number"] for step in card["steps"]] != list(range(1, len(card["steps"]) + 1)):
        yield "the steps are not numbered one by one"
    if card["undecided"]:
        yield f"undecided: {card['undecided']}"
    for step in card["steps"]:
        if "{" in step["text"] or "}" in step["text"]:
            yield f"{step['step']}: a slot is left: {step['text']}"
        if BLANK in step["text"] and not card["gaps"]:
            yield f"{step['step']}: a blank line without a gap"


def _conditions(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """The card has no step that the fitted parts rule out, and every step that they call for."""
    spring, damper = known.rows["springs"][fork.spring], known.rows["dampers"][fork.damper]
    having = {
        "spring_kind": spring["kind"], "travel_set_by": spring["travel_set_by"], "foot_joint": damper["foot_joint"],
        "adjuster_at": damper["adjuster_at"], "damper_kind": damper["kind"],
        "crowns": known.chassis(fork.chassis).crowns, "negative": spring["negative"],
        "seal_head": _seal_head(fork, known), "second_positive": _second_positive(fork, known),
    }  # fmt: skip
    wanted = []
    for row in sorted(known.rows["steps"].values(), key=lambda row: row.order):
        step = known.step(row.id)
        conditions = [condition.split("=") for condition in step.when or ()]
        if step.procedure == card["procedure"]["id"] and all(
            having[name] in (None, *values.split("|")) for name, values in conditions
        ):
            wanted.append(step.id)
    if [step["step"] for step in card["steps"]] != wanted:
        yield f"steps {[step['step'] for step in card['steps']]} instead of {wanted}"


def _second_positive(fork: Fork, known: Known) -> str | None:
    """How the second positive chamber of the spring is filled; `none` if the spring lists none."""
    listed = [row for row in known.rows["chambers"].values() if row["spring"] == fork.spring]
    return next((row["valve"] for row in listed if row["chamber"] == "second positive"), "none")


def _seal_head(fork: Fork, known: Known) -> str | None:
    """Threaded if it is among the fork's fasteners, held by a ring if a job uses one, otherwise unknown."""
    for row in known.rows["fasteners"].values():
        assert is_row_of(row, Fastener)
        mine = row.chassis == fork.chassis or (row.chassis is None and row.spring == fork.spring)
        if mine and row.position == "spring seal head":
            return "threaded"
    used = {row["part"] for row in known.rows["uses"].values() if holds(row, fork, known)}
    return "retaining ring" if any(known.rows["parts"][id]["kind"] == "retaining ring" for id in used) else None


def _tightened(card: Mapping[str, Any], known: Known) -> Iterable[str]:
    """After the last loosening of a position it is tightened exactly once, and nothing is tightened that was not
    loosened."""
    places: dict[str, list[str]] = {}
    for shown in card["steps"]:
        step = known.step(shown["step"])
        if step.fastener_position is not None:
            places.setdefault(step.fastener_position, []).append(step.action)
    for position, actions in places.items():
        last = max((index for index, action in enumerate(actions) if action in OPENING), default=-1)
        if last < 0:
            yield f"{position}: tightened and never loosened"
        if actions[last + 1 :].count("tighten") != 1:
            yield f"{position}: {actions}"


def _filled(card: Mapping[str, Any], known: Known) -> Iterable[str]:
    steps = [known.step(shown["step"]) for shown in card["steps"]]
    for index, step in enumerate(steps):
        if step.action == "empty" and step.chamber is not None:
            later = [each for each in steps[index:] if each.action == "fill" and each.chamber == step.chamber]
            if len(later) != 1:
                yield f"{step.chamber}: emptied and filled {len(later)} times"
    rings = [step.action for step in steps if step.part_kind == "retaining ring" and step.action in ("remove", "seat")]
    if rings not in ([], ["remove", "seat"]):
        yield f"retaining ring: {rings}"
    emptied = [index for index, step in enumerate(steps) if step.action == "empty" and step.chamber is None]
    pumped = [index for index, step in enumerate(steps) if step.action == "set" and _pumps(step)]
    if emptied and (not pumped or max(emptied) > min(pumped)):
        yield "air is let out and not filled in again"
    if pumped and not emptied:
        yield "air is filled in that was never let out"


def _pumps(step: Step) -> bool:
    """Whether a shock pump is among the tools, the demo's or that of the common orders."""
    return bool({"shock-pump", "common-shock-pump"} & set(step.tools or ()))


def _air_first(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """Nothing is opened before the air is out (on a coil: the preload), that is checked, and the valve is pressed."""
    steps = [known.step(shown["step"]) for shown in card["steps"]]
    opened = next(index for index, step in enumerate(steps) if step.action in OPENING)
    if known.rows["springs"][fork.spring].kind == "air":
        out = [index for index, step in enumerate(steps) if step.action == "empty" and step.chamber is None]
        if not out or max(out) > opened:
            yield "opened before the air sequence"
        elif not any(step.action == "check" and "stop" in step.text for step in steps[max(out) : opened]):
            yield "trapped gas is not looked for before opening"
    elif not any(step.action == "set" and "preload" in step.text for step in steps[:opened]):
        yield "opened before the preload is out"


def _eyes(card: Mapping[str, Any], known: Known) -> Iterable[str]:
    for shown in card["steps"]:
        step = known.step(shown["step"])
        at_ring = step.part_kind == "retaining ring" and step.action in (*OPENING, "seat")
        at_foot = (step.fastener_position in FEET and step.action in OPENING) or step.action == "free"
        if at_ring or at_foot:
            if "Eye protection" not in shown["tools"]:
                yield f"{step.id}: eye protection is not at hand"
            if not any("eye protection" in caution["text"].lower() for caution in shown["cautions"]):
                yield f"{step.id}: eye protection is not said"


def _bought(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """A single-use part that is opened is bought, and so is every consumable that the job uses."""
    opened = {known.step(shown["step"]).fastener_position for shown in card["steps"] if shown["action"] in OPENING} - {
        None
    }
    for row in known.rows["fasteners"].values():
        assert is_row_of(row, Fastener)
        mine = row.chassis == fork.chassis or (row.chassis is None and row.damper == fork.damper)
        if mine and row.position in opened and row.reuse == "replace":
            bought = [part for part in card["parts"] if part["kind"] == row.position and part["when"] == "always"]
            if not bought:
                yield f"{row.id} is used once and not bought"
    listed = {id for part in card["parts"] for id in part["statements"]}
    for row in known.rows["uses"].values():
        if row.job == card["job"] and holds(row, fork, known) and row.id not in listed:
            yield f"{row.id} is not on the list"


def _figures(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """Every number in a step is one of its own words, or comes from a statement that holds and is not overruled."""
    for shown in card["steps"]:
        step = known.step(shown["step"])
        allowed = set(NUMBER.findall(step.text))
        for id in shown["statements"]:
            row = known.any[id]
            if not is_row_of(row, Step):
                if not holds(row, fork, known):
                    yield f"{step.id}: {id} does not hold here"
                narrower = [
                    other.id
                    for other in known.any.values()
                    if getattr(other, "exception_to", None) == id and holds(other, fork, known)
                ]
                if narrower:
                    yield f"{step.id}: {id} is narrowed by {narrower}"
            allowed |= _numbers(row, known)
        if "spacer" in (step.fastener_position or "") + (step.part_kind or ""):
            allowed |= _spacer_counts(card, fork, known)
        for each in shown["figures"]:
            allowed |= set(NUMBER.findall(each["text"]))
        allowed |= set(re.findall(r"step (\d+)", shown["text"]))  # a reference to another step
        if strange := set(NUMBER.findall(shown["text"])) - allowed:
            yield f"{step.id}: {strange} is nobody's figure: {shown['text']}"
        if "{torque}" in step.text:
            yield from _torqued(shown, step, fork, known)


def _torqued(shown: Mapping[str, Any], step: Step, fork: Fork, known: Known) -> Iterable[str]:
    """Each fastener of the position has its own torques beside the step, or a blank line."""
    for row in known.rows["torques"].values():
        assert is_row_of(row, Torque)
        fastener = known.rows["fasteners"][row.fastener]
        assert is_row_of(fastener, Fastener)
        if fastener.position != step.fastener_position or not holds(row, fork, known):
            continue
        if fastener.damper not in (None, fork.damper):
            continue
        others = [each for each in known.rows["torques"].values() if holds(each, fork, known)]
        narrowed = any(each.exception_to == row.id for each in others)
        if not narrowed and row.id not in shown["statements"]:
            yield f"{step.id}: {row.id} holds and is not there"


def _numbers(row: Row, known: Known) -> set[str]:
    """The numbers in a row, digit for digit, and those in the name of the fluid it names."""
    found: set[str] = set()
    for name, value in row.exchanged().items():
        if value is None or name in ("id", "source", "page", "chassis", "model_year_from", "model_year_to"):
            continue
        found |= set(NUMBER.findall(str(value)))
    fluid = known.rows["fluids"].get(getattr(row, "fluid", None) or "")
    return found | (set(NUMBER.findall(fluid.name)) if fluid is not None else set())


def _spacer_counts(card: Mapping[str, Any], fork: Fork, known: Known) -> set[str]:
    """Volume and travel spacers to fit, those fitted before, and the differences."""
    counts = {0} if fork.spacers is None else {0, fork.spacers}
    counts |= {int(part["count"]) for part in card["parts"] if "spacer" in part.get("kind", "")}
    for text in [part.get("text", "") for part in card["parts"]]:
        counts |= {int(number) for number in re.findall(r"\b\d+\b", text)}
    counts.add(card["settings"].get("spacers", 0))
    before = card["present"].get("travel", {}).get("value")
    for fit in known.rows["fits"].values():
        assert is_row_of(fit, Fit)
        if fit.chassis == fork.chassis and fit.travel_mm == before:
            counts |= {fit.travel_spacers or 0, fit.spacers_fitted or 0}
    return {str(number) for number in counts} | {str(abs(a - b)) for a in counts for b in counts}


def _valves(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """Each chamber with a valve is emptied in a step of its own before any part of it is opened."""
    spring = known.spring(fork.spring)
    if spring.kind != "air":
        return
    steps = [known.step(shown["step"]) for shown in card["steps"]]
    opened = next((index for index, step in enumerate(steps) if step.action in OPENING and _of_air(step)), len(steps))
    emptied = [step for step in steps[:opened] if step.action == "empty" and step.chamber in (None, "negative chamber")]
    valves = 2 if spring.negative == "own valve" else 1
    if len(emptied) != valves:
        yield f"{valves} valves and {len(emptied)} steps that empty them"


def _of_air(step: Step) -> bool:
    return step.part_kind == "retaining ring" or step.fastener_position in (*FEET, "top cap", "spring seal head")


def _order(card: Mapping[str, Any], known: Known) -> Iterable[str]:
    """Wheel and axle before the caliper; foam soaked before it goes in; leak check after the last filling, before
    riding."""
    steps = [known.step(shown["step"]) for shown in card["steps"]]
    places: dict[tuple[str, str | None], int] = {}
    for index, step in enumerate(steps):
        places[step.action, step.fastener_position or step.chamber or step.part_kind] = index
    caliper, axle = places.get(("tighten", "brake caliper bolt")), places.get(("tighten", "axle"))
    if caliper is not None and (axle is None or caliper < axle):
        yield "the caliper is tightened before the axle"
    soaked, fitted = (
        places.get(("fill", "foam ring")),
        places.get(("fit", "foam ring"), places.get(("fit", "lower-leg kit"))),
    )
    if soaked is not None and fitted is not None and fitted < soaked:
        yield "the foam goes in dry"
    pumped = [index for index, step in enumerate(steps) if step.action == "set" and _pumps(step)]
    leaks = [index for index, step in enumerate(steps) if "leaks" in step.text and step.action == "check"]
    if pumped and not any(max(pumped) < index for index in leaks):
        yield "nobody looks for leaks after the fork is filled"
    for index, step in enumerate(steps):
        if step.action == "free" and "hollow" in step.text and "never strike it" not in step.text:
            yield f"{step.id}: a hollow bolt is struck"
        off = any(each.action == "remove" and "lowers off" in each.text for each in steps[:index])
        if "press the valve core once more" in step.text and off and "air shaft pulled fully out" not in step.text:
            yield f"{step.id}: the air shaft is not pulled out"


def _named(card: Mapping[str, Any], known: Known) -> Iterable[str]:
    """Tools are named in the steps and the torques, and each one is in the list to lay out."""
    ids = set(known.rows["tools"])
    laid_out = {name for tool in card["tools"] for name in (tool["name"], *tool.get("any_of", ()))}
    for shown in card["steps"]:
        for tool in [*shown["tools"], *(each for torque in shown.get("torque", ()) for each in torque["tools"])]:
            if tool in ids:
                yield f"{shown['step']}: {tool} is an id"
            if tool not in laid_out:
                yield f"{shown['step']}: {tool} is not laid out"
    wanted = {"gloves": "solvent", "solvent": "solvent", "stand": "Clamp", "oil": "bin", "pick": "foam rings out"}
    texts = " ".join(shown["text"] for shown in card["steps"])
    for word, sign in wanted.items():
        if sign in texts and not any(word in name.lower() for name in laid_out):
            yield f"{word} is not laid out"


def _cautioned(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """At most three lines at the top besides the notice of invented data, each caution once, all of them in one
    list."""
    texts = [each["text"] for each in card["cautions"]]
    if len(set(texts)) != len(texts):
        yield "a caution is given twice"
    top = [each["code"] for each in card["cautions"] if each["place"] == "top" and each["code"] != "invented-data"]
    if len(top) > 3:
        yield f"{len(top)} lines at the top"
    at_steps = [each["text"] for shown in card["steps"] for each in shown["cautions"]]
    if sorted(at_steps) != sorted(each["text"] for each in card["cautions"] if each["place"] == "step"):
        yield "the cautions of the steps are not those of the card"
    coil = known.spring(fork.spring).kind == "coil"
    if coil and {"shock-pump-only", "pressure-before-opening"} & {each["code"] for each in card["cautions"]}:
        yield "a coil has cautions of air"


def _set_and_proved(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """A setting or check has its figure in that step, or the step says that the catalogue has none."""
    fit = known.any[card["fit"]["id"]]
    assert is_row_of(fit, Fit)
    for shown in card["steps"]:
        step = known.step(shown["step"])
        said, what = shown["text"], {each["what"] for each in shown["figures"]}
        filled = step.action == "set" and _pumps(step) and step.text.find("{second}") < 0
        if filled and "maximum pressure" not in what and "not in the catalogue" not in said:
            yield f"{step.id}: filled without the maximum"
        if filled and not {"start pressure"} & what and "noted in step" not in said and "start low" not in said:
            yield f"{step.id}: filled to nothing"
        if filled and "start_pressure" in card["settings"]:
            start = card["settings"]["start_pressure"]
            value, half = (next(x["value"] for x in shown["figures"] if x["what"] == name) for name in HALVES)
            if value != start or not 0.44 * start["value"] <= half["value"] <= 0.5 * start["value"]:
                yield f"{step.id}: {half['text']} is not half of {start['text']}"
        if step.action == "set" and "sag" in step.text and "sag" not in what:
            yield f"{step.id}: the sag is set without a figure"
        if "axle-to-crown" in (step.measures or ""):
            stated = fit.axle_to_crown_mm
            if stated is None:
                if "match" in said or "does not give" not in said:
                    yield f"{step.id}: a match with no figure is wanted"
            elif f"{stated} mm" not in said or "axle-to-crown" not in what:
                yield f"{step.id}: {stated} mm is not at the step that proves it"
        limits = [row for row in known.rows["limits"].values() if is_row_of(row, Limit) and holds(row, fork, known)]
        height = [row for row in limits if row.subject == "stanchion height in the crown"]
        if "height" in step.text and height and str(height[0].max) not in said:
            yield f"{step.id}: the height in the crown is not said"
        if re.search(r"\b0 (travel|volume) spacers", said):
            yield f"{step.id}: no spacer is fitted: {said}"
    packs = [part for part in card["parts"] if "pack_count" in part and "count" in part]
    if any(part["packs"] != -(-part["count"] // part["pack_count"]) for part in packs):
        yield "the packs do not hold what is needed"
    proofs = {each["what"] for each in card["checks"]}
    untouched = {"tyre diameter", "tyre width", "rotor diameter", "steerer above the crown"}
    if card["job"] != "travel-change" and proofs & untouched:
        yield f"{proofs & untouched} is no proof of this job"


HALVES = ("start pressure", "half of the start pressure")


def _clicks(card: Mapping[str, Any], fork: Fork, known: Known) -> Iterable[str]:
    """Clicks are noted and set from the end that the damper's maker counts from."""
    damper = known.rows["dampers"][fork.damper]
    assert is_row_of(damper, Damper)
    end = damper.clicks_from
    for shown in card["steps"]:
        for text in [each for each in shown["measures"] if "clicks" in each] + [shown["text"]]:
            if "clicks" in text and ("from closed" in text or "from open" in text) and f"from {end}" not in text:
                yield f"{shown['step']}: {text} is not from {end}"
        if any("clicks" in each and f"from {end}" not in each for each in shown["measures"]):
            yield f"{shown['step']}: clicks without the end they are counted from"
