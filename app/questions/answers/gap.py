"""A gap: something a mechanic needs that the catalogue does not say. It is listed, never guessed."""

from typing import NotRequired

from typing_extensions import TypedDict


class Gap(TypedDict):
    """Something missing: `what` is a stable code, `about` the id or name it is missing for."""

    what: str
    about: NotRequired[str]
    why_needed: str
    text: str
