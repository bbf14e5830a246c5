"""The guide and the table of changes: Markdown files next to this module, served as pages."""

from functools import cache
from importlib.resources import files

from markdown_it import MarkdownIt
from markupsafe import Markup

DOCUMENTS = {"guide": "Guide", "changes": "Changes"}
"""The titles of the documents, by name; the page is at `/docs/{name}`."""


@cache
def markdown(name: str) -> str:
    """The Markdown text of a document. Raises KeyError for an unknown name."""
    if name not in DOCUMENTS:
        raise KeyError(name)
    return files("app.web.guide").joinpath(f"{name}.md").read_text("utf-8")


@cache
def html(name: str) -> Markup:
    """A document as HTML, without its title. Raises KeyError for an unknown name."""
    text = markdown(name).split("\n", 1)[1]
    return Markup(MarkdownIt("commonmark", {"html": False}).enable("table").render(text))
