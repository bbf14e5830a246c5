"""Finds what would break a program written against an older API description: anything removed or narrowed.

`broken(old, new)` names each place. Requests may accept more and answers may gain members. A value added to an enum in
an answer does not count as a break, because readers must skip values they do not know."""

from collections.abc import Iterator
from typing import Any

Document = dict[str, Any]

LOWEST = ("minimum", "exclusiveMinimum", "minLength", "minItems")
GREATEST = ("maximum", "exclusiveMaximum", "maxLength", "maxItems")


def broken(old: Document, new: Document) -> list[str]:
    """Every break between two descriptions, one sentence each; empty if programs written for the old one still work."""
    return sorted(set(_paths(old, new)))


def _paths(old: Document, new: Document) -> Iterator[str]:
    for path, item in old["paths"].items():
        for method, operation in item.items():
            where = f"{method.upper()} {path}"
            now = new["paths"].get(path, {}).get(method)
            if now is None:
                yield f"{where} is gone"
                continue
            compared = _Compared(old, new)
            yield from compared.operation(operation, now, where)


class _Compared:
    """One operation in both documents; `seen` stops recursive schemas from being followed for ever."""

    def __init__(self, old: Document, new: Document) -> None:
        self.old, self.new = old, new
        self.seen: set[tuple[str, str, bool]] = set()

    def operation(self, old: Document, new: Document, where: str) -> Iterator[str]:
        if old["operationId"] != new["operationId"]:
            yield f"{where} has another name"
        if _open(old) and not _open(new):
            yield f"{where} takes a key"
        yield from self._parameters(old, new, where)
        if "requestBody" in new:
            yield from self._content(old.get("requestBody", {}), new["requestBody"], f"{where} body", asked=True)
        for status, response in old["responses"].items():
            if status not in new["responses"]:
                yield f"{where} has no {status}"
            else:
                now = _followed(new["responses"][status], self.new)
                held = _followed(response, self.old).get("headers", {}).keys()
                yield from (f"{where} {status} has no {name}" for name in held - now.get("headers", {}).keys())
                yield from self._content(_followed(response, self.old), now, f"{where} {status}", asked=False)

    def _parameters(self, old: Document, new: Document, where: str) -> Iterator[str]:
        before, after = (
            {(each["in"], each["name"]): each for each in (_followed(one, document) for one in side["parameters"])}
            for side, document in (({"parameters": [], **old}, self.old), ({"parameters": [], **new}, self.new))
        )
        for key in sorted(before.keys() - after.keys()):
            yield f"{where} {key[1]} is gone"
        for key, parameter in after.items():
            if parameter.get("required") and not before.get(key, {}).get("required"):
                yield f"{where} {key[1]} must be given"
            if key in before:
                yield from self._schema(before[key]["schema"], parameter["schema"], f"{where} {key[1]}", asked=True)

    def _content(self, old: Document, new: Document, where: str, *, asked: bool) -> Iterator[str]:
        for media_type, held in old.get("content", {}).items():
            if media_type not in new.get("content", {}):
                yield f"{where} has no {media_type}"
            else:
                yield from self._schema(held["schema"], new["content"][media_type]["schema"], where, asked=asked)

    def _schema(self, old: Document, new: Document, where: str, *, asked: bool) -> Iterator[str]:
        visit = (old.get("$ref", ""), new.get("$ref", ""), asked)
        if visit in self.seen:
            return
        if all(visit[:2]):  # without a name on both sides, each place is compared on its own
            self.seen.add(visit)
        old, new = _followed(old, self.old), _followed(new, self.new)
        kinds = (_types(old), _types(new))
        if kinds[0] and kinds[1] and not (kinds[0] <= kinds[1] if asked else kinds[1] <= kinds[0]):
            yield f"{where} was {'/'.join(sorted(kinds[0]))} and is {'/'.join(sorted(kinds[1]))}"
        yield from _values(old, new, where, asked=asked)
        yield from self._members(old, new, where, asked=asked)
        if "items" in old and "items" in new:
            yield from self._schema(old["items"], new["items"], f"{where}[]", asked=asked)
        yield from self._named_freely(old, new, where, asked=asked)
        choices = [side.get("oneOf", side.get("anyOf", [])) for side in (old, new)]
        if len(choices[0]) > len(choices[1]):
            yield f"{where} has fewer kinds"
        for before, after in zip(*choices, strict=False):
            yield from self._schema(before, after, where, asked=asked)

    def _named_freely(self, old: Document, new: Document, where: str, *, asked: bool) -> Iterator[str]:
        """Members whose names the sender chooses, by pattern or without."""
        before, after = (
            {"": side.get("additionalProperties"), **side.get("patternProperties", {})} for side in (old, new)
        )
        for pattern, inner in before.items():
            if isinstance(inner, dict) and isinstance(after.get(pattern), dict):
                yield from self._schema(inner, after[pattern], f"{where}.*", asked=asked)

    def _members(self, old: Document, new: Document, where: str, *, asked: bool) -> Iterator[str]:
        before, after = old.get("properties", {}), new.get("properties", {})
        for name in sorted(before.keys() - after.keys()):
            yield f"{where}.{name} is gone"
        must = [set(side.get("required", ())) for side in (old, new)]
        for name in sorted(must[1] - must[0] if asked else (must[0] & after.keys()) - must[1]):
            yield f"{where}.{name} {'must be given' if asked else 'may be absent'}"
        for name in sorted(before.keys() & after.keys()):
            yield from self._schema(before[name], after[name], f"{where}.{name}", asked=asked)


def _values(old: Document, new: Document, where: str, *, asked: bool) -> Iterator[str]:
    before, after = ([side["const"]] if "const" in side else side.get("enum") for side in (old, new))
    if before is not None and after is not None:
        yield from (f"{where} is no longer {value}" for value in before if value not in after)
    elif asked and before is None and after is not None:
        yield f"{where} takes certain values only"
    if asked and new.get("pattern") not in (None, old.get("pattern")):
        yield f"{where} has another form"
    for bounds, narrower in ((LOWEST, lambda a, b: a < b), (GREATEST, lambda a, b: a > b)):
        for bound in bounds:
            if asked and bound in new and (bound not in old or narrower(old[bound], new[bound])):
                yield f"{where} has a narrower {bound}"


def _open(operation: Document) -> bool:
    return not operation["security"] or {} in operation["security"]


def _types(schema: Document) -> set[str]:
    kinds = schema.get("type", [])
    found = {kinds} if isinstance(kinds, str) else set(kinds)
    return found | {"integer"} if "number" in found else found


def _followed(node: Document, document: Document) -> Document:
    while "$ref" in node:
        found: Any = document
        for step in node["$ref"].removeprefix("#/").split("/"):
            found = found[step]
        node = found
    return node
