"""Pages that load nothing and may run nothing, from templates that take every text as text."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup


def bare_page(title: str, styles: tuple[str, ...], template: str, **values: Any) -> str:
    """Return a whole HTML page.

    Parameters
    ----------
    title : str
    styles : tuple of str
        Names of our own style sheets, put into the page.
    template : str
        Name of the template of its body.
    **values
        What goes into the template, with `title`. All of it is text, and escaped, but what is `markupsafe.Markup`.
    """
    style = "\n".join(_page_file(name) for name in styles)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    body = Markup(_templates().get_template(template).render(title=title, **values))
    shell = _templates().get_template("bare.html")
    return shell.render(title=title, digest=Markup(digest), style=Markup(style), body=body) + "\n"


def _page_file(name: str) -> str:
    return files("stovergeo.report").joinpath("page", name).read_text("utf-8")


@cache
def _templates() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(_page_file), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
