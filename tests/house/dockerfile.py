"""Runs a Dockerfile without Docker: its COPY, uv and CMD lines in a folder of this machine.

Three things that a folder cannot have are skipped by name: the base image, the user, and the package that brings uv.
Any other line that cannot be run here is an error, so that no step is skipped silently."""

import json
import re
import shlex
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

SKIPPED = ("FROM", "USER", "VOLUME", "EXPOSE")
LEFT_OUT = re.compile(r"pip install --no-cache-dir uv==[\d.]+ && useradd .* && install -d -o legwork /data")


@dataclass
class Image:
    """The state after the lines so far: the folder for `/`, the working directory, and the variables."""

    root: Path
    workdir: str = "/"
    environment: dict[str, str] = field(default_factory=dict)
    command: list[str] = field(default_factory=list)
    healthcheck: str = ""
    ran: list[str] = field(default_factory=list)

    def here(self, path: str) -> Path:
        """A path of the image as a path of this machine."""
        return self.root / (Path(self.workdir) / path).relative_to("/")

    def inside(self, text: str) -> str:
        """A text with the image's folders replaced by those of this machine."""
        for folder in ("/srv/legwork", "/data"):
            text = re.sub(rf"(?<![\w.]){folder}\b", str(self.root / folder[1:]), text)
        return text


def lines(text: str) -> list[tuple[str, str]]:
    """(instruction, the rest) of a Dockerfile; a line that ends in a backslash continues."""
    joined = re.sub(r"\s*\\\n\s*", " ", re.sub(r"^#.*\n", "", text, flags=re.M))
    return [
        (word.upper(), rest.strip()) for word, _, rest in (line.partition(" ") for line in joined.splitlines()) if word
    ]


def build(text: str, context: Path, root: Path, environment: dict[str, str]) -> Image:
    """Runs the lines with the files of `context`. Raises ValueError for an unknown line."""
    image = Image(root)
    (root / "data").mkdir(parents=True)
    for word, rest in lines(text):
        if word == "WORKDIR":
            image.workdir = rest
            image.here(".").mkdir(parents=True, exist_ok=True)
        elif word == "COPY":
            _copy(image, context, rest.split())
        elif word == "ENV":
            for pair in shlex.split(rest):
                name, _, value = pair.partition("=")
                image.environment[name] = image.inside(value.replace("$PATH", environment["PATH"]))
        elif word == "RUN" and rest.startswith("uv "):
            subprocess.run(shlex.split(rest), cwd=image.here("."), env=environment, check=True, timeout=240)
            image.ran.append(rest)
        elif word == "HEALTHCHECK":
            image.healthcheck = rest.partition("CMD ")[2]
        elif word == "CMD":
            image.command = json.loads(rest)
        elif word not in SKIPPED and not (word == "RUN" and LEFT_OUT.fullmatch(rest)):
            raise ValueError(f"{word} {rest} is not carried out here")
    return image


def _copy(image: Image, context: Path, words: list[str]) -> None:
    *sources, target = words
    for source in sources:
        if (context / source).is_dir():
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(context / source, image.here(target), ignore=ignored, dirs_exist_ok=True)
        else:
            shutil.copy(context / source, image.here(target))
