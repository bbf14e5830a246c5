"""The addresses of the forms that close a gap or correct a figure, with the way back to the page of the link."""

import re
import urllib.parse
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from app.catalogue.tables import Frame
from app.web.representation.address import Address
from app.web.representation.answer import Answer

CITE = "cite"
"""The parameter that carries the source and page of the last entry from page to page: `id` or `id,page`."""
_TAKES_CITE = re.compile(r"/v1/(?:chassis|frames)/[a-z0-9-]+/(?:fits|sheet|setup|job-card|fork-check)")
_OF_A_FORK = re.compile(r"/v1/chassis/([a-z0-9-]+)/")
_PINS = ("revision", "as_of", "min_revision", "format", "cursor")
_GUIDE = "chamber,rider_mass_from,rider_mass_to,mass_unit,mass_is,pressure,pressure_unit,sag_percent"
_SPRING_SIZES = "bore_mm,shaft_diameter_mm,end_volume_ml,negative_volume_ml,port_travel_mm,geometry_basis"


class Closing(NamedTuple):
    """The form that closes a gap: of a new row of `table`, or of the row that `row` finds.

    `ask` are the columns it asks for, `about` the column that the gap's `about` gives.
    """

    table: str
    ask: str
    about: str | None = None
    row: Callable[[Answer, Answer], str | None] | None = None


def _about(answer: Answer, gap: Answer) -> str | None:
    about = gap.get("about")
    return about if isinstance(about, str) else None


def _fit(answer: Answer, gap: Answer) -> str | None:
    fit = answer.get("fit")
    return _about(answer, gap) or (str(fit["id"]) if isinstance(fit, Mapping) else None)


def _spring(answer: Answer, gap: Answer) -> str | None:
    fit = answer.get("fit")
    return _about(answer, gap) or (str(fit["spring"]["id"]) if isinstance(fit, Mapping) else None)


def _spacer(answer: Answer, gap: Answer) -> str | None:
    fit = answer.get("fit")
    return str(fit["spacer"]["id"]) if isinstance(fit, Mapping) and "spacer" in fit else None


def _use(answer: Answer, gap: Answer) -> str | None:
    """The use without a count, if the gap is about one."""
    about = _about(answer, gap)
    return about if any(about in part["statements"] for part in answer.get("parts", ())) else None


def _chassis(answer: Answer, gap: Answer) -> str | None:
    chassis = answer.get("chassis")
    return str(chassis["id"]) if isinstance(chassis, Mapping) else None


_WITHOUT_DAMPER = Closing("chassis", "dampers", row=_chassis)
"""The form instead of a damper's, if the fork has none yet."""
CLOSING: Mapping[str, Closing] = {
    "torque": Closing("torques", "value,unit,min,max,instruction", "fastener"),
    "fill": Closing("fills", "amount,fluid,value,unit,level_mm", "chamber"),
    "grease": Closing("greases", "place,fluid,amount", "place"),
    "parts": Closing("uses", "job,part,position,count,when"),
    "count": Closing("uses", "job,part,count,position", "part", _use),
    "interval": Closing("intervals", "operation,hours,months,riding"),
    "guide": Closing("guides", _GUIDE),
    "start-pressure": Closing("guides", _GUIDE),
    "sag": Closing("guides", _GUIDE),
    "negative-pressure": Closing("guides", _GUIDE),
    "second-positive-pressure": Closing("guides", _GUIDE),
    "adjustment": Closing("adjustments", "target,condition,value,unit"),
    "preload": Closing("guides", "rider_mass_from,rider_mass_to,mass_unit,spring_choice,preload_turns,sag_percent"),
    "crown-height": Closing("limits", "subject,min,max,unit,method"),
    "part": Closing("uses", "job,part,position,count,when"),
    "fit": Closing("fits", "spring,travel_mm,pressure_limit,pressure_unit,spacer_limit,axle_to_crown_mm"),
    "tool": Closing("tools", "name,drive"),
    "fluid": Closing("statements", "fluid", row=_about),
    "volume": Closing("statements", "value,unit,min,max,level_mm", row=_about),
    "extent": Closing("statements", "extent_mm", row=_about),
    "unit": Closing("statements", "", row=_about),
    "sources-disagree": Closing("statements", "", row=_about),
    "spacer-limit": Closing("fits", "spacer,spacer_limit", row=_fit),
    "pressure-limit": Closing("fits", "pressure_limit,pressure_unit", row=_fit),
    "axle-to-crown": Closing("fits", "axle_to_crown_mm", row=_fit),
    "drive": Closing("fasteners", "drives", row=_about),
    "rate": Closing("springs", "rate,rate_unit", row=_about),
    "geometry": Closing("springs", _SPRING_SIZES, row=_spring),
    "spacer-volume": Closing("spacers", "volume_ml", row=_spacer),
    "shaft-diameter": Closing("springs", "shaft_diameter_mm", row=_spring),
    "negative": Closing("springs", "negative", row=_about),
    "travel-set-by": Closing("springs", "travel_set_by", row=_about),
    "spring-kind": Closing("springs", "kind", row=_about),
    "crowns": Closing("chassis", "crowns", row=_about),
    "foot-joint": Closing("dampers", "foot_joint", row=_about),
    "adjuster-at": Closing("dampers", "adjuster_at", row=_about),
    "damper-kind": Closing("dampers", "kind", row=_about),
}
"""By the code of the gap. A gap that only another measurement or another choice closes is not here."""


def closings(address: Address, answer: Answer) -> list[str | None]:
    """For each gap of an answer the form that closes it, after signing in if nobody is; None if no form does."""
    if not offers_entry(address):
        return [None for _ in answer["gaps"]]
    found: list[str | None] = []
    for gap in answer["gaps"]:
        found.append(_closing(address, answer, gap, at=sum(1 for href in found if href is not None)))
    return found


def _closing(address: Address, answer: Answer, gap: Answer, at: int) -> str | None:
    if gap.get("about") is not None and gap["about"] == answer.get("frame", {}).get("id"):
        stem = str(gap["what"]).replace("-", "_")
        wanted = [name for name in Frame.columns() if name in (f"{stem}_mm", f"{stem}_deg", stem)]
        return _form(address, f"frames/{gap['about']}", ask=",".join(wanted), at=str(at))
    closing = CLOSING.get(str(gap["what"]))
    if closing is None or (closing.row is _fit and gap.get("about") == answer.get("chassis", {}).get("id")):
        return None
    row = None if closing.row is None else closing.row(answer, gap)
    if row is None and closing.table == "dampers":
        closing, row = _WITHOUT_DAMPER, _chassis(answer, gap)
    if row is None and (closing.row is None or closing.table == "uses"):
        return _form(address, closing.table, **_first_values(closing, answer, gap), ask=closing.ask, at=str(at))
    return None if row is None else _form(address, f"{closing.table}/{row}", ask=closing.ask, at=str(at))


def _first_values(closing: Closing, answer: Answer, gap: Answer) -> dict[str, str]:
    """What the gap and its answer already say about the new row."""
    given: dict[str, str] = {}
    if closing.table != "tools" and "chassis" in answer:
        given["chassis"] = answer["chassis"]["id"]
    if closing.about is not None and "about" in gap:
        given[closing.about] = gap["about"]
    if closing.table == "fits" and "travel" in answer.get("configuration", {}):
        given["travel_mm"] = f"{answer['configuration']['travel']['value']:g}"
    if closing.table == "uses" and "job" in answer:
        given["job"] = answer["job"]
    return given


def spring_href(address: Address, faults: Sequence[Answer]) -> str | None:
    """The form of a spring that fits, if a page of a fork was refused because none is listed; None otherwise."""
    refused = any(fault["code"] == "no-spring-for-travel" for fault in faults)
    chassis = _OF_A_FORK.match(address.path)
    if not refused or chassis is None or not offers_entry(address):
        return None
    travel = address.get("to_travel") or address.get("travel")
    given = {"travel_mm": travel} if travel.isdigit() else {}
    return _form(address, "fits", chassis=chassis[1], **given, ask=CLOSING["fit"].ask)


def skipping(page: str, at: str) -> str:
    """The form of the gap after that one."""
    return f"/enter/next?{urllib.parse.urlencode([('next', page), ('at', str(int(at) + 1))])}"


def offers_entry(address: Address) -> bool:
    """Whether the page shows ways to enter something: to editors, and to visitors, who sign in on the way."""
    return not address.is_demonstration and (address.signed_in is None or address.may_edit)


def way_back(address: Address) -> str:
    """The address of this page at the latest revision."""
    query = urllib.parse.urlencode([(name, value) for name, value in address.pairs if name not in _PINS])
    return f"{address.path}?{query}" if query else address.path


def _form(address: Address, path: str, **given: str) -> str:
    source, _, page = address.get(CITE).partition(",")
    pairs = [*given.items(), ("source", source), ("page", page), ("next", way_back(address))]
    form = f"/enter/{path}?{urllib.parse.urlencode([(name, text) for name, text in pairs if text])}"
    return form if address.signed_in else f"/sign-in?{urllib.parse.urlencode([('next', form)])}"


def onwards(path: str, id: str, source: str, page: str) -> str:
    """The address to go on to after an entry: where the figure now is, with the source for the next entry."""
    own, _, query = path.partition("#")[0].partition("?")
    pairs = [pair for pair in urllib.parse.parse_qsl(query, keep_blank_values=True) if pair[0] != CITE]
    if own == "/enter/next":
        inner = {name: onwards(value, id, source, page) if name == "next" else value for name, value in pairs}
        return f"{own}?{urllib.parse.urlencode(inner)}"
    if source and _TAKES_CITE.fullmatch(own):
        pairs.append((CITE, f"{source},{page}" if page else source))
    query = urllib.parse.urlencode(pairs)
    return f"{own}{f'?{query}' if query else ''}#at-{id}"
