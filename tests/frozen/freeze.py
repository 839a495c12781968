"""Write anew what each farm computes: ``python tests/frozen/freeze.py`` after a change that is meant.

Names of farms as arguments write only those. Look through the difference before it is committed: each line is one
value. Where only rows of the choice change (haul, stored, alternative) and the total cost does not, two plans cost
the same and the solver took the other.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from frozen_farms import LONG, SHORT, computed, frozen_path, real_field_is_here, write_made_farm
from frozen_values import differences, read_values, write_values


def main(names: list[str]) -> None:
    """Write the tables of the farms named, or of all; say how long each took and how many values differ."""
    with tempfile.TemporaryDirectory() as folder:
        write_made_farm(Path(folder))
        for name in names or [*SHORT, *LONG]:
            if name == "real_field" and not real_field_is_here():
                print(f"{name}: not beside this checkout, left as it is")
                continue
            began = time.process_time()
            values = computed(name, Path(folder))
            took, path = time.process_time() - began, frozen_path(name)
            changed = len(differences(read_values(path) if path.is_file() else [], values))
            write_values(values, path)
            print(f"{name}: {took:.1f} s of processor time, {len(values)} values, {changed} changed")


if __name__ == "__main__":
    main(sys.argv[1:])
