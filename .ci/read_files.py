"""Reads guidance and set-out files of a run with readers that are not ours, and compares what they hold."""
import csv
import glob
import json
import os
import sys
import xml.etree.ElementTree as tree

import ezdxf
import shapefile

run = sys.argv[1]
guidance, set_out = run + "/guidance", run + "/set_out"


def guidance_files():
    with open(guidance + "/guidance_lines.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with open(guidance + "/geojson/guidance_lines.geojson", encoding="utf-8") as file:
        features = json.load(file)["features"]
    shapes = shapefile.Reader(guidance + "/shapefile/guidance_lines.shp", encoding="utf-8")
    assert len(rows) == len(features) == len(shapes) > 0
    task = tree.parse(guidance + "/TASKDATA/TASKDATA.XML").getroot()
    patterns = {g.get("B"): g for g in task.iter("GPN")}
    kml = {"k": "http://www.opengis.net/kml/2.2"}
    places = tree.parse(guidance + "/kml/guidance_lines.kml").getroot().findall(".//k:Placemark", kml)
    assert len(places) == len(rows)
    for row, feature, shape, place in zip(rows, features, shapes.shapes(), places):
        a = (float(row["a_lon_deg"]), float(row["a_lat_deg"]))
        first = [float(v) for v in place.find(".//k:coordinates", kml).text.split()[0].split(",")[:2]]
        point = patterns[row["name"]].find("LSG/PNT")
        others = [feature["geometry"]["coordinates"][0], shape.points[0], first, (float(point.get("D")), float(point.get("C")))]
        for other in others:
            assert abs(other[0] - a[0]) < 2e-8 and abs(other[1] - a[1]) < 2e-8, (row["name"], a, other)
    print(f"guidance: {len(rows)} lines agree in GeoJSON, Shapefile, KML, CSV and task data to 2 mm")


def set_out_files():
    found = glob.glob(set_out + "/*design_surface.xml")
    if not found:
        print("set-out: no design surface in this run")
        return
    land = {"l": "http://www.landxml.org/schema/LandXML-1.2"}
    root = tree.parse(found[0]).getroot()
    points = {p.get("id"): [float(v) for v in p.text.split()] for p in root.iterfind(".//l:P", land)}
    faces = [f.text.split() for f in root.iterfind(".//l:F", land)]
    base = min(p[2] for p in points.values())
    area = volume = 0.0
    edges = set()
    for ids in faces:
        a, b, c = (points[i] for i in ids)
        plan = 0.5 * ((b[1] - a[1]) * (c[0] - a[0]) - (c[1] - a[1]) * (b[0] - a[0]))
        assert plan > 0, "a face runs clockwise"
        area += plan
        volume += plan * ((a[2] + b[2] + c[2]) / 3 - base)
        for edge in zip(ids, ids[1:] + ids[:1]):
            assert edge not in edges, "an edge is used twice in one direction"
            edges.add(edge)
    stated = float(root.find(".//l:Definition", land).get("area2DSurf"))
    assert abs(area / stated - 1) < 1e-6, (area, stated)

    drawing = ezdxf.readfile(found[0][:-4] + ".dxf")
    assert not drawing.audit().errors and drawing.header["$INSUNITS"] == 6
    triangles = drawing.modelspace().query("3DFACE")
    assert len(triangles) == len(faces)
    other = 0.0
    for t in triangles:
        a, b, c = t.dxf.vtx0, t.dxf.vtx1, t.dxf.vtx2
        plan = 0.5 * ((b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y))
        other += plan * ((a.z + b.z + c.z) / 3 - base)
    assert abs(other / volume - 1) < 1e-6, (other, volume)

    from osgeo import gdal
    raster = gdal.Open(found[0][:-4] + ".tif")
    cells = raster.ReadAsArray()
    cells = cells[cells > -9000].astype("float64")
    mean = float(cells.mean()) - base
    assert abs(volume / area - mean) < 0.02, (volume / area, mean)
    size = sum(os.path.getsize(found[0][:-4] + end) for end in (".xml", ".dxf")) / 1e6
    print(f"set-out: {len(faces)} triangles, {volume:.0f} m3 above the lowest point in LandXML, DXF and raster; {size:.1f} MB")


def geopackage():
    import sqlite3
    db = sqlite3.connect(run + "/plan.gpkg")
    layers = db.execute("SELECT table_name,description,min_x,max_x,min_y,max_y FROM gpkg_contents WHERE data_type='features'").fetchall()
    for name, description, west, east, south, north in layers:
        assert description, name
        box = db.execute(f'SELECT min(minx),max(maxx),min(miny),max(maxy) FROM "rtree_{name}_geom"').fetchone()
        # The index holds 32-bit floats, rounded outwards.
        assert all(abs(a - b) < 2.0 for a, b in zip((west, east, south, north), box)), (name, box)
        columns = {c[1] for c in db.execute(f'PRAGMA table_info("{name}")')} - {"fid", "geom"}
        told = {c[0] for c in db.execute("SELECT column_name FROM gpkg_data_columns WHERE table_name=? AND description<>''", (name,))}
        assert columns == told, (name, columns ^ told)
        styled = db.execute("SELECT count(*) FROM layer_styles WHERE f_table_name=? AND useAsDefault=1", (name,)).fetchone()[0]
        assert styled == 1, name
    print(f"GeoPackage: {len(layers)} layers described, styled, extents right")


guidance_files()
set_out_files()
geopackage()
