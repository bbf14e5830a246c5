"""SVG as a format: registers which questions are drawn, and by which function.

A drawing has no scripts and no styles, only presentation attributes, so it works under the strictest content policy.
"""

from collections.abc import Callable, Mapping

from app.web.representation.answer import Answer
from app.web.representation.bike_svg import bike_change
from app.web.representation.kinds import Representation, register
from app.web.representation.spring_curve_svg import spring_curve

DRAWINGS: Mapping[str, Callable[[Answer], bytes]] = {
    "setup": spring_curve,
    "fork-check": bike_change,
}

register(
    Representation(
        media_type="image/svg+xml",
        suffix="svg",
        render=lambda answered: DRAWINGS[answered.question](answered.answer),
        can=lambda answered: answered.question in DRAWINGS,
        charset=False,
    )
)
