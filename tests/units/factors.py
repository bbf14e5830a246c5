"""Writes `app/units/factors.json` anew, after a unit or the library has changed: `python -m tests.units.factors`."""

from pathlib import Path

import app.units
from app.units.definitions import UNITS
from app.units.factors import KEPT, kept_as

FILE = Path(app.units.__file__).parent / KEPT

if __name__ == "__main__":
    FILE.write_text(kept_as(UNITS), encoding="utf-8")
