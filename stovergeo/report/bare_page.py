"""Pages from templates that take every text as text; bare pages load nothing and may run nothing."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

from stovergeo.report.blocks import caption, label, plain


def bare_page(title: str, styles: tuple[str, ...], template: str, **values: Any) -> str:
    """Return a whole HTML page without scripts.

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
    style = "\n".join(page_file(name) for name in styles)
    body = filled(template, title=title, **values)
    return str(filled("bare.html", title=title, hash=Markup(hash_of(style)), style=Markup(style), body=body)) + "\n"


def filled(template: str, **values: Any) -> Markup:
    """Return a template with its values, each escaped unless it is markup already."""
    return Markup(_templates().get_template(template).render(values))


def hash_of(text: str) -> str:
    """Return what a content-security policy names a script or a style by."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


@cache
def page_file(name: str) -> str:
    """Return the text of one of our own scripts, style sheets or templates."""
    return files("stovergeo.report").joinpath("page", name).read_text("utf-8")


@cache
def _templates() -> jinja2.Environment:
    made = jinja2.Environment(
        loader=jinja2.FunctionLoader(page_file), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
    made.globals |= {"label": label, "caption": caption, "text": lambda key, **values: plain(key, **values)}
    return made
