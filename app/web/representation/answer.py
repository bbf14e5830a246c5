"""An answer as representations read it: members by name, as they are in JSON."""

from collections.abc import Mapping
from typing import Any

Answer = Mapping[str, Any]
