"""The bench log as text: forks, jobs, and what is due."""

from collections.abc import Callable, Iterator, Mapping, Sequence

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.text_lines import beside, closing, further, heading, outline_lines, pair, title, wrapped
from app.web.representation.text_statements import plain


def _configuration(known: Answer, indent: str = "  ") -> Iterator[str]:
    for name, value in known.items():
        if name != "fluids":
            yield from pair(words.label(name), plain(value), 18, indent)
    for each in known.get("fluids", []):
        yield from pair(each["chamber"], each["fluid"], 18, indent)
    if not known:
        yield f"{indent}not recorded"


def fork(answer: Answer, question: str) -> Iterator[str]:
    """The present configuration, then the links of the fork."""
    yield from title(f"Fork {answer['fork']['serial']}", answer)
    yield from _held(answer["fork"])
    if answer["unlisted"]:
        yield from heading("Not listed in any document in the catalogue")
        for each in answer["unlisted"]:
            yield from wrapped(f"! {each}", "  ")
    yield from heading("Links")
    for name, href in answer["links"].items():
        yield from pair(name, href, 10, "  ")
    yield from closing(answer)


def _held(fork: Answer) -> Iterator[str]:
    for name in ("chassis", "id", "first_used_on", "riding", "registered_at", "changed_at", "version"):
        if name in fork:
            yield from pair(words.label(name), words.plain(fork[name]), 18, "  ")
    yield from heading("In it now")
    yield from _configuration(fork["configuration"])


def forks(answer: Answer, question: str) -> Iterator[str]:
    """The forks of the shop, newest first, each with its configuration."""
    yield from title("Bench log", answer)
    yield f"{answer['total']} {'fork' if answer['total'] == 1 else 'forks'}, newest first."
    for each in answer["forks"]:
        yield from heading(f"{each['serial']} {each['chassis']}")
        yield from _configuration(each["configuration"])
        for name in ("id", "first_used_on", "riding", "registered_at", "changed_at", "version"):
            if name in each:
                yield from pair(words.label(name), words.plain(each[name]), 18, "  ")
    yield from further(answer)
    yield from closing(answer)


def recent(answer: Answer, question: str) -> Iterator[str]:
    """Configurations of the shop's forks, latest first."""
    yield from title("Recent configurations", answer)
    for each in answer["configurations"]:
        yield from heading(each["chassis"])
        yield f"  {each['forks']} {'fork' if each['forks'] == 1 else 'forks'}, changed {each['changed_at']}"
        yield from _configuration(each["configuration"])
    if not answer["configurations"]:
        yield "Nothing has been recorded about this shop's forks yet."
    yield from closing(answer)


def export(answer: Answer, question: str) -> Iterator[str]:
    """Everything recorded about one fork: its configuration, then every job."""
    yield from title(f"Everything recorded about fork {answer['fork']['serial']}", answer)
    yield from _held(answer["fork"])
    yield from _services(answer)
    yield from outline_lines(answer, "revision", "fork", "services", "cautions")
    yield from closing(answer)


def services(answer: Answer, question: str) -> Iterator[str]:
    """Every job, newest first: measurements, fitted parts, and the configuration at that time."""
    yield from title("Work done", answer)
    yield from _services(answer)
    yield from closing(answer)


def _services(answer: Answer) -> Iterator[str]:
    if not answer["services"]:
        yield "No jobs recorded."
    for each in reversed(answer["services"]):
        hours = each["hours"]["text"] if "hours" in each else ""
        yield from heading(f"{each['number']} {words.heading(each['job'])} {each.get('done_on', '')} {hours}".strip())
        if not each["became_present"]:
            yield "  entered after a later job"
        if "riding" in each:
            yield from pair("riding", each["riding"], 18, "  ")
        for name, value in each["measured"].items():
            if name != "sags":
                clicks = name in ("rebound_clicks", "compression_clicks")
                yield from pair(words.label(name), words.clicks(value) if clicks else plain(value), 18, "  ")
        for sag in each["measured"].get("sags", []):
            yield from pair(f"sag at {plain(sag['pressure'])}", plain(sag["sag"]), 18, "  ")
        for name in ("fitted", "configuration"):
            if each[name]:
                yield "  fitted" if name == "fitted" else "  in the fork at that time"
                yield from _configuration(each[name], "    ")
        for part in each["parts"]:
            yield from wrapped(f"  part {part['part']}{' × ' + str(part['count']) if 'count' in part else ''}", "    ")
        for name in ("note", "job_card", "revision", "recorded_at"):
            if name in each:
                yield from pair(words.label(name), words.plain(each[name]), 18, "  ")


def due(answer: Answer, question: str) -> Iterator[str]:
    """The most urgent first: the state at the right edge, the reason below."""
    yield from title("What is due", answer)
    hours = f", at {answer['hours']['text']} of riding" if "hours" in answer else ""
    riding = f", ridden: {answer['riding']}" if "riding" in answer else ""
    yield f"on {answer['on']}{hours}{riding}"
    for each in answer["undecided"]:
        yield from wrapped(each["text"])
    yield ""
    yield from due_lines(answer["due"])
    yield from outline_lines(
        answer, "revision", "fork", "on", "hours", "riding", "due", "undecided", "gaps", "cautions"
    )
    yield from closing(answer)


def due_lines(listed: Sequence[Answer]) -> Iterator[str]:
    """The operations that are due, the most urgent first: the state at the right edge, the reason below."""
    for each in listed:
        state = each["state"].upper() if each["state"] == "due" else each["state"]
        yield from beside(words.heading(each["operation"]), state)
        yield from wrapped(f"  {each['text']}", "  ")
        when = [each["due_on"], words.left(each["days_left"], "days")] if "due_on" in each else []
        if "due_at_hours" in each:
            when.append(f"at {each['due_at_hours']['text']}")
        if "hours_left" in each:
            when.append(words.left(each["hours_left"]["value"], "h"))
        when += [f"not counted: {', '.join(each['not_known'])}"] if each["not_known"] else []
        if when:
            yield from wrapped(f"  {', '.join(when)}", "  ")
        if "counted_from" in each:
            since = each["counted_from"]
            on = f" on {since['on']}" if "on" in since else ""
            at = f" at {since['hours']['text']}" if "hours" in since else ""
            yield from wrapped(f"  counted from {words.label(since['what'])}{on}{at}", "  ")
        interval = each["interval"]
        every = " or ".join(f"every {interval[name]['text']}" for name in ("hours", "months") if name in interval)
        riding = f", {interval['riding']}" if "riding" in interval else ""
        yield from wrapped(f"  [{interval['id']}] {every}{riding}", "  ")


LAYOUTS: Mapping[str, Callable[[Answer, str], Iterator[str]]] = {
    "fork": fork,
    "forks": forks,
    "recent-configurations": recent,
    "fork-export": export,
    "services": services,
    "due": due,
}
