"""Reports: the landowner's map, the crew sheet, the files, the terminal table, the landowner's answer.

This package knows no science: everything it shows arrives as data and messages in a `SeasonResult`.
"""

from stovergeo.report.answer import Answer, add_answer, read_answer
from stovergeo.report.compare import compare_plans, comparison_table
from stovergeo.report.compare_page import comparison_page, refuse_page_place, write_comparison
from stovergeo.report.compare_record import read_two
from stovergeo.report.outputs import ANSWER_NAMES, NAMES, NO_GO_NAME, refuse_existing, write_outputs
from stovergeo.report.page_data import plan_key
from stovergeo.report.terminal import grower_table

__all__ = [
    "ANSWER_NAMES",
    "NAMES",
    "NO_GO_NAME",
    "Answer",
    "add_answer",
    "compare_plans",
    "comparison_page",
    "comparison_table",
    "grower_table",
    "plan_key",
    "read_answer",
    "read_two",
    "refuse_existing",
    "refuse_page_place",
    "write_comparison",
    "write_outputs",
]
