"""What texts about one fork begin with."""

from collections.abc import Iterator

from app.web.representation import words
from app.web.representation.answer import Answer
from app.web.representation.text_lines import wrapped
from app.web.representation.text_statements import plain


def name_of(answer: Answer) -> str:
    """The maker and the name of a fork."""
    chassis = answer["chassis"]
    return f"{chassis['maker']['name']} {chassis['name']}"


def said(configuration: Answer) -> str:
    """A configuration in words."""
    return ", ".join(f"{words.label(name)} {plain(value)}" for name, value in configuration.items())


def asked(configuration: Answer) -> Iterator[str]:
    """A configuration in a line of its own; none for one that says nothing."""
    if configuration:
        yield from wrapped(said(configuration), "  ")
