"""One season of one farm, from plan file to result: the only package that knows the whole workflow.

`run` walks it; `ground` turns layers into grain, slope, water and sun on the grid; `tables` puts the joint
choice into the tables; `story` adds up and says what no single package can.
"""

from stovergeo.workflow.run import check_season, replan_with_answer, run_season, sample_plan_path

__all__ = ["check_season", "replan_with_answer", "run_season", "sample_plan_path"]
