"""One answer, several forms: JSON and CSV are here; a page, a text or a drawing is added by `kinds.register`."""

from app.web.representation.kinds import Answered, Representation, register
from app.web.representation.respond import respond

__all__ = ["Answered", "Representation", "register", "respond"]
