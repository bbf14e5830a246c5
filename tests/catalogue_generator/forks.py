"""One generation of an invented fork with all that sources say of it, consistent by the physics of its own springs."""

from random import Random

from tests.catalogue_generator.families import family
from tests.catalogue_generator.makers import Cells, word

JOBS = ("travel-change", "spacer-change", "lower-leg-service", "full-service")


class Fork:
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
        self.silent = self.draw.random() < 0.15  # this manual leaves out what the other generation's says

    def build(self) -> list[tuple[str, Cells]]:
        """All rows, in no order."""
        self._entities()
        if self.number % 2 == 0:
            self._springs()
        self._fits()
        self._torques()
        self._fills()
        self._care()
        self._guides()
        self._limits()
        return self.rows

    def _add(self, table: str, id: str, /, **cells: str) -> None:
        self.rows.append((table, {"id": id, **cells}))

    def _say(self, table: str, id: str, page: int, /, **cells: str) -> None:
        """A statement of the manual."""
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
        """The oil of the fuller leg over that of the spring side."""
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

    def _torques(self) -> None:
        made = self.made
        foot = {
            "position": "foot bolt",
            "kind": "bolt",
            "drives": made.foot_drive,
            "thread": made.foot_thread,
            "material": "steel",
            "counterpart_material": "aluminium",
        }
        cap = {"position": "top cap", "kind": "cap", "drives": made.cap_drive, "material": "aluminium"}
        places: list[tuple[str, Cells, float]] = [
            ("foot-spring", {**foot, "side": "spring side"}, made.foot_nm),
            ("foot-damper", {**foot, "side": "damper side"}, made.foot_nm),
            ("cap-spring", {**cap, "side": "spring side"}, made.cap_nm),
            ("cap-damper", {**cap, "position": "damper cap", "side": "damper side"}, made.cap_nm * 0.9),
            ("axle", {"position": "axle", "kind": "bolt", "drives": "hex 6 mm"}, made.axle_nm),
            (
                "caliper",
                {
                    "position": "brake caliper bolt",
                    "kind": "bolt",
                    "drives": "hex 5 mm",
                    "thread": "M6",
                    "standard": "ISO 4762",
                    "property_class": made.caliper_class,
                    "count": "2",
                },
                made.caliper_nm,
            ),
            ("spacer-cap", {"position": "spacer cap", "kind": "cap", "drives": "hex 8 mm"}, made.spacer_cap_nm),
            ("knob", {"position": "adjuster knob screw", "kind": "set screw"}, made.knob_nm),
            ("core", {"position": "valve core", "kind": "valve core"}, made.core_nm),
        ]
        changed = {
            place: self.draw.uniform(0.88, 1.18) for place in ("foot", "cap", "axle") if self.draw.random() < 0.2
        }
        for place, cells, newton_metres in places:
            if self.silent and place in ("caliper", "knob", "core"):
                continue
            if self.later:
                newton_metres *= changed.get(place.split("-")[0], 1.0)
            fastener = f"fastener-{self.tag}-{place}"
            self._add(
                "fasteners",
                fastener,
                chassis=self.id,
                hand="right",
                reuse="reuse",
                **cells,
                source=f"doc-{self.tag}-manual",
                page="9",
            )
            self._torque(place, fastener, newton_metres)

    def _torque(self, place: str, fastener: str, newton_metres: float) -> None:
        made, id = self.made, f"torque-{self.tag}-{place}"
        stated = {"fastener": fastener, "unit": made.torque_unit, "thread_prep": "dry"}
        value = made.torque(newton_metres)
        low, high = (made.torque(newton_metres * share) if made.prints_limits else "" for share in (0.93, 1.07))
        if newton_metres < 2:
            low = high = ""
            value = made.torque(newton_metres)
        self._say("torques", id, 16, value=value, min=low, max=high, **stated)
        if newton_metres > 3 and self.draw.random() < 0.12:
            year = str(self.years[1])
            changed = {**stated, "value": made.torque(newton_metres * 1.12), "exception_to": id}
            self._say(
                "torques",
                f"{id}-late",
                1,
                model_year_from=year,
                model_year_to=year,
                **{**changed, "source": f"doc-{self.tag}-bulletin"},
            )
        elif newton_metres > 3 and self.draw.random() < 0.12:
            self._say("torques", f"{id}-again", 1, value=value, **{**stated, "source": f"doc-{self.tag}-bulletin"})

    def _fills(self) -> None:
        first = self.years[0]
        for leg, bath in (("spring-side", self.bath), ("damper-side", self.bath * self.made.leg_ratio)):
            cells = {"chamber": f"{leg} lower leg", "fluid": f"oil-bath-{'ab'[self.made.number % 2]}", "unit": "mL"}
            if self.draw.random() < 0.4:
                self._say(
                    "fills",
                    f"fill-{self.tag}-{leg}-a",
                    15,
                    model_year_to=str(first + 1),
                    value=f"{bath:.0f}",
                    **cells,
                )
                self._say(
                    "fills",
                    f"fill-{self.tag}-{leg}-b",
                    15,
                    model_year_from=str(first + 2),
                    value=f"{bath * 1.2:.0f}",
                    **cells,
                )
            else:
                self._say("fills", f"fill-{self.tag}-{leg}", 15, value=f"{bath:.0f}", **cells)
        self._say(
            "fills",
            f"fill-{self.tag}-piston",
            15,
            chamber="above the air piston",
            fluid="oil-bath-a",
            value=f"{self.made.piston_ml + (2 if self.draw.random() < 0.08 else 0):g}",
            unit="mL",
        )
        foam = f"{self.made.foam_ml + (0.5 if self.draw.random() < 0.08 else 0):g}"
        self._say("fills", f"fill-{self.tag}-foam", 15, chamber="foam ring", fluid="oil-bath-a", value=foam, unit="mL")
        for damper in self.dampers:
            if damper.endswith("-0"):
                cells = {"chamber": "damper", "damper": damper, "fluid": "oil-damper-a"}
                if self.made.damper_levels:
                    cells |= {
                        "level_mm": str(self.draw.randint(80, 110)),
                        "level_datum": "top of the stanchion",
                        "level_state": "compressed, no spring",
                    }
                else:
                    cells |= {"value": str(self.draw.randint(170, 230)), "unit": "mL"}
                self._say("fills", f"fill-{self.tag}-damper", 15, **cells)

    def _care(self) -> None:
        for each, place in enumerate(("dust wiper", "stanchion bore", "air piston seal", "shaft seal", "axle thread")):
            extent = {"extent_mm": str(40 * each)} if each in (1, 2) else {"amount": "a thin film"}
            self._say(
                "greases", f"grease-{self.tag}-{each}", 15, place=place, fluid=f"grease-{'ab'[each % 2]}", **extent
            )
        for job in JOBS:
            for each, count in ((0, 2), (1, 2), (2, 2), (3, 1), (4, 1)):
                if job == "spacer-change" and each < 4:
                    continue
                position = {"position": "foot bolt"} if each == 0 else {}
                self._say(
                    "uses",
                    f"use-{self.tag}-{job}-{each}",
                    18,
                    job=job,
                    part=f"part-{self.maker_number}-{each}",
                    count=str(count),
                    when="always" if each == 0 else "if worn",
                    **position,
                )
        hours = self.draw.choice((40, 50, 60))
        self._say("intervals", f"interval-{self.tag}-legs", 19, operation="lower-leg-service", hours=str(hours))
        self._say(
            "intervals", f"interval-{self.tag}-full", 19, operation="full-service", hours=str(hours * 4), months="12"
        )

    def _guides(self) -> None:
        kin, unit = self.family, self.made.mass_unit
        for travel in kin.travels[1:] if self.silent else kin.travels:
            for each, (light, heavy) in enumerate(zip(kin.steps, kin.steps[1:], strict=False)):
                middle = kin.kilograms((light + heavy) / 2)
                self._say(
                    "guides",
                    f"guide-{self.tag}-{travel}-{each}",
                    12,
                    spring=kin.spring(travel),
                    chamber="positive",
                    rider_mass_from=f"{light:g}",
                    rider_mass_to=f"{heavy:g}",
                    mass_unit=unit,
                    mass_is="with gear",
                    pressure=self.made.pressure(kin.start_pa(travel, middle)),
                    pressure_unit=self.made.pressure_unit,
                    sag_percent=str(kin.sag),
                    rebound_clicks=str(14 - each),
                    compression_clicks=str(8 - each),
                )

    def _limits(self) -> None:
        wheels = self.wheels if len(self.wheels) > 1 else (None,)
        width = self.draw.choice((58, 61, 63, 66))
        for each, wheel in enumerate(wheels):
            scope = {} if wheel is None else {"wheel_size": str(wheel)}
            self._say(
                "limits", f"limit-{self.tag}-tyre-{each}", 4, subject="tyre width", max=str(width), unit="mm", **scope
            )
        self._say("limits", f"limit-{self.tag}-rotor", 4, subject="rotor diameter", min="180", max="203", unit="mm")
        self._say(
            "limits",
            f"limit-{self.tag}-rider",
            4,
            subject="rider mass",
            max=f"{110 if self.made.mass_unit == 'kg' else 250}",
            unit=self.made.mass_unit,
        )
        middle = self.family.travels[1]
        off = self.draw.gauss(1.0, self.made.scatter)
        pressure = self.made.pressure(self.family.start_pa(middle, 75) * off)
        self._add(
            "readings",
            f"reading-{self.tag}",
            chassis=self.id,
            spring=self.family.spring(middle),
            spacers="1",
            state="at sag",
            at_travel_mm=f"{middle * self.family.sag / 100:.0f}",
            pressure=pressure,
            pressure_unit=self.made.pressure_unit,
            rider_mass="75",
            mass_unit="kg",
            temperature_c="20",
            source=f"bench-{self.maker_number}",
        )
