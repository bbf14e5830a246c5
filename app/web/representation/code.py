"""An address as a square code (ISO/IEC 18004) in SVG: black on white, without a style, for paper and for a camera."""

from io import BytesIO

import segno


def square_code(address: str) -> str:
    """The code as an `svg` element; its name for those who cannot see it is the address itself. Escaped."""
    out = BytesIO()
    segno.make(address, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=True, svgclass="code", lineclass=None, omitsize=True, border=4,
        light="#fff", title=address, nl=False,
    )  # fmt: skip
    return out.getvalue().decode()
