"""Job cards as text: what to buy and lay out, then each step with a tick box, and lines to write on."""

from collections.abc import Collection, Iterator, Sequence

from app.web.representation import text_spring, words
from app.web.representation.answer import Answer
from app.web.representation.sources import Sources
from app.web.representation.text_lines import (
    beside,
    caution_lines,
    cited,
    closing,
    flowing,
    heading,
    outline_lines,
    title,
    wrapped,
)
from app.web.representation.text_parts import asked, name_of, said
from app.web.representation.text_statements import fills, fit, marked, plain, poured, published, torques

_DEEP = " " * 2
_LINE = "____"
_AGAIN = "torque again"
_SHORT = 64  # columns of what a heading can hold beside its name
_SHOWN = (
    "parts", "consumables", "tools", "steps", "settings", "checks", "label", "fit", "configuration", "present", "job",
    "procedure", "write_down", "torques", "present_spring", "revision", "chassis", "undecided", "gaps", "cautions",
)  # fmt: skip


def job_card(answer: Answer, question: str, ticked: Collection[int] = ()) -> Iterator[str]:
    """The list of what to buy and lay out, the steps, the set-up, the checks and the label, without blank lines."""
    yield from filter(None, _card(answer, ticked))


def _card(answer: Answer, ticked: Collection[int]) -> Iterator[str]:
    sources = Sources(answer)
    yield from _head(answer)
    yield from caution_lines([each for each in answer["cautions"] if each["place"] != "step"])
    yield from heading("Lay out")
    yield from _lay_out(answer)
    order = answer["procedure"].get("text", "")
    yield from heading(f"Steps. {order}" if order and len(order) < _SHORT else "Steps")
    if len(order) >= _SHORT:
        yield from wrapped(order)
    for each in answer["steps"]:
        yield from _step(each, each["number"] in ticked, sources)
    yield from heading("Set-up after assembly")
    yield from _settings(answer["settings"], answer["steps"], sources)
    yield from fit(answer["fit"], sources, without=("pressure_limit", "spacer_limit", "axle_to_crown"))
    yield from published(answer["settings"], sources)
    yield from heading("Final checks")
    yield from _checks(answer["checks"])
    yield from heading("For the label on the fork")
    yield from wrapped(f"  {' | '.join(answer['label'])}", "  ")
    yield from outline_lines(answer, *_SHOWN)
    yield from closing({**answer, "cautions": []})
    yield from cited(sources)


def bench_view(answer: Answer, question: str) -> Iterator[str]:
    """Only the figures of the job."""
    sources = Sources(answer)
    yield from _head(answer)
    yield from heading("Torques")
    yield from torques(answer["torques"], sources)
    each_once = {each["fill"]["id"]: each["fill"] for each in answer["steps"] if "fill" in each}
    yield from heading("Oils and fills")
    yield from fills(list(each_once.values()), sources)
    for each in answer["steps"]:
        if "extent" in each.get("grease", {}):
            grease = each["grease"]
            yield from flowing(f"  {grease['place']}", marked(plain(grease["extent"]), grease, sources), "    ")
    yield from text_spring.limits(answer["settings"]["limits"], sources)
    yield from closing({**answer, "cautions": [each for each in answer["cautions"] if each["place"] != "step"]})
    yield from cited(sources)


def _head(answer: Answer) -> Iterator[str]:
    yield from title(f"{answer['procedure']['name']}: {name_of(answer)}", answer)
    if answer["settings"].get("headline", {}).get("what") in ("rider-mass-limit", "instruction"):
        yield from wrapped(answer["settings"]["headline"]["text"])
    if answer["present"] != answer["configuration"]:
        now, then = answer["present"], answer["configuration"]
        same = {name: value for name, value in now.items() if then.get(name) == value}
        changed = f"now {said(_other(now, then))}{_present_spring(answer)}; after the job {said(_other(then, now))}"
        yield from wrapped("; ".join(filter(None, [said(same), changed])), "  ")
    else:
        yield from asked(answer["configuration"])


def _other(one: Answer, than: Answer) -> Answer:
    return {name: value for name, value in one.items() if than.get(name) != value}


def _present_spring(answer: Answer) -> str:
    return f", {text_spring.spring_words(answer['present_spring'])}" if "present_spring" in answer else ""


def _lay_out(answer: Answer) -> Iterator[str]:
    for each in answer["parts"]:
        number = f" ({each['part_number']})" if "part_number" in each else ""
        about = [each["when"]] if each["when"] != "always" else []
        if each.get("pack_count", 1) > 1 and "packs" in each:
            about.append(f"{each['packs']} pack{'' if each['packs'] == 1 else 's'} of {each['pack_count']}")
        about += [each["text"]] if "text" in each else []
        left = f"[ ] {', '.join([each['name'] + number, *about])}"
        yield from flowing(left, f"{each['count']} ×" if "count" in each else "____", "    ")
    for each in answer["consumables"]:
        about = [f"in total {plain(each['with_allowance'])}"] if "with_allowance" in each else []
        about += [f"{pack['count']} × {plain(pack['size'])}" for pack in each["packs"]]
        used = "" if "id" in each else f": {', '.join(each['used_for'])}"  # the steps name where a fluid goes
        left = f"[ ] {', '.join([each['name'], *about])}{used}"
        yield from flowing(left, plain(each["need"]) if "need" in each else "", "    ")
    if answer["tools"]:
        yield from wrapped(f"[ ] Tools (steps): {'; '.join(_tool(each) for each in answer['tools'])}", "    ")


def _tool(each: Answer) -> str:
    figures = [each[name] for name in ("smallest", "largest") if "as_published" in each.get(name, {})]
    most = [f"marked maximum {plain(each['marked_maximum_at_most'])}"] if "marked_maximum_at_most" in each else []
    steps = f"({', '.join(map(str, each['steps']))})" if each["steps"] else ""
    return " ".join([", ".join([each["name"], *map(plain, figures), *most]), steps]).strip()


def _step(each: Answer, ticked: bool, sources: Sources) -> Iterator[str]:
    marks: dict[str, None] = {}
    below = []
    for name, right, row in _figures(each):
        marks[sources.mark(row)] = None
        if not _is_said(right, each["text"], row):
            below.append((name, right))
    line = f"[{'x' if ticked else ' '}] {each['number']:>2} {each['text']}"
    line += "".join(f" ({mark})" for mark in marks if mark)
    if each["parts"]:
        line += f" [{'; '.join(map(_part, each['parts']))}]"
    line += "".join(f" {measure}: {_LINE}" for measure in each["measures"])
    line += "".join(f" ! {caution['text']}" for caution in each["cautions"])
    yield from wrapped(line, _DEEP)
    for name, right in below:
        yield from flowing(_DEEP + name, right, _DEEP)
    for figure in each["figures"]:
        if "as_published" in figure.get("value", {}):
            yield from wrapped(f"{_DEEP}{figure['what']}: {plain(figure['value'])}", _DEEP)


def _part(part: Answer) -> str:
    count = f"{part['count']} × " if "count" in part else ""
    return f"{count}{part['name']}{'' if part['when'] == 'always' else ' (' + part['when'] + ')'}"


def _figures(each: Answer) -> Iterator[tuple[str, str, Answer]]:
    """The figures of a step: a name, the figure, and the statement it is from."""
    for torque in each.get("torque", []):
        bolt = torque["fastener"]
        about = [bolt["position"], *(bolt[name] for name in ("side",) if name in bolt)]
        about += [f"no. {torque['order']}"] if "order" in torque else []
        about += [f"against {torque['mating_material']}"] if "mating_material" in torque else []
        about += [torque["thread_prep"]] if "thread_prep" in torque else []
        about += [torque["instruction"]] if "instruction" in torque and "torque" in torque else []
        yield (
            ", ".join(about),
            plain(torque["torque"]) if "torque" in torque else torque.get("instruction", _LINE),
            torque,
        )
    if "fill" in each:
        fill = each["fill"]
        yield fill["chamber"], poured(fill) or _LINE, fill
    if "grease" in each:
        grease = each["grease"]
        about = [grease["place"], *([grease["fluid"]["name"]] if "fluid" in grease else [])]
        yield ", ".join(about), plain(grease["extent"]) if "extent" in grease else "", grease


def _is_said(figure: str, text: str, row: Answer) -> bool:
    """Whether the words of a step hold a figure already, its fluid, and the material that the figure is for."""
    named = [row.get("fluid", {}).get("name", ""), row.get("mating_material", "")]
    return figure != _LINE and all(part in text for part in [*figure.split(", "), *named])


def _settings(settings: Answer, steps: Sequence[Answer], sources: Sources) -> Iterator[str]:
    yield from wrapped(f"  {settings['text']} {text_spring.explained(settings['limits'])}", "  ")
    if "band" in settings:
        yield from wrapped(f"  {words.band(settings['band'])}", "  ")
    if "start_pressure" in settings and plain(settings["start_pressure"]) not in settings["text"]:
        yield from beside("  start pressure", plain(settings["start_pressure"]))
    yield from text_spring.places(settings)
    if "sag" in settings:
        yield from text_spring.sag(settings["sag"], is_explained=not _is_in(steps, settings["sag"]["travel"]))
    if "coil" in settings:
        yield from text_spring.coil(settings["coil"])
    yield from text_spring.limit_lines(settings["limits"], sources)


def _is_in(steps: Sequence[Answer], figure: Answer) -> bool:
    return any(figure["text"] in each["text"] for each in steps)


def _checks(checks: Sequence[Answer]) -> Iterator[str]:
    """A line for each check; what is only tightened again shares one."""
    for each in checks:
        if each["what"] != _AGAIN:
            limit = each.get("limit", {})
            figures = [each["value"]] if "value" in each else []
            figures += [limit["limit"]] if "limit" in limit else []
            more = [plain(figure) for figure in figures if plain(figure) not in each["text"]]
            yield from wrapped(f"  {_LINE} {' '.join([each['text'], *more])}", "    ")
    again = [each["text"] for each in checks if each["what"] == _AGAIN]
    if again:
        yield from wrapped(f"  {' '.join(f'{_LINE} {text}' for text in again)}", "    ")
