"""Draws an address as a QR code (ISO/IEC 18004) in SVG: black on white and without styles, to print and to scan."""

from functools import lru_cache
from io import BytesIO

import segno

MASK = 4
"""A reader accepts any of the eight masks; weighing them all (7.8.3) takes longer than the rest of a page."""


@lru_cache(maxsize=256)
def square_code(address: str) -> str:
    """The code as an `svg` element. Its accessible name is the address. Escaped."""
    out = BytesIO()
    segno.make(address, error="m", micro=False, mask=MASK).save(
        out, kind="svg", xmldecl=False, svgns=True, svgclass="code", lineclass=None, omitsize=True, border=4,
        light="#fff", title=address, nl=False,
    )  # fmt: skip
    return out.getvalue().decode()
