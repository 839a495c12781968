"""The way out: the landowner's map, the crew sheet, the files, the terminal table, the landowner's answer.

This room knows no science: everything it shows arrives as data and words in a `SeasonResult`.
"""

from stovergeo.share.outputs import NAMES, prepare_outputs, write_outputs
from stovergeo.share.terminal import grower_table

__all__ = ["NAMES", "grower_table", "prepare_outputs", "write_outputs"]
