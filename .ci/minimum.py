"""Write the oldest versions that pyproject.toml allows, as a constraints file: ``python .ci/minimum.py``.

`.ci/minimum` runs the tests with them; a test fails when the file is behind the bounds.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
_BOUND = re.compile(r"(?P<name>[\w.-]+)(?:>=|==)(?P<version>[\w.*]+)")


def oldest() -> str:
    """Return one line a package that the package itself or an extra asks for."""
    project = tomllib.loads((HERE.parent / "pyproject.toml").read_text("utf-8"))["project"]
    asked = [*project["dependencies"], *(r for extra in project["optional-dependencies"].values() for r in extra)]
    bounds = [_BOUND.fullmatch(requirement) for requirement in asked]
    lacking = [r for r, bound in zip(asked, bounds, strict=True) if bound is None]
    if lacking:
        raise ValueError(f"no lower bound: {', '.join(lacking)}")
    return "".join(sorted(f"{bound['name']}=={bound['version']}\n" for bound in bounds if bound is not None))


if __name__ == "__main__":
    (HERE / "minimum.txt").write_text(oldest(), encoding="utf-8")
