"""Recorded answers of the invented demo: one example for each operation and each problem type."""

import json
from functools import cache
from importlib.resources import files

from app.json_types import JsonObject

Recordings = JsonObject

SUMMARY = "From the invented demo; lists are cut to two."
_MEDIA_TYPES = {"html": "text/html", "txt": "text/plain", "csv": "text/csv", "svg": "image/svg+xml"}
_OTHER_FORM = {"schema": {"type": "string", "description": "The same answer in this format."}}


@cache
def recorded(name: str) -> Recordings:
    """The recordings in this file, by operation id or by status. `python -m tests.api.document` writes them."""
    found: Recordings = json.loads(files("app.web.contract").joinpath("examples", f"{name}.json").read_text("utf-8"))
    return found


def add_examples(operation: Recordings) -> None:
    """Add the recorded parameters, body, answer and formats to an operation."""
    shown = recorded("answers").get(operation["operationId"])
    if shown is None:
        return
    for parameter in operation.get("parameters", []):
        if parameter["name"] in shown["parameters"]:
            parameter["example"] = shown["parameters"][parameter["name"]]
    if "body" in shown:
        operation["requestBody"]["content"]["application/json"]["examples"] = _demo(shown["body"])
    content = operation["responses"][str(shown["status"])].get("content", {})
    if "answer" in shown:
        content["application/json"]["examples"] = _demo(shown["answer"])
    for form in shown["forms"]:
        content[_MEDIA_TYPES[form]] = dict(_OTHER_FORM)


def problem_example(status: str) -> Recordings | None:
    """A recorded problem with this status or family of statuses."""
    return recorded("problems").get(status)


def _demo(value: object) -> Recordings:
    return {"demo": {"summary": SUMMARY, "value": value}}
