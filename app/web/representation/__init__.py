"""Renders one answer in several formats: JSON, CSV, a drawing, a page, text. `kinds.register` adds a format."""

from app.web.representation.kinds import Answered, Representation, register
from app.web.representation.respond import respond

# isort: split
from app.web.representation import page as page  # registers text/html
from app.web.representation import text_table as text_table  # registers text/plain

__all__ = ["Answered", "Representation", "register", "respond"]
