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

DOORS = [name for name in stovergeo.__all__ if name != "__version__"]
FUNCTIONS = [name for name in DOORS if inspect.isfunction(getattr(stovergeo, name))]
ROOMS = tuple(stovergeo._BY_ROOM)
FLAGS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
PAGE = Path(__file__).parents[2] / "docs" / "use-a-room.md"


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
    assert sorted(name for _, name in imports) == sorted(DOORS)
    for room, name in imports:
        assert getattr(stovergeo, name) is getattr(import_module(str(room)), name)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no_such_door"):
        stovergeo.no_such_door  # noqa: B018
    assert set(DOORS) <= set(dir(stovergeo))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_front_door_says_what_it_takes_and_gives_and_shows_it(name: str) -> None:
    assert docstring.faults(getattr(stovergeo, name), door=True) == []


@pytest.mark.parametrize("name", DOORS)
def test_a_front_door_shows_an_example(name: str) -> None:
    found = doctest.DocTestFinder(recurse=False).find(getattr(stovergeo, name), name, globs={})
    assert any(test.examples for test in found), f"{name} shows no example"


@pytest.mark.parametrize("room", ROOMS)
def test_what_a_room_lists_as_parameters_is_what_it_takes(room: str) -> None:
    module = import_module(f"stovergeo.{room}")
    own = [name for name, thing in vars(module).items() if getattr(thing, "__module__", "") == module.__name__]
    public = [name for name in getattr(module, "__all__", own) if not name.startswith("_")]
    functions = {name: getattr(module, name) for name in public if inspect.isfunction(getattr(module, name))}
    found = {name: docstring.faults(function, door=False) for name, function in functions.items()}
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


def test_the_page_lists_every_front_door() -> None:
    shown = re.findall(r"autofunction:: stovergeo\.(\w+)|autoclass:: stovergeo\.(\w+)", PAGE.read_text("utf-8"))
    assert sorted("".join(pair) for pair in shown) == sorted(DOORS)


def test_what_the_page_shows_runs() -> None:
    blocks = re.findall(r"```pycon\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    test = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, PAGE.name, str(PAGE), 0)
    assert len(test.examples) >= 8
    assert doctest.DocTestRunner(optionflags=FLAGS).run(test).failed == 0
