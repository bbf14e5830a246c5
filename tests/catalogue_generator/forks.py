"""One generation of an invented fork with every statement about it, consistent with the physics of its own springs."""

from tests.catalogue_generator.makers import Cells
from tests.catalogue_generator.service import Serviced


class Fork(Serviced):
    """Builds the rows of one chassis: generation 0 or 1 of its family."""

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

    def _guides(self) -> None:
        """A guide for each travel; every third fork has a column for trail and one for park, with ranges."""
        if self.number % 3:
            self._guide({}, 1.0)
            return
        figures = {"sag_percent": "", "sag_min_percent": str(self.family.sag - 1)}
        figures["sag_max_percent"] = str(self.family.sag + 1)
        self._guide({"riding": "trail", **figures}, 1.0)
        self._guide({"riding": "park", **figures}, 1.06)
        unit, amount = self.made.pressure_unit, {"psi": "8", "bar": "0.5", "kPa": "50"}[self.made.pressure_unit]
        name = f"adjustment-{self.tag}-e-bike"
        self._say("adjustments", name, 12, target="pressure", condition="e-bike", value=amount, unit=unit)

    def _guide(self, more: Cells, harder: float) -> None:
        kin, unit = self.family, self.made.mass_unit
        riding = more.get("riding", "")
        for travel in kin.travels[1:] if self.silent else kin.travels:
            for each, (light, heavy) in enumerate(zip(kin.steps, kin.steps[1:], strict=False)):
                middle = kin.kilograms((light + heavy) / 2)
                self._say(
                    "guides",
                    "-".join(filter(None, ("guide", str(self.tag), str(travel), str(each), riding))),
                    12,
                    spring=kin.spring(travel),
                    chamber="positive",
                    rider_mass_from=f"{light:g}",
                    rider_mass_to=f"{heavy:g}",
                    mass_unit=unit,
                    mass_is="with gear",
                    pressure=self.made.pressure(kin.start_pa(travel, middle) * harder),
                    pressure_unit=self.made.pressure_unit,
                    rebound_clicks=str(14 - each),
                    compression_clicks=str(8 - each),
                    **{"sag_percent": str(kin.sag), **more},
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
