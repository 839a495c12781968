"""The shell of a page that loads nothing and may run nothing."""

from __future__ import annotations

import base64
import hashlib
from html import escape
from importlib.resources import files


def bare_page(title: str, styles: tuple[str, ...], body: str) -> str:
    """Return a whole HTML page.

    Parameters
    ----------
    title : str
        Escaped here.
    styles : tuple of str
        Names of our own style sheets, put into the page.
    body : str
        HTML, its texts escaped already.
    """
    style = "\n".join(files("stovergeo.report").joinpath("page", name).read_text("utf-8") for name in styles)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'sha256-{digest}'; "
        "base-uri 'none'; form-action 'none'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head><body><main>{body}</main></body></html>\n"
    )
