"""One answer, several forms: JSON, CSV, a drawing, a page, a text. A further one is added by `kinds.register`."""

from app.web.representation.kinds import Answered, Representation, register
from app.web.representation.respond import respond

# isort: split
from app.web.representation import page as page  # registers text/html
from app.web.representation import text_table as text_table  # registers text/plain

__all__ = ["Answered", "Representation", "register", "respond"]
