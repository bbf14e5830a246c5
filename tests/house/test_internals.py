"""No private part of another package is used; undocumented parts that are used are named here, with bounds."""

import ast
import inspect
import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import version

import pytest
from fastapi.dependencies.models import Dependant
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from tests.house.modules import modules

BOUNDED = {"fastapi", "uvicorn"}
OWN = ("self", "cls")
"""Receivers whose names are ours, if a class of ours defines them."""
NAMEDTUPLE = {"_replace", "_asdict", "_fields"}  # documented: collections.namedtuple
PUBLIC_DUNDERS = {"__pydantic_init_subclass__"}  # documented: pydantic.BaseModel

# app.web.server.connection relies on these attributes of uvicorn's two protocols.
OF_BOTH = ("app_state", "connections", "cycle", "flow", "loop", "scope", "timeout_keep_alive_task", "transport")
CALLBACKS = ("on_message_begin", "on_headers_complete", "on_message_complete")


def private_uses(tree: ast.Module, ours: set[str]) -> Iterator[str]:
    """Each private name that a module takes from elsewhere."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and _private(node.attr) and node.attr not in ours | NAMEDTUPLE:
            if node.attr != "_exit" or ast.unparse(node.value) != "os":  # documented: os._exit
                yield f"{node.lineno}: {ast.unparse(node)}"
        elif isinstance(node, ast.ImportFrom) and node.module and not node.module.startswith("app"):
            names = [*node.module.split("."), *(each.name for each in node.names)]
            yield from (f"{node.lineno}: {node.module} {name}" for name in names if _private(name))
        elif isinstance(node, ast.Constant) and re.fullmatch(r"__(pydantic|sqlmodel)_\w+__", str(node.value)):
            yield f"{node.lineno}: {node.value}"


def _private(name: str) -> bool:
    dunder = name.startswith("__") and name.endswith("__")
    if dunder:
        return name.startswith(("__pydantic_", "__sqlmodel_")) and name not in PUBLIC_DUNDERS
    return name.startswith("_") and name != "_"


def defined(trees: Iterator[ast.Module]) -> set[str]:
    """Every name that a module of ours defines or assigns."""
    names: set[str] = set()
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                names.add(node.name)
            elif isinstance(node, ast.Attribute | ast.Name) and isinstance(node.ctx, ast.Store):
                names.add(node.attr if isinstance(node, ast.Attribute) else node.id)
    return names


def test_no_private_part_of_another_package_is_used() -> None:
    every = modules()
    ours = defined(iter(every.values()))
    assert {name: uses for name, tree in every.items() if (uses := [*private_uses(tree, ours)])} == {}


@pytest.mark.parametrize(
    "code",
    ["from asyncio import _get_running_loop", "import asyncio\nasyncio._get_running_loop()", "x['__pydantic_extra__']",
     "from sqlmodel._compat import SQLModelConfig"],
)  # fmt: skip
def test_a_private_use_is_found(code: str) -> None:
    assert [*private_uses(ast.parse(code), set())] != []


@pytest.mark.parametrize("protocol", [H11Protocol, HttpToolsProtocol])
def test_uvicorn_has_what_the_clocks_of_a_connection_build_on(protocol: type) -> None:
    made = inspect.getsource(protocol)
    assert [name for name in OF_BOTH if f"self.{name}" not in made] == []
    assert callable(protocol.data_received)  # type: ignore[attr-defined]
    if protocol is HttpToolsProtocol:
        assert [name for name in CALLBACKS if not hasattr(protocol, name)] == []
    else:
        assert "self.conn" in made


def test_fastapi_has_what_the_reading_of_parameters_builds_on() -> None:
    assert {"query_params", "path", "dependencies"} <= {*Dependant.__dataclass_fields__}


def test_the_packages_built_on_closely_have_an_upper_bound() -> None:
    with open("pyproject.toml", "rb") as file:
        stated = tomllib.load(file)["project"]["dependencies"]
    bounds = {re.split(r"[\[<>=]", each)[0]: each for each in stated}
    assert {name for name in BOUNDED if "<" not in bounds[name]} == set()
    for name in BOUNDED:
        most = bounds[name].rpartition("<")[2]
        assert tuple(map(int, version(name).split(".")[:2])) < tuple(map(int, most.split(".")))
