"""A large catalogue of random invented chassis, and the clues that a person would read off one of them."""

import random
from dataclasses import dataclass

from app.catalogue.tables import Chassis, Damper, Maker, Row, Variant

STANCHIONS = (28.0, 30.0, 32.0, 34.0, 34.9, 35.0, 36.0, 38.0, 40.0)
WORDS = ("heron", "anvil", "two dots", "star", "stripe", "cross", "leaf", "wave", "arch", "fin", "knot", "bell", "oak")
PLACES = ("on the crown", "on the left lower", "on the right lower", "on the arch", "on the cap")
COLOURS = ("white", "grey", "black", "red", "green", "blue", "silver")


@dataclass(slots=True)
class Made:
    """A catalogue, and its chassis and variants by id."""

    rows: list[Row]
    chassis: list[Chassis]
    variants: dict[str, list[Variant]]
    dampers: dict[str, Damper]


def make(count: int, seed: int, *, unknown: float = 0.1) -> Made:
    """`count` chassis by `count`/40 makers; each fact is left unknown with that probability."""
    chance = random.Random(seed)
    makers = [Maker(id=f"maker-{number}", name=f"Maker {number}") for number in range(max(2, count // 40))]
    dampers = {
        f"damper-{number}": Damper.checked(
            id=f"damper-{number}", maker="maker-0", name=f"Damper {number}", adjuster_at=adjuster, foot_joint=joint
        )
        for number, (adjuster, joint) in enumerate(
            (adjuster, joint) for adjuster in ("foot", "top", "remote") for joint in ("bolt into shaft", "nut on shaft")
        )
    }
    made = Made([*makers, *dampers.values()], [], {}, dampers)
    for number in range(count):
        chassis = _chassis(chance, f"chassis-{number}", chance.choice(makers).id, unknown)
        made.chassis.append(chassis)
        made.variants[chassis.id] = _variants(chance, chassis, unknown)
        made.rows += [chassis, *made.variants[chassis.id]]
    return made


def _chassis(chance: random.Random, id: str, maker: str, unknown: float) -> Chassis:
    first = chance.randint(1998, 2024)
    facts = {
        "model_year_from": first, "model_year_to": first + chance.randint(0, 5),
        "stanchion_diameter_mm": chance.choice(STANCHIONS),
        "wheel_sizes": chance.choice(((559,), (584,), (622,), (584, 622))),
        "hub_spacings_mm": chance.choice(((100.0,), (110.0,), (100.0, 110.0))),
        "axle_diameters_mm": chance.choice(((9.0,), (15.0,), (20.0,))),
        "steerers": chance.choice((("straight 28.6",), ("tapered 28.6-39.8",), ("straight 28.6", "tapered 28.6-39.8"))),
        "dampers": (f"damper-{chance.randrange(6)}",),
        "marks": tuple(
            f"{chance.choice(COLOURS)} {word} {chance.choice(PLACES)}" for word in chance.sample(WORDS, 2)
        ),
    }  # fmt: skip
    known = {name: fact for name, fact in facts.items() if chance.random() >= unknown}
    return Chassis.checked({"id": id, "maker": maker, "name": id, **known})


def _variants(chance: random.Random, chassis: Chassis, unknown: float) -> list[Variant]:
    if chance.random() < unknown:
        return []
    letter = chance.choice("ABCDEFGHKLMNPRSTVWXZ")
    pattern = chance.choice((f"{letter}@#-#####", f"##{letter}#####", f"{letter}{chance.randrange(10)}@@######"))
    return [
        Variant.checked({"id": f"{chassis.id}-{name}", "chassis": chassis.id, "name": name, "serial_pattern": pattern})
        for name in ("plain", "fine")[: chance.randint(1, 2)]
    ]


def read(chance: random.Random, made: Made, chassis: Chassis, clue: str, noise_mm: float = 0.0) -> str | int | None:
    """The reading that a person would take of that chassis for a clue, as the parameter is written; None if unknown."""
    if clue in ("stanchion_diameter", "axle_diameter", "hub_spacing"):
        fields = {"axle_diameter": chassis.axle_diameters_mm, "hub_spacing": chassis.hub_spacings_mm}
        values = fields.get(clue, (chassis.stanchion_diameter_mm,))
        value = chance.choice(values) if values else None
        return None if value is None else f"{value + chance.uniform(-noise_mm, noise_mm):.2f}"
    if clue == "model_year":
        first, last = chassis.model_year_from, chassis.model_year_to
        return None if first is None or last is None else chance.randint(first, last)
    if clue == "maker":
        return chassis.maker
    if clue == "serial":
        patterns = [variant.serial_pattern for variant in made.variants[chassis.id] if variant.serial_pattern]
        return _serial(chance, chance.choice(patterns)) if patterns else None
    if clue in ("foot_joint", "adjuster_at"):
        if not chassis.dampers:
            return None
        damper = made.dampers[chance.choice(chassis.dampers)]
        return damper.foot_joint if clue == "foot_joint" else damper.adjuster_at
    listed = {"wheel_size": chassis.wheel_sizes, "steerer": chassis.steerers, "mark": chassis.marks}[clue]
    return str(chance.choice(listed)) if listed else None


def _serial(chance: random.Random, pattern: str) -> str:
    kinds = {"#": "0123456789", "@": "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}
    return "".join(chance.choice(kinds.get(character, character)) for character in pattern)
