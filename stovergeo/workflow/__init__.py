"""One season of one farm, from plan file to result: the only package that knows the whole workflow.

`run` walks it, step by step (`steps`), and `assemble` makes the result; `answered` plans again with the landowner's
answer. `checks` finds what is wrong before any number is computed, `ground` turns layers into grain, slope, water and
sun on the grid, `weather` and `baling_window`
replay past autumns, `tables` puts the joint choice into the tables, `story` says what no single package can.
"""

from stovergeo.workflow.answered import replan_with_answer
from stovergeo.workflow.baling_window import bale_window
from stovergeo.workflow.progress import begin
from stovergeo.workflow.run import check_season, run_season, sample_plan_path

__all__ = ["bale_window", "begin", "check_season", "replan_with_answer", "run_season", "sample_plan_path"]
