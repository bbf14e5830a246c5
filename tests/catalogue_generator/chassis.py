"""The chassis of an invented fork with its documents, variants, springs and fits."""

from random import Random

from tests.catalogue_generator.families import family
from tests.catalogue_generator.makers import Cells, word


class Chassis:
    """Builds the rows of one chassis: generation 0 or 1 of its family."""

    def __init__(self, seed: int, number: int) -> None:
        self.draw = Random(f"{seed}/fork/{number}")
        self.number = number
        self.family = family(seed, number // 2)
        self.made = self.family.made
        self.tag = f"{number:06}"
        self.id = f"fork-{self.tag}"
        self.maker_number = f"{self.made.number:05}"
        start = 2014 + self.draw.randint(0, 2) if number % 2 == 0 else 2020 + self.draw.randint(0, 1)
        self.years = (start, start + self.draw.randint(2, 3))
        self.wheels = self.draw.choice(((584,), (622,), (584, 622), (584, 622)))
        self.dampers = [
            f"damper-{self.maker_number}-{each}" for each in self.draw.sample(range(3), self.draw.randint(1, 2))
        ]
        self.manual = f"doc-{self.tag}-manual"
        self.rows: list[tuple[str, Cells]] = []
        self.bath = max(4.0, self.made.bath_ml + self.draw.uniform(-1, 1))
        self.later = number % 2 == 1
        self.silent = self.draw.random() < 0.15  # this manual leaves out what the other generation's includes

    def _add(self, table: str, id: str, /, **cells: str) -> None:
        self.rows.append((table, {"id": id, **cells}))

    def _say(self, table: str, id: str, page: int, /, **cells: str) -> None:
        """Adds a statement of the manual."""
        self._add(table, id, **{"chassis": self.id, "source": self.manual, "page": str(page), **cells})

    def _entities(self) -> None:
        first, last = self.years
        maker_id, name = self.made.id, self.family.name
        self._add(
            "sources",
            f"doc-{self.tag}-manual",
            maker=maker_id,
            title=f"{name} service manual {first}",
            kind="manual",
            series=f"{name} {first}",
            edition="B",
            published_on=f"{first - 1}-0{self.draw.randint(3, 9)}",
            invented="true",
        )
        self._add(
            "sources",
            f"doc-{self.tag}-bulletin",
            maker=maker_id,
            title=f"Bulletin on {name} {first}",
            kind="bulletin",
            edition="1",
            published_on=f"{last}-02-1{self.draw.randint(0, 9)}",
            invented="true",
        )
        bore = {} if self.draw.random() < 0.3 else {"stanchion_bore_mm": f"{self.family.bore:g}"}
        self._add(
            "chassis",
            self.id,
            maker=maker_id,
            name=name,
            model_year_from=str(first),
            model_year_to=str(last),
            crowns="single",
            stanchion_diameter_mm=str(self.family.diameter),
            wheel_sizes=";".join(map(str, self.wheels)),
            hub_spacings_mm=self.draw.choice(("100", "110", "100;110")),
            axle_diameters_mm="15",
            steerers="tapered 28.6-39.8",
            offsets_mm=self.draw.choice(("42", "44;51", "37;44")),
            travel_min_mm=str(self.family.travels[0]),
            travel_max_mm=str(self.family.travels[-1]),
            dampers=";".join(self.dampers),
            leg_free_volume_ml="" if self.silent else f"{self.bath * self.draw.uniform(3, 6) * self._most():.0f}",
            marks=f"casting {self.tag}",
            **bore,
            source=self.manual,
            page="2",
        )
        for each, trim in enumerate(("Base", "Pro")):
            self._add(
                "variants",
                f"variant-{self.tag}-{each}",
                chassis=self.id,
                name=trim,
                model_code=f"{self.tag}{trim[0]}",
                serial_pattern="@##-#####",
                serial_from=f"{trim[0]}{first % 100}-00001",
                serial_to=f"{trim[0]}{last % 100}-99999",
                dampers=self.dampers[-1 if each else 0],
            )
        if self.number % 3 == 0:
            self._add(
                "frames",
                f"frame-{self.tag}",
                name=word(self.number + 77, 4).title(),
                size=self.draw.choice("SML"),
                travel_min_mm=str(self.family.travels[0]),
                travel_max_mm=str(self.family.travels[-2]),
                head_angle_deg=f"{self.draw.uniform(63, 67):.1f}",
                axle_to_crown_mm=str(self.draw.randint(520, 560)),
                source=f"doc-{self.tag}-manual",
                page="3",
            )

    def _most(self) -> float:
        """The oil volume of the fuller leg, given that of the spring side."""
        return max(1.0, self.made.leg_ratio)

    def _springs(self) -> None:
        kin = self.family
        volumes = self.made.states_geometry
        for travel, end in zip(kin.travels, kin.ends, strict=True):
            self._add(
                "springs",
                kin.spring(travel),
                maker=self.made.id,
                family=f"{kin.name} air",
                name=f"{kin.name} air {travel}",
                part_number=f"S{kin.number}-{travel}",
                kind="air",
                travel_set_by="shaft length",
                negative="port",
                bore_mm=f"{kin.bore:g}",
                shaft_diameter_mm=str(kin.shaft),
                end_volume_ml=f"{end:.1f}" if volumes else "",
                negative_volume_ml=f"{kin.negative:.1f}" if volumes else "",
                port_travel_mm=f"{kin.port:g}" if volumes else "",
                geometry_basis="stated" if volumes else "",
                stroke_max_mm=f"{travel + over:g}" if (over := self.made.states_strokes) is not None else "",
                pressure_limit=kin.limit(),
                pressure_unit=self.made.pressure_unit,
                source=f"doc-{self.tag}-manual",
                page="6",
            )

    def _fits(self) -> None:
        kin, draw = self.family, self.draw
        bounded = draw.random()
        fewer = 1 if self.later and self.number % 10 == 1 else 0  # some makers lower their limits in a generation
        for wheel in self.wheels:
            above = self.made.over_wheel_mm + (19 if wheel == 622 else 0)
            for travel, most in zip(kin.travels, kin.limits, strict=True):
                limit = max(1, most - fewer)
                id = f"fit-{self.tag}-{wheel}-{travel}"
                cells = {
                    "spring": kin.spring(travel),
                    "travel_mm": str(travel),
                    "axle_to_crown_mm": f"{above + travel:.0f}",
                    "spacer": f"spacer-{self.maker_number}",
                    "spacer_limit": str(limit),
                    "spacers_fitted": str(min(limit, self.made.spacers_fitted)),
                    "pressure_limit": kin.limit(),
                    "pressure_unit": self.made.pressure_unit,
                }
                if len(self.wheels) > 1:
                    cells["wheel_size"] = str(wheel)
                if travel == kin.travels[0] and bounded < 0.3:
                    cells["model_year_from"] = str(self.years[0] + 1)
                if travel == kin.travels[-1] and len(self.dampers) > 1 and bounded > 0.6:
                    cells["damper"] = self.dampers[0]
                self._say("fits", id, 14, **cells)
                if travel == kin.travels[1] and limit > max(1, self.made.spacers_fitted) and draw.random() < 0.3:
                    narrowed = {**cells, "spacer_limit": str(limit - 1), "variant": f"variant-{self.tag}-0"}
                    self._say("fits", f"{id}-base", 1, source=f"doc-{self.tag}-bulletin", exception_to=id, **narrowed)
