"""Files made to have another file read, the network called or the memory filled: all are refused when they are opened.

A trap server listens on the loopback, and a canary file lies beside the layers; no case may touch either.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import zipfile
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine

CANARY = "4242.4242"
FEATURE = (
    '{"type":"Feature","properties":{"name":"a"},"geometry":{"type":"Polygon","coordinates":'
    "[[[-93.99,43.92],[-93.98,43.92],[-93.98,43.93],[-93.99,43.93],[-93.99,43.92]]]}}"
)


@pytest.fixture(scope="module")
def server() -> Iterator[tuple[str, list[str]]]:
    """Return the address of a server on the loopback and the list of what was asked of it."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def answer(self) -> None:
            asked.append(self.path)
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b'{"type":"FeatureCollection","features":[' + FEATURE.encode() + b"]}")

        do_GET = do_HEAD = do_POST = answer  # noqa: N815  the names the library calls

        def log_message(self, *args: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()


@pytest.fixture
def trap(server) -> tuple[str, list[str]]:
    server[1].clear()
    return server


@pytest.fixture
def canary(farm, ground) -> Path:
    """A raster and a vector file that only a redirected driver would read."""
    farm.write_raster(np.full_like(ground, float(CANARY)), "canary.tif")
    place = shapely.box(420_000, 4_864_000, 420_123, 4_864_123)
    gpd.GeoDataFrame({"name": ["CANARY"]}, geometry=[place], crs=32615).to_file(farm.folder / "canary.gpkg")
    return farm.folder


def untouched(farm, layers, asked: list[str]) -> None:
    assert asked == []
    if layers is not None:
        assert layers.fields is None or "CANARY" not in set(layers.fields["name"])
        for raster in (layers.elevation, layers.surface, layers.yield_raster):
            assert raster is None or not np.isclose(float(np.nanmax(raster)), float(CANARY), atol=1)
    assert not any("CANARY" in str(p) for p in farm.report)


@pytest.mark.parametrize(
    "path",
    [
        "{url}/fields.geojson",
        "zip+{url}/fields.zip",
        "/vsicurl/{url}/fields.geojson",
        "/vsicurl?url={url}/fields.geojson",
        "/vsizip//vsicurl/{url}/f.zip",
        "s3://bucket/fields.gpkg",
        "/vsis3/bucket/fields.gpkg",
        "GPKG:canary.gpkg:canary",
        "GTIFF_DIR:1:canary.tif",
        "WFS:{url}",
        "PG:host=127.0.0.1",
        "file://canary.gpkg",
        "/vsisubfile/0,canary.gpkg",
        "/vsizip/canary.zip/canary.gpkg",
        "sub/../vsizip/../canary.gpkg/vsimem/",
        FEATURE,
        " [1]",
        "<OGRVRTDataSource/>",
        "canary\n.gpkg",
        "can\x00ary.gpkg",
        "   ",
        "~/fields.gpkg",
        "fields.gpkg?layer=a",
    ],
)
def test_a_path_that_is_no_local_file(farm, canary, trap, path):
    url, asked = trap
    for key in ("fields", "elevation", "yield_points"):
        farm.layers[key]["path"] = path.format(url=url) if "{url}" in path else path
    layers = farm.read()
    untouched(farm, layers, asked)
    codes = [p.code for p in farm.report.refused]
    assert len(codes) == 3  # each of the three is refused for itself
    assert set(codes) <= {"path.remote", "path.unsafe", "file.missing"}


FILES: list[Callable] = []


def hostile(make: Callable) -> Callable:
    FILES.append(make)
    return make


@pytest.mark.parametrize("make", FILES, ids=lambda f: f.__name__)
def test_a_hostile_file_under_any_name(farm, canary, trap, make):
    url, asked = trap
    # each file under one of the names, in turn, so that none is known by its name
    path = farm.folder / f"hostile.{('gpkg', 'tif', 'csv', 'geojson')[FILES.index(make) % 4]}"
    make(path, farm, url)
    for key in ("fields", "elevation", "yield_points"):
        farm.layers[key]["path"] = path.name
    layers = farm.read()
    untouched(farm, layers, asked)
    assert len(farm.report.refused) >= 3
    for problem in farm.report.refused:
        assert problem.what
        assert problem.cure


@hostile
def raster_vrt(path, farm, url):
    path.write_text(
        '<VRTDataset rasterXSize="240" rasterYSize="180"><SRS>EPSG:32615</SRS>'
        "<GeoTransform>419800,5,0,4864600,0,-5</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        '<SourceFilename relativeToVRT="1">canary.tif</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )


@hostile
def raster_vrt_after_a_comment(path, farm, url):
    raster_vrt(path, farm, url)
    path.write_text("<!-- a map -->\n" + path.read_text())


@hostile
def vector_vrt(path, farm, url):
    path.write_text(
        '<OGRVRTDataSource><OGRVRTLayer name="fields"><SrcDataSource relativeToVRT="1">canary.gpkg</SrcDataSource>'
        "<SrcLayer>canary</SrcLayer></OGRVRTLayer></OGRVRTDataSource>"
    )


@hostile
def vector_vrt_to_the_network(path, farm, url):
    path.write_text(
        f'<OGRVRTDataSource><OGRVRTLayer name="fields"><SrcDataSource>/vsicurl/{url}/f.json</SrcDataSource>'
        "</OGRVRTLayer></OGRVRTDataSource>"
    )


@hostile
def streamed_algorithm(path, farm, url):
    path.write_text('{"type": "gdal_streamed_alg", "command_line": "gdal vector filter canary.gpkg"}')


@hostile
def web_map_service(path, farm, url):
    path.write_text(f'<GDAL_WMS><Service name="TMS"><ServerUrl>{url}/${{z}}</ServerUrl></Service></GDAL_WMS>')


@hostile
def web_feature_service(path, farm, url):
    path.write_text(f"<OGRWFSDataSource><URL>{url}</URL></OGRWFSDataSource>")


@hostile
def geojson_with_a_linked_crs(path, farm, url):
    link = f'{{"type":"link","properties":{{"href":"{url}/crs","type":"ogcwkt"}}}}'
    path.write_text(f'{{"type":"FeatureCollection","crs":{link},"features":[{FEATURE}]}}')


@hostile
def geojson_with_a_linked_crs_in_disguise(path, farm, url):
    link = f'{{"\\u0074ype":"l\\u0069nk","properties":{{"href":"{url}/crs","type":"ogcwkt"}}}}'
    path.write_text(f'{{"type":"FeatureCollection","features":[{FEATURE}],"\\u0063rs":{link}}}')


@hostile
def features_with_a_linked_crs(path, farm, url):
    reference = f'"coordRefSys":"{url}/def/crs/EPSG/0/4326"'
    path.write_text(
        f'{{"type":"FeatureCollection","conformsTo":["[ogc-json-fg-1-0.1:core]"],{reference},"features":[{FEATURE}]}}'
    )


@hostile
def kml_that_names_a_file_as_entity(path, farm, url):
    path.write_text(
        f'<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY x SYSTEM "file://{farm.folder}/canary.gpkg">]>'
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>&x;</name></Placemark></kml>'
    )


@hostile
def kml_that_grows_without_end(path, farm, url):
    grow = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
    path.write_text(f'<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY l0 "ha">{grow}]><kml><name>&l9;</name></kml>')


@hostile
def kml_with_entities_in_utf16(path, farm, url):
    path.write_bytes('<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY x "y">]><kml>&x;</kml>'.encode("utf-16"))


@hostile
def kml_that_links_to_the_network(path, farm, url):
    path.write_text(
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><NetworkLink><Link>'
        f"<href>{url}/fields.kml</href></Link></NetworkLink></kml>"
    )


@hostile
def gml_with_a_schema_on_the_network(path, farm, url):
    path.write_text(
        f'<ogr:FeatureCollection xmlns:ogr="http://ogr" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
        f'xsi:schemaLocation="http://ogr {url}/f.xsd"/>'
    )


@hostile
def zip_that_unpacks_to_a_thousand_times_its_size(path, farm, url):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"0" * 30_000_000)


@hostile
def zip_of_very_many_files(path, farm, url):
    with zipfile.ZipFile(path, "w") as archive:
        for i in range(2000):
            archive.writestr(f"xl/{i}.xml", b"")


@hostile
def zip_that_writes_elsewhere(path, farm, url):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("../../etc/fields.shp", b"x")


@hostile
def zip_with_a_wrong_checksum(path, farm, url):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("xl/workbook.xml", b"<workbook/>" * 50)
    data = bytearray(path.read_bytes())
    data[80] ^= 0xFF
    path.write_bytes(bytes(data))


@hostile
def spreadsheet_with_entities(path, farm, url):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", f'<!DOCTYPE x [<!ENTITY e SYSTEM "{url}/e">]><workbook>&e;</workbook>')


@hostile
def spreadsheet_of_nothing(path, farm, url):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")


@hostile
def raster_of_forty_thousand_squared(path, farm, url):
    import rasterio

    wide = {"width": 40_000, "height": 40_000, "count": 1, "dtype": "float32", "crs": 32615}
    shape = Affine(0.05, 0, 419_800, 0, -0.05, 4_864_600)
    with rasterio.open(
        path, "w", driver="GTiff", transform=shape, sparse_ok=True, blockysize=40_000, compress="deflate", **wide
    ):
        pass


@hostile
def cut_short_geopackage(path, farm, url):
    path.write_bytes((farm.folder / "canary.gpkg").read_bytes()[:5000])


@hostile
def geopackage_without_tables(path, farm, url):
    base = sqlite3.connect(path)
    base.execute("PRAGMA application_id = 0x47504B47")
    base.execute("CREATE TABLE t (a)")
    base.commit()
    base.close()


@hostile
def plain_database(path, farm, url):
    base = sqlite3.connect(path)
    base.execute("CREATE TABLE fields (a)")
    base.commit()
    base.close()


@hostile
def cut_short_tiff(path, farm, url):
    path.write_bytes((farm.folder / "canary.tif").read_bytes()[:300])


@hostile
def only_a_signature(path, farm, url):
    path.write_bytes(b"fgb\x03fgb\x00" + b"\xff" * 400)


@hostile
def parquet_of_nothing(path, farm, url):
    path.write_bytes(b"PAR1" + b"\0" * 100 + b"PAR1")


@hostile
def noise(path, farm, url):
    path.write_bytes(np.random.default_rng(3).bytes(5000))


@hostile
def no_bytes(path, farm, url):
    path.write_bytes(b"")


@hostile
def old_spreadsheet(path, farm, url):
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 2000)


@hostile
def deep_brackets(path, farm, url):
    path.write_text('{"type":"FeatureCollection","features":' + "[" * 100_000)


@hostile
def a_pipe(path, farm, url):
    os.mkfifo(path)


@hostile
def a_device(path, farm, url):
    path.symlink_to("/dev/zero")


@hostile
def a_folder(path, farm, url):
    path.mkdir()


@hostile
def a_link_to_nowhere(path, farm, url):
    path.symlink_to("nowhere")


@pytest.mark.parametrize("ending", [".ovr", ".msk"])
def test_a_redirecting_file_beside_a_raster_is_refused(farm, canary, trap, ending):
    beside = farm.folder / f"ground.tif{ending}"
    raster_vrt(beside, farm, trap[0])
    layers = farm.read()
    untouched(farm, layers, trap[1])
    assert beside.name in farm.problem("file.signature").what
