"""``map.html``: one file, no network. folium sets up the map; all that is the farm's comes from the data island.

folium hands text through a template engine, so no text from an untrusted file may
go through it: it gets numbers and a picture only. The page's own scripts read everything
else from an inert JSON island and write it as text nodes.
"""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import Final

import branca.element
import folium
import jinja2
import numpy as np
from markupsafe import Markup

from stovergeo.core.printing import UNIT_SYSTEMS
from stovergeo.report.bare_page import filled, hash_of, page_file
from stovergeo.report.blocks import plain
from stovergeo.report.drawing import Drawing, north_turn_deg
from stovergeo.report.ledger import Ledger
from stovergeo.report.overview import overview
from stovergeo.report.page_data import frame_of, island, page_data
from stovergeo.report.page_yards import part_of
from stovergeo.report.pictures import backdrop
from stovergeo.report.where import as_where_it_lies
from stovergeo.result import SeasonResult

#: the page's own scripts, in the order they run: the words first, the map after Leaflet
WORDS: Final = ("read.js", "words.js")
_AFTER_LEAFLET: Final = "blocks patterns rasters farm themes labels yards tiles panel answer paper start"
SCRIPTS: Final = tuple(f"{name}.js" for name in _AFTER_LEAFLET.split())
STYLES: Final = ("page.css", "map.css", "drawing.css", "print.css")


class FarmMap(folium.Map):
    """A folium map that loads nothing: no tiles, no script or style from elsewhere, plain meters as coordinates."""

    default_js: list = []  # noqa: RUF012  read by folium as class attributes
    default_css: list = []  # noqa: RUF012
    _template = jinja2.Template(
        "{% macro script(this, kwargs) %}"
        "var {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {"
        "crs: L.CRS.Simple, minZoom: -8, maxZoom: 5, zoomSnap: 0.25, zoomDelta: 0.5, attributionControl: false, "
        "center: {{ this.location|tojson }}, zoom: {{ this.options['zoom'] }}});"
        "{% endmacro %}"
    )

    def __init__(self, width_m: float, height_m: float) -> None:
        super().__init__(location=[height_m / 2, width_m / 2], tiles=None, zoom_start=-1, crs="Simple")
        self._id = "farm"  # a fixed name: the same plan gives the same bytes


def map_script(width_m: float, height_m: float, picture: np.ndarray | None) -> str:
    """Return the script that sets up the map with its backdrop, as folium writes it."""
    farm_map = FarmMap(width_m, height_m)
    if picture is not None:
        overlay = folium.raster_layers.ImageOverlay(picture, [[0, 0], [height_m, width_m]], origin="upper")
        overlay._id = "backdrop"
        overlay.add_to(farm_map)
    figure = branca.element.Figure()
    farm_map.add_to(figure)
    figure.render()
    return figure.script.render()


@cache
def _leaflet() -> tuple[str, str]:
    """Return Leaflet's script and style, made to load nothing."""
    where = files("js_lib_leaflet").joinpath("static", "js_lib_leaflet")
    script = where.joinpath("leaflet.js").read_text("utf-8")
    script = re.sub(r"^//# sourceMappingURL=.*$", "", script, flags=re.MULTILINE).strip()
    style = where.joinpath("leaflet.css").read_text("utf-8")
    style = re.sub(r"url\(images/[^)]*\)", "none", style)  # pictures of controls this page does not use
    if "</script" in script.lower() or "</style" in style.lower():
        raise ValueError("Leaflet's files cannot be put inside a page")
    return script, style


@as_where_it_lies
def landowner_page(result: SeasonResult, ledger: Ledger) -> str:
    """Return the landowner's map as one HTML page."""
    frame = frame_of(result)
    leaflet_script, leaflet_style = _leaflet()
    farm_script = map_script(frame.width, frame.height, backdrop(overview(result)))
    words, own = ("'use strict';\n" + "\n".join(page_file(n) for n in names) for names in (WORDS, SCRIPTS))
    scripts = [words, leaflet_script, farm_script, own]
    styles = [leaflet_style, *(page_file(n) for n in STYLES)]
    page = filled(
        "page.html",
        policy=_policy(scripts, styles, result.plan.report.tiles_origin),
        styles=map(Markup, styles),
        drawings=_yard_drawings(result),
        data=Markup(island(page_data(result, ledger))),
        scripts=map(Markup, scripts),
    )
    return str(page)


def _policy(scripts: list[str], styles: list[str], tiles_origin: str | None) -> Markup:
    """Return the content-security policy: only these very scripts and styles run, nothing is loaded.

    Pictures of one host may be, where the plan asks for them.
    """
    script_hashes, style_hashes = (Markup(" ".join(map(hash_of, texts))) for texts in (scripts, styles))
    return Markup(
        "default-src 'none'; script-src {}; style-src {}; img-src data: blob: {}; base-uri 'none'; form-action 'none'"
    ).format(script_hashes, style_hashes, tiles_origin or "")


def _yard_drawings(result: SeasonResult) -> list[tuple[int, str, Markup]]:
    """Return the drawing of each yard in each unit system, with its number and the system's name."""
    drawings = []
    for number, yard in enumerate(result.yards.itertuples()):
        middle = yard.geometry.centroid
        turn = north_turn_deg(result.crs, middle.x, middle.y)
        drawing = Drawing(yard.geometry.bounds, 360, plain("page.yard.drawing", yard=yard.yard_id), f"y{number}-")
        drawing.shape(yard.geometry, "d-yard")
        for table, look in (
            (result.siting.lanes, "d-lane"),
            (result.siting.apron, "d-apron"),
            (result.siting.stacks, "d-row"),
        ):
            for shape in part_of(table, yard.yard_id):
                drawing.shape(shape, look)
        for apron in part_of(result.siting.apron, yard.yard_id):
            drawing.label(apron.centroid, plain("page.yard.trucks"))
        drawings += [(number, units, drawing.svg(units, turn)) for units in UNIT_SYSTEMS]
    return drawings
