"""One season of one farm, from plan file to result: the only room that knows the whole way.

`run` walks it; `ground` turns layers into grain, slope, water and sun on the grid; `tables` puts the joint
choice into the tables; `story` adds up and says what no single room can.
"""

from stovergeo.workflow.run import check_season, replan_with_answer, run_season, sample_plan_path

__all__ = ["check_season", "replan_with_answer", "run_season", "sample_plan_path"]
