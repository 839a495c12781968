"""A sound answer of a landowner, for tests to read and to spoil."""

YARD = [[[[-93.632, 42.049], [-93.631, 42.049], [-93.631, 42.051], [-93.632, 42.051], [-93.632, 42.049]]]]
AREA = [[[-93.635, 42.05], [-93.634, 42.05], [-93.634, 42.051], [-93.635, 42.05]]]
GOOD = {
    "type": "FeatureCollection",
    "stovergeo_answer": 1,
    "plan_key": "0123456789ab",
    "season": 2026,
    "said_by": "Robin",
    "written": "2026-11-25",
    "features": [
        {
            "type": "Feature",
            "properties": {"kind": "yard", "yard_id": "Y1", "answer": "no", "note": "too near the house"},
            "geometry": {"type": "MultiPolygon", "coordinates": YARD},
        },
        {
            "type": "Feature",
            "properties": {"kind": "no_go", "note": "old well"},
            "geometry": {"type": "Polygon", "coordinates": AREA},
        },
        {
            "type": "Feature",
            "properties": {"kind": "pin", "note": "gate sticks"},
            "geometry": {"type": "Point", "coordinates": [-93.63, 42.05]},
        },
    ],
}
