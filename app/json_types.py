"""JSON whose members no type of this program lists: bodies as they were read, documents, rows of any table."""

from typing import Any

JsonObject = dict[str, Any]
