"""The service part of an invented fork's manual: torques, fills, grease, parts and intervals."""

from tests.catalogue_generator.chassis import Chassis
from tests.catalogue_generator.makers import Cells

JOBS = ("travel-change", "spacer-change", "lower-leg-service", "full-service")


class Serviced(Chassis):
    """A chassis with the rows for its service."""

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
