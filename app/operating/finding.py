"""One finding of `legwork doctor`: `good`, worth a `notice`, or `bad`."""

from dataclasses import asdict, dataclass
from typing import Literal

Level = Literal["good", "notice", "bad"]


@dataclass(frozen=True, slots=True)
class DoctorFinding:
    """One thing that was looked at: what, how it is, and a sentence for whoever keeps the service."""

    name: str
    level: Level
    text: str

    def as_dict(self) -> dict[str, object]:
        """The finding as JSON."""
        return asdict(self)
