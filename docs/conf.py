"""How the pages of this folder become a site: ``sphinx-build -W -b html docs docs/_build``."""

import stovergeo

project = "stovergeo"
author = "The stovergeo developers"
release = version = stovergeo.__version__
html_title = f"stovergeo {release}"
html_theme = "furo"
html_copy_source = False

extensions = ["myst_nb", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
source_suffix = {".md": "myst-nb", ".ipynb": "myst-nb"}
exclude_patterns = ["_build"]

myst_heading_anchors = 3

nb_execution_mode = "force"  # the notebook is kept without results; the page shows what it gives today
nb_execution_timeout = 300
nb_execution_raise_on_error = True
nb_merge_streams = True

default_role = "py:obj"  # a name in single backticks becomes a link where there is one
autodoc_default_options = {"members": True, "member-order": "groupwise"}
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
napoleon_google_docstring = False
napoleon_use_rtype = False

# "array, shape (n,)" is no reference to the attribute `shape` of some class
suppress_warnings = ["ref.python"]
