"""Reads the georeference of the map set back with GDAL's PDF driver (drawn by Poppler): system, scale and frame.

GDAL rasterises a page, so a pixel's size on the ground over its size on the A3 sheet is the scale; the neat line is the
frame of the map and must hold the property as plan.gpkg has it.
"""

import pathlib
import re
import sys

from osgeo import gdal, ogr, osr

gdal.UseExceptions()
ogr.UseExceptions()
PAPER_M = (0.420, 0.297)


def main(run):
    # A layer does not keep its data set alive.
    plan = gdal.OpenEx(f"{run}/plan.gpkg")
    layer = plan.GetLayerByName("boundary")
    system = layer.GetSpatialRef()
    west, east, south, north = layer.GetExtent()
    sheets = sorted(p for p in pathlib.Path(f"{run}/maps").glob("[0-9][0-9]_*.svg"))
    for number, svg in enumerate(sheets, 1):
        page = gdal.Open(f"PDF:{number}:{run}/maps/map_set.pdf")
        found = osr.SpatialReference(page.GetProjection())
        assert found.GetAttrValue("PROJCS") == system.GetAttrValue("PROJCS"), (number, found.GetAttrValue("PROJCS"))
        for name in ("central_meridian", "scale_factor", "false_easting", "false_northing"):
            assert abs(found.GetProjParm(name) - system.GetProjParm(name)) < 1e-9, (number, name)
        grid = page.GetGeoTransform()
        printed = float(re.search(r">1:([\d,]+) printed", svg.read_text(encoding="utf-8"))[1].replace(",", ""))
        for step, pixels, paper in ((grid[1], page.RasterXSize, PAPER_M[0]), (-grid[5], page.RasterYSize, PAPER_M[1])):
            assert abs(step * pixels / paper / printed - 1) < 0.002, (number, step * pixels / paper, printed)
        frame = ogr.CreateGeometryFromWkt(page.GetMetadataItem("NEATLINE"))
        left, right, low, high = frame.GetEnvelope()
        assert left < west and east < right and low < south and north < high, (number, frame.GetEnvelope())
    print(f"map set: {len(sheets)} pages read by GDAL, system, scale and frame right")


main(sys.argv[1])
