"""The address of a request and related ones: with a parameter changed, in another format, or as a form."""

import urllib.parse
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import NoneType
from typing import Annotated, Any, Literal, get_args, get_origin
from weakref import WeakKeyDictionary

from fastapi.routing import APIRoute
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from starlette.types import Scope

from app.access.keys import Caller, KeyScope
from app.web.representation.answer import Answer

KEPT = ("revision", "as_of", "units")
"""Parameters that links to other addresses keep: revision and units."""
_UNSEEN = (*KEPT, "cite", "curve", "view")
"""Parameters that a form carries along without showing them."""
IDS = frozenset(("id", "chassis", "variant", "spring", "from_spring", "damper", "frame", "fork", "fluid", "part"))
"""Parameters that are ids of rows. They are chosen by name or carried along, never typed."""
_MACHINERY = ("format", "cursor", "min_revision")
_UNITS = "_unit"
MOST_PAIRS = 400
"""The number of parameters of a refused request that links and forms on its page keep; a route accepts fewer."""
_FIELDS: WeakKeyDictionary[Callable[..., Any], "tuple[Field, ...]"] = WeakKeyDictionary()  # routes cannot be hashed


@dataclass(frozen=True, slots=True)
class Field:
    """A query parameter: its meaning, and its values if there are only a few."""

    name: str
    meaning: str
    choices: tuple[str, ...]
    whole: bool
    repeats: bool


class Address:
    """The parsed address of a request."""

    def __init__(self, scope: Scope) -> None:
        self.path: str = urllib.parse.quote(scope["path"], safe="/:@!$&'()*+,;=~-._")
        query = scope["query_string"].decode("ascii", "replace")
        pairs = urllib.parse.parse_qsl(query, keep_blank_values=True)
        self.pairs: list[tuple[str, str]] = pairs[:MOST_PAIRS]
        self._scope = scope
        self._base: str = scope.get("root_path", "")

    @property
    def is_demonstration(self) -> bool:
        """Whether the page belongs to the invented demonstration."""
        return self._base != ""

    @property
    def signed_in(self) -> str | None:
        """The label of the key with which the browser is signed in."""
        return getattr(self._scope.get("state", {}).get("signed_in"), "label", None)

    @property
    def may_edit(self) -> bool:
        """Whether the browser is signed in with a key that may change the catalogue."""
        return self._may("edit")

    @property
    def at_the_bench(self) -> bool:
        """Whether the browser is signed in with a key that may use the bench log."""
        return self._may("bench")

    def _may(self, scope: KeyScope) -> bool:
        caller = self._scope.get("state", {}).get("signed_in")
        return isinstance(caller, Caller) and caller.may(scope)

    @property
    def sign_in(self) -> str:
        """The address to sign in at and come back to this one."""
        return _joined("/sign-in", [("next", _joined(self.path, self.pairs))])

    def get(self, name: str) -> str:
        """The first value of a parameter, or an empty text."""
        return next((value for key, value in self.pairs if key == name), "")

    def changed(self, **changes: object) -> str:
        """This address with parameters set, or left out if their value is None."""
        kept = [(name, value) for name, value in self.pairs if name not in changes and name not in ("format", "cursor")]
        kept += [(name, str(value)) for name, value in changes.items() if value is not None]
        return _joined(self.path, kept)

    def without(self, name: str, value: str) -> str:
        """This address without one value of a parameter."""
        return _joined(self.path, [pair for pair in self.hidden() if pair != (name, value)])

    def with_more(self, name: str, value: str) -> str:
        """This address with one more value of a parameter that can be repeated."""
        return _joined(self.path, [*self.hidden(), (name, value)])

    def identified(self, candidate: Answer) -> str:
        """The sheet of an identified fork, with the clues that identified it as parameters."""
        variants = candidate.get("variants", [])
        more = {"variant": variants[0]["id"]} if len(variants) == 1 else {}
        disagreeing = {clue["parameter"] for clue in candidate["disagrees"]}
        names = [name for name in ("model_year", "wheel_size", "serial") if name not in disagreeing]
        return self.to(f"/v1/chassis/{candidate['chassis']['id']}/sheet", names, **more)

    def changed_path(self, path: str) -> str:
        """This question at another of our addresses."""
        return _joined(path, self.hidden())

    def to(self, path: str, names: Sequence[str] = (), **more: object) -> str:
        """Another of our addresses that keeps revision, units and the parameters in `names`."""
        kept = [(name, value) for name, value in self.pairs if name in KEPT or name in names]
        kept = [(name, value) for name, value in kept if name not in more]
        own, _, query = path.partition("?")
        kept += [*urllib.parse.parse_qsl(query), *((name, str(value)) for name, value in more.items())]
        return _joined(own, list(dict.fromkeys(kept)))

    @property
    def origin(self) -> str:
        """Scheme and host of the service, as in the request."""
        host = next((value for name, value in self._scope["headers"] if name == b"host"), b"").decode("latin-1")
        return f"{self._scope['scheme']}://{host}{self._base}"

    def form(self, suffix: str) -> str:
        """The address of this answer in another format."""
        return _joined(f"{self.path}.{suffix}", [pair for pair in self.pairs if pair[0] != "format"])

    def pinned(self, revision: int) -> str:
        """The full address of this answer at its revision, for a printed code."""
        pairs = [pair for pair in self.pairs if pair[0] not in ("format", "as_of", "min_revision", "revision", "cite")]
        return f"{self.origin}{_joined(self.path, [*pairs, ('revision', str(revision))])}"

    def whole(self, suffix: str) -> str:
        """The full address of this answer in another format, for a terminal."""
        own = self.form(suffix).removeprefix(f"{self.path}.{suffix}")
        return f"{self.origin}{urllib.parse.quote(self.path)}.{suffix}{own}"

    def hidden(self, *without: str) -> list[tuple[str, str]]:
        """The hidden fields of a form: all parameters except those that the form shows."""
        return [(name, value) for name, value in self.pairs if name not in without and name not in ("format", "cursor")]

    def offered(self, name: str) -> list[tuple[str, str, bool]]:
        """The options for a parameter: value, label, and whether it is selected. Empty if it is typed."""
        found: list[tuple[str, str, bool]] = self._scope.get("state", {}).get("offered", {}).get(name, [])
        return found

    def fields(self) -> tuple[Field, ...]:
        """The parameters of this question; empty if no route answers it."""
        route = self._scope.get("route")
        return fields_of(route) if isinstance(route, APIRoute) else ()


def _joined(path: str, pairs: Sequence[tuple[str, str]]) -> str:
    return f"{path}?{urllib.parse.urlencode(pairs)}" if pairs else path


def fields_of(route: APIRoute) -> tuple[Field, ...]:
    """The parameters of a route that a person can fill in; format and cursor are left out."""
    if route.endpoint not in _FIELDS:
        _FIELDS[route.endpoint] = _fields(route)
    return _FIELDS[route.endpoint]


def _fields(route: APIRoute) -> tuple[Field, ...]:
    found: list[Field] = []
    for parameter in route.dependant.query_params:
        model = parameter.field_info.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            inner = [
                (str(each.validation_alias or each.alias or name), each) for name, each in model.model_fields.items()
            ]
        else:
            inner = [(parameter.alias, parameter.field_info)]
        found += [_field(name, info) for name, info in inner if name not in _MACHINERY]
    return tuple(sorted(found, key=lambda field: field.name.endswith(_UNITS) or field.name in _UNSEEN))


def carried(fields: Sequence[Field], faults: Mapping[str, str], address: Address) -> set[str]:
    """The parameters that a form carries along hidden, unless they are wrong: revision, units, and ids without options,
    because nobody types an id.
    """
    unseen = {each.name for each in fields if each.name.endswith(_UNITS) or each.name in _UNSEEN}
    return (
        unseen | {each.name for each in fields if each.name in IDS and not address.offered(each.name)}
    ) - faults.keys()


def _field(name: str, info: FieldInfo) -> Field:
    kinds = list(_kinds(info.annotation))
    choices = tuple(str(choice) for kind in kinds if get_origin(kind) is Literal for choice in get_args(kind))
    repeats = any(kind in (list, tuple) or get_origin(kind) in (list, tuple) for kind in kinds)
    return Field(name, info.description or "", choices, set(kinds) <= {int, NoneType}, repeats)


def _kinds(annotation: object) -> Iterator[object]:
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _kinds(get_args(annotation)[0])
    elif origin is Literal or origin in (list, tuple):
        yield annotation
    elif origin is not None:
        for choice in get_args(annotation):
            yield from _kinds(choice)
    else:
        yield annotation


def parameters_of(model: type[BaseModel]) -> tuple[str, ...]:
    """The parameter names of a question, so that a link to it carries no others."""
    return tuple(model.model_fields)


def repeatable(model: type[BaseModel]) -> set[str]:
    """The parameters of a question that may be given several times."""
    return {name for name, info in model.model_fields.items() if _field(name, info).repeats}


def unit_links(address: Address) -> Mapping[str, str]:
    """The address in each system of units; choosing one drops the parameters for single units."""
    single: dict[str, object] = {name: None for name, _ in address.pairs if name.endswith(_UNITS)}
    return {
        name: address.changed(**single, units=None if name == "published" else name)
        for name in ("published", "metric", "imperial")
    }
