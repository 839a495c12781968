"""The names of `stovergeo.__all__`: lazy, documented, each with an example that runs."""

from __future__ import annotations

import ast
import doctest
import inspect
import re
from importlib import import_module
from pathlib import Path

import docstring
import pytest

import stovergeo

NAMES = [name for name in stovergeo.__all__ if name != "__version__"]
FUNCTIONS = [name for name in NAMES if inspect.isfunction(getattr(stovergeo, name))]
PACKAGES = tuple(stovergeo._BY_PACKAGE)
FLAGS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
PAGE = Path(__file__).parents[2] / "docs" / "use-a-package.md"


def test_type_checkers_see_the_names_that_are_there() -> None:
    tree = ast.parse(Path(inspect.getfile(stovergeo)).read_text("utf-8"))
    imports = [
        (node.module, alias.name)
        for block in ast.walk(tree)
        if isinstance(block, ast.If) and ast.unparse(block.test) == "TYPE_CHECKING"
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    ]
    assert sorted(name for _, name in imports) == sorted(NAMES)
    for package, name in imports:
        assert getattr(stovergeo, name) is getattr(import_module(str(package)), name)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        stovergeo.no_such_name  # noqa: B018
    assert set(NAMES) <= set(dir(stovergeo))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_documents_what_it_takes_and_gives_and_shows_it(name: str) -> None:
    assert docstring.faults(getattr(stovergeo, name), public=True) == []


@pytest.mark.parametrize("name", NAMES)
def test_a_public_name_shows_an_example(name: str) -> None:
    found = doctest.DocTestFinder(recurse=False).find(getattr(stovergeo, name), name, globs={})
    assert any(test.examples for test in found), f"{name} shows no example"


@pytest.mark.parametrize("package", PACKAGES)
def test_the_parameters_in_a_docstring_are_those_of_the_function(package: str) -> None:
    module = import_module(f"stovergeo.{package}")
    own = [name for name, thing in vars(module).items() if getattr(thing, "__module__", "") == module.__name__]
    public = [name for name in getattr(module, "__all__", own) if not name.startswith("_")]
    functions = {name: getattr(module, name) for name in public if inspect.isfunction(getattr(module, name))}
    found = {name: docstring.faults(function, public=False) for name, function in functions.items()}
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


def test_the_page_lists_every_public_name() -> None:
    shown = re.findall(r"autofunction:: stovergeo\.(\w+)|autoclass:: stovergeo\.(\w+)", PAGE.read_text("utf-8"))
    assert sorted("".join(pair) for pair in shown) == sorted(NAMES)


def test_what_the_page_shows_runs() -> None:
    blocks = re.findall(r"```pycon\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    test = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, PAGE.name, str(PAGE), 0)
    assert len(test.examples) >= 8
    assert doctest.DocTestRunner(optionflags=FLAGS).run(test).failed == 0
