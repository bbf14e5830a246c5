"""A gap: something that a mechanic needs and the catalogue does not give. It is listed, never guessed."""

from typing import NotRequired

from typing_extensions import TypedDict


class Gap(TypedDict):
    """Something missing: `what` is a stable code, `about` the id or name of the thing that lacks it."""

    what: str
    about: NotRequired[str]
    why_needed: str
    text: str
