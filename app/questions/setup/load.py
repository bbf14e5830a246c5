"""The load on the fork in a set-up, with its band."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.physics.band import Band, Uncertain, band
from app.physics.load import UNSPRUNG_FRONT_HALF_WIDTH_KG, UNSPRUNG_FRONT_KG, front_load_n
from app.questions.setup.parameters import Circumstances


def load_inputs(asked: Circumstances) -> list[Uncertain]:
    """The inputs of the load, each with its half-width."""
    return [
        Uncertain("front_share", asked.front_share.value, asked.front_share.half_width),
        Uncertain("bike_kg", asked.bike_kg.value, asked.bike_kg.half_width),
        Uncertain("unsprung_front_kg", UNSPRUNG_FRONT_KG, UNSPRUNG_FRONT_HALF_WIDTH_KG),
        Uncertain("head_angle_rad", asked.head_angle_rad.value, asked.head_angle_rad.half_width),
    ]


@dataclass(frozen=True, slots=True)
class Load:
    """The load as a function of its inputs by name, for a rider of this mass."""

    rider_kg: float

    def __call__(self, at: Mapping[str, float]) -> float:
        return front_load_n(
            self.rider_kg, at["bike_kg"], at["front_share"], at["unsprung_front_kg"], at["head_angle_rad"]
        )


def load_band(asked: Circumstances) -> Band:
    """The force along the fork in N with its band. ValueError without a rider, or if no load is left."""
    if asked.rider_kg is None:
        raise ValueError("The rider's mass is not known.")
    return band(Load(asked.rider_kg), load_inputs(asked))


def pushed_band(asked: Circumstances) -> Band:
    """The load with friction, which may hold the fork off either way: the load the spring carries at the sag."""
    if asked.rider_kg is None:
        raise ValueError("The rider's mass is not known.")
    load = Load(asked.rider_kg)
    inputs = [*load_inputs(asked), Uncertain("friction_n", 0.0, asked.friction_n)]
    return band(lambda at: load(at) + at["friction_n"], inputs)
