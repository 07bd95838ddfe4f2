"""Reads the georeference of the map set back with a PDF library that is not ours and holds it against the set-out.

The viewport's box, its four corners in degrees and the drawn scale must agree: the distance between corners on the
ellipsoid (mean radius, good to half a per cent) over the distance on the paper is the scale printed on the sheet.
"""

import json
import math
import re
import sys

import pikepdf


def metres(a, b):
    """Distance of two places in degrees: Vincenty's spheroid taken as a sphere of its local radii (GRS 1980)."""
    axis, flat = 6378137.0, 1 / 298.257222101
    e2 = flat * (2 - flat)
    lat = math.radians((a[0] + b[0]) / 2)
    w = math.sqrt(1 - e2 * math.sin(lat) ** 2)
    north = math.radians(b[0] - a[0]) * axis * (1 - e2) / w**3
    east = math.radians(b[1] - a[1]) * axis / w * math.cos(lat)
    return math.hypot(north, east)


def main(run):
    record = json.load(open(f"{run}/run.json", encoding="utf-8"))
    assert record["program"] == "rowfall"
    book = pikepdf.open(f"{run}/maps/map_set.pdf")
    for number, page in enumerate(book.pages, 1):
        (view,) = page.VP
        measure = view.Measure
        assert measure.Subtype == "/GEO" and measure.GCS.Type == "/PROJCS", number
        left, low, right, high = (float(v) for v in view.BBox)
        numbers = [float(v) for v in measure.GPTS]
        corners = list(zip(numbers[::2], numbers[1::2]))
        assert [float(v) for v in measure.LPTS] == [0, 0, 0, 1, 1, 1, 1, 0]
        paper_m = (right - left) / 72 * 0.0254, (high - low) / 72 * 0.0254
        across = metres(corners[0], corners[3]) / paper_m[0]
        up = metres(corners[0], corners[1]) / paper_m[1]
        # The grid's scale factor and the sphere come to less than a part in a thousand; scales are round numbers.
        svg = next(p for p in sorted(__import__("pathlib").Path(f"{run}/maps").glob(f"{number:02}_*.svg")))
        printed = float(re.search(r">1:([\d,]+) printed", svg.read_text(encoding="utf-8"))[1].replace(",", ""))
        for found in (across, up):
            assert abs(found / printed - 1) < 0.002, (number, found, printed)
    print(f"map set: {len(book.pages)} pages, georeference agrees with the printed scale")


main(sys.argv[1])
