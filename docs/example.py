"""The sample farm, room by room: what may leave one field, why, and in which zones."""

# %% The plan and its layers, read and checked
from stovergeo import layers, residue, terrain, yieldmap, zones
from stovergeo.errors import Report
from stovergeo.handbook import load_handbook
from stovergeo.plan_file import read_plan
from stovergeo.season import sample_plan_path
from stovergeo.stack import new_stack, put, total

report = Report()
plan = read_plan(sample_plan_path(), report)
farm = layers.read_layers(plan, report)
report.stop_if_refused()
book = load_handbook(plan.handbook)
fields = farm.fields.iloc[[0]]
print(f"{len(farm.points):,} raw records; the first field has {fields['area_ha'].sum():.1f} ha")

# %% One grid for everything; soils and heights laid onto it
grid = layers.farm_grid(fields, None, farm.crs, plan.farm.cell_m, margin_m=20)
stack = layers.put_layers(new_stack(grid), farm, fields)

# %% Raw points to grain, with its error
near = farm.points.cx[slice(*stack.x.values[[0, -1]]), slice(*stack.y.values[[-1, 0]])]
cleaned = yieldmap.clean_points(near, book, report)
print(cleaned.counts[["title", "points", "share"]].to_string(index=False))
surface = yieldmap.grain_surface(cleaned.points, fields, stack, book, removed=cleaned.removed)
stack = put(stack, grain_mg_ha=surface.grain, grain_error_mg_ha=surface.error)
print(f"grain: {total(stack, 'grain_mg_ha'):.0f} Mg dry; blocks left out are met to "
      f"{surface.report['cv_rmse_mg_ha']:.2f} Mg/ha")  # fmt: skip

# %% Slope and water
stack = put(stack, **terrain.slope_aspect(stack["elevation_m"]))
stack = put(stack, **terrain.water(stack["elevation_m"], book=book))

# %% What must stay, by which rule, and what may leave
options = residue.RuleOptions(plan.crop, plan.limits, book)
stack = residue.limits(stack, options, report)
rules = stack["binding_rule"].attrs["rules"]
for number, rule in enumerate(rules):
    ha = float(stack["cell_area_ha"].where(stack["binding_rule"] == number).sum())
    print(f"{rule:20} binds on {ha:5.1f} ha")
print(f"{total(stack, 'removable_mg_ha'):.0f} of {total(stack, 'stover_mg_ha'):.0f} Mg stover may leave")

# %% The same by hand, for a yield of 10 Mg/ha: formulas take numbers, not plans
stover = residue.stover(10.0, slope=book.value("residue.slope"), intercept=book.value("residue.intercept"))
print(f"10 Mg/ha of grain leave {stover:.2f} Mg/ha of stover")

# %% Ground that one crew can gather one way
drawn = zones.make_zones(
    stack,
    fields,
    working_width_m=plan.gather.working_width_m,
    smallest_zone_ha=plan.gather.smallest_zone_ha,
    options=zones.zone_options(book),
)
print(drawn[["zone_id", "area_ha", "stover_mg_ha", "removable_mg_ha", "reason"]].to_string(index=False))

# %% Which numbers this rested on, and how far each can be trusted
for coefficient in book.used()[:5]:
    print(
        f"{coefficient.key} = {coefficient.value:g} {coefficient.unit} ({coefficient.standing}): {coefficient.source}"
    )
