"""The modules of app/: imports without a cycle, names with one meaning, docstrings, and few `Any`."""

import ast
from collections import defaultdict
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter

import pytest

from tests.house.modules import modules

ANY_MOST = 250
GENERIC = {"R", "S", "T", "router"}
IMPLEMENT = {"MemoryRows", "Overlay", "Snapshot"}
"""Classes that implement the protocol `Rows`, which describes their methods once."""


def imports(name: str, tree: ast.Module) -> set[str]:
    """The modules of app/ that a module imports, at the top, late, or for types only."""
    every = modules()
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            for each in node.names:
                inner = f"{node.module}.{each.name}"
                found.add(inner if inner in every else node.module)
    return {each for each in found if each in every and each != name}


def test_imports_have_no_cycle_late_and_type_only_ones_included() -> None:
    picture = {name: imports(name, tree) for name, tree in modules().items()}
    assert picture["app.main"] != set()
    try:
        TopologicalSorter(picture).prepare()
    except CycleError as found:
        pytest.fail(f"imports go round in a circle: {' -> '.join(found.args[1])}")


def test_a_late_import_is_seen() -> None:
    late = "def f():\n    from app.errors import NotFound\nif TYPE_CHECKING:\n    import app.settings\n"
    assert imports("app.x", ast.parse(late)) == {"app.errors", "app.settings"}


def public(tree: ast.Module) -> Iterator[tuple[str, ast.stmt]]:
    """Every public function, class and method, with its name inside the module."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node.name, node
            if isinstance(node, ast.ClassDef) and node.name not in IMPLEMENT:
                for inner in node.body:
                    is_function = isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef)
                    if is_function and not inner.name.startswith("_"):
                        yield f"{node.name}.{inner.name}", inner


def test_everything_public_has_a_docstring() -> None:
    without = [
        f"{module}.{name}"
        for module, tree in modules().items()
        for name, node in public(tree)
        if ast.get_docstring(node) is None  # type: ignore[arg-type]
    ]
    assert without == []


def type_names(tree: ast.Module) -> Iterator[str]:
    """The classes and type aliases that a module defines: names that begin with a capital and have no underscore."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Assign):
            yield from (each.id for each in node.targets if isinstance(each, ast.Name))
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id


def test_no_class_or_alias_has_the_name_of_another() -> None:
    where: dict[str, set[str]] = defaultdict(set)
    for module, tree in modules().items():
        for name in type_names(tree):
            if name[0].isupper() and not name.isupper() and name not in GENERIC:
                where[name].add(module)
    assert {name: sorted(found) for name, found in where.items() if len(found) > 1} == {}


def test_any_is_rare_and_in_no_answer() -> None:
    used = {
        module: sum(isinstance(node, ast.Name) and node.id == "Any" for node in ast.walk(tree))
        for module, tree in modules().items()
    }
    assert sum(used.values()) <= ANY_MOST
    answers = [module for module in used if module.startswith("app.questions.") and module.endswith("views")]
    assert {module: used[module] for module in answers if used[module] and _in_answer(modules()[module])} == {}


def _in_answer(tree: ast.Module) -> bool:
    """Whether a member of an answer is untyped."""
    shapes = [node for node in tree.body if isinstance(node, ast.ClassDef)]
    members = [each for node in shapes for each in node.body if isinstance(each, ast.AnnAssign)]
    return any("Any" in ast.unparse(each.annotation) for each in members)
