"""The type of an answer for the representations: members by name, as in JSON."""

from collections.abc import Mapping
from typing import Any

Answer = Mapping[str, Any]
