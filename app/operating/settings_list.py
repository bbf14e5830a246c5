"""Lists all settings for operators: name, default, meaning, and current value. Secrets are not shown."""

import re
import textwrap
from dataclasses import asdict, dataclass

from app.environment import PREFIX
from app.settings import Settings

_SECRET = {"mirror_key"}
_PASSWORD = re.compile(r"(?<=://)([^:/@]*):[^@]*@")
_WIDTH = 100


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: `value` is the current value, `is_set` whether the environment sets it."""

    name: str
    default: object
    meaning: str
    value: object
    is_set: bool

    def as_dict(self) -> dict[str, object]:
        """The setting as an object of JSON."""
        return asdict(self)


def listed(settings: Settings) -> list[Setting]:
    """All settings, in the order of their description."""
    values = settings.model_dump(mode="json")
    return [
        Setting(
            name=PREFIX + name.upper(),
            default=_plain(field.default),
            meaning=field.description or "",
            value=_shown(name, values[name]),
            is_set=name in settings.model_fields_set,
        )
        for name, field in Settings.model_fields.items()
    ]


def as_text(found: list[Setting]) -> str:
    """Two or three lines for each setting: name and value, meaning, and the default if it differs."""
    lines = []
    for each in found:
        lines.append(f"{each.name}={_written(each.value)}")
        lines += textwrap.wrap(each.meaning, _WIDTH, initial_indent="    ", subsequent_indent="    ")
        if each.is_set:
            lines.append(f"    Default: {_written(each.default) or 'none'}")
    return "\n".join(lines)


def _plain(value: object) -> object:
    return value if value is None or isinstance(value, bool | int | float | str | list) else str(value)


def _shown(name: str, value: object) -> object:
    if name in _SECRET:
        return None if value is None else "(set)"
    return _PASSWORD.sub(r"\1:***@", value) if isinstance(value, str) else value


def _written(value: object) -> str:
    """A value in the form that the variable takes."""
    if isinstance(value, list):
        return ",".join(map(str, value))
    if isinstance(value, bool):
        return str(value).lower()
    return "" if value is None else str(value)
