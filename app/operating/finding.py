"""One finding of `legwork doctor`: `good`, worth a `notice`, or `bad`."""

from dataclasses import asdict, dataclass
from typing import Literal

Level = Literal["good", "notice", "bad"]


@dataclass(frozen=True, slots=True)
class DoctorFinding:
    """The result of one check: what was checked, its level, and a sentence for the operator."""

    name: str
    level: Level
    text: str

    def as_dict(self) -> dict[str, object]:
        """The finding as JSON."""
        return asdict(self)
