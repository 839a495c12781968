"""The handbook: every coefficient as data, with its spread, its source and its standing.

Coefficients live in the TOML files of ``data``, one file a topic. Formulas take
numbers as arguments and never open the handbook; the packages' public functions and `workflow` look
the numbers up, which also records that they were used, so that a run can print its sources.
"""

from stovergeo.core.coefficients.handbook import Coefficient, Handbook, Standing, load_handbook

__all__ = ["Coefficient", "Handbook", "Standing", "load_handbook"]
