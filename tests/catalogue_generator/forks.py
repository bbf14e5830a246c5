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
