"""Answers to identify, history, revisions and findings as text."""

from collections.abc import Callable, Iterator, Mapping

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.text_lines import beside, closing, further, heading, outline_lines, pair, title, wrapped
from app.web.representation.text_spring import assumed


def identify(answer: Answer, question: str) -> Iterator[str]:
    """The next check first, then the candidates with the clues that agree and differ."""
    yield from title(words.title(question), answer)
    yield from wrapped(answer["text"])
    if "next_check" in answer:
        check = answer["next_check"]
        yield from heading(f"Check this next: {words.label(check['parameter'])}")
        yield from wrapped(check["text"])
        for each in check["readings"]:
            left = f"leaves {each['leaves']} {'fork' if each['leaves'] == 1 else 'forks'}"
            yield from beside(f"  {check['parameter']}={each['reading']}", left, "  ")
        yield f"  {len(check['readings'])} of {check['readings_total']} readings"
    yield from heading(f"{answer['plausible']} of {answer['chassis_total']} forks are left")
    for each in answer["candidates"]:
        chassis = each["chassis"]
        years = f"{chassis.get('model_year_from', '?')}–{chassis.get('model_year_to', 'now')}"
        name = f"  {chassis['maker']['name']} {chassis['name']}, {years}"
        yield from beside(name, "differs" if each["disagrees"] else "agrees", "  ")
        yield f"    {chassis['id']}"
        for member, said in (("agrees", "agrees"), ("disagrees", "DIFFERS")):
            for clue in each[member]:
                listed = f"{words.clue_given(clue)} (listed {words.clue_listed(clue)})"
                yield from pair(f"{said}: {words.label(clue['parameter'])}", listed, 28, "    ")
        if each["unknown"]:
            yield from wrapped(f"    not listed: {', '.join(map(words.label, each['unknown']))}", "      ")
        if each.get("variants"):
            variants = ", ".join(f"{variant.get('name', '')} ({variant['id']})" for variant in each["variants"])
            yield from wrapped(f"    variants: {variants}", "      ")
    if answer["excluding"]:
        yield from heading("Perhaps misread")
        for each in answer["excluding"]:
            yield from wrapped(f"- {each['text']}", "  ")
    yield from assumed(answer["assumptions"])
    yield from outline_lines(
        answer,
        "revision",
        "text",
        "plausible",
        "chassis_total",
        "candidates",
        "next_check",
        "excluding",
        "cautions",
        "assumptions",
    )
    yield from closing(answer)


def statement_history(answer: Answer, question: str) -> Iterator[str]:
    """Each version, newest first, with who, when and why; `*` marks changes from the one before."""
    yield from title(words.title(question), answer)
    yield f"{answer['table']}/{answer['id']}"
    versions = answer["versions"]
    for number in reversed(range(len(versions))):
        each = versions[number]
        until = f" until revision {each['revision_to']}" if "revision_to" in each else ""
        yield from heading(f"From revision {each['revision_from']}{until}")
        yield from wrapped(f"{each['reason']} ({each['who']}, {each['recorded_at']})")
        if "withdrawn" in each:
            gone = each["withdrawn"]
            said = f"WITHDRAWN in revision {gone['revision']}: {gone['reason']} ({gone['who']}, {gone['recorded_at']})"
            yield from wrapped(said)
        before = versions[number - 1]["row"] if number else None
        names = [name for name in each["row"] if name != "id"]
        width = max(map(len, map(words.label, names)), default=0) + 2
        for name in names:
            value = each["row"][name]
            shown = ", ".join(map(str, value)) if isinstance(value, list) else words.with_unit(name, value)
            mark = "* " if before is not None and before.get(name) != value else "  "
            yield from pair(mark + words.label(name), shown, width)
        if before is not None:
            yield from (f"* {words.label(name)} removed" for name in before if name not in each["row"])
    yield from closing(answer)


def revisions(answer: Answer, question: str) -> Iterator[str]:
    """The accepted revisions, newest first, with who, when and why."""
    yield from title(words.title(question), answer)
    yield f"{answer['total']} {'revision' if answer['total'] == 1 else 'revisions'}, newest first."
    for each in answer["revisions"]:
        counts = f"{each['added']} added, {each['changed']} changed, {each['withdrawn']} withdrawn"
        yield ""
        yield from beside(f"Revision {each['number']}", counts)
        yield from wrapped(f"  {each['reason']}", "  ")
        yield from wrapped(f"  {each['who']}, {each['recorded_at']}", "  ")
        yield f"  {each['changes']}"
    yield from further(answer)
    yield from outline_lines(answer, "revision", "total", "revisions", "next", "cautions")
    yield from closing(answer)


def findings(answer: Answer, question: str) -> Iterator[str]:
    """The open warnings: the row, what is wrong, and how to fix it."""
    yield from title(words.title(question), answer)
    yield f"{answer['total']} open {'warning' if answer['total'] == 1 else 'warnings'}."
    for each in answer["findings"]:
        at = [f"{each['table']}/{each['id']}"] if "table" in each and "id" in each else []
        at += (
            [words.label(each["column"]) + (f": {each['value']}" if "value" in each else "")]
            if "column" in each
            else []
        )
        yield from heading(f"{each['severity']} {' '.join(at)}".strip())
        yield from wrapped(each["text"])
        yield from wrapped(f"To fix it: {each['fix']}", "  ")
        if "collides_with" in each:
            yield from wrapped(f"  conflicts with {', '.join(map(str, each['collides_with'].values()))}", "  ")
        yield f"  rule {each['rule']}, since revision {each['revision_from']}"
    yield from further(answer)
    yield from outline_lines(answer, "revision", "total", "findings", "next", "cautions")
    yield from closing(answer)


LAYOUTS: Mapping[str, Callable[[Answer, str], Iterator[str]]] = {
    "identify": identify,
    "statement-history": statement_history,
    "revisions": revisions,
    "findings": findings,
}
