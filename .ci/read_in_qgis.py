"""Loads the GeoPackage of a run in QGIS, without a screen: every layer valid, styled by the style inside, and drawn.

Needs `python3-qgis` (Debian: apt-get install --no-install-recommends python3-qgis).
Usage: QT_QPA_PLATFORM=offscreen /usr/bin/python3 .ci/read_in_qgis.py RUN_FOLDER [PICTURE.png]
"""
import sqlite3
import sys

from qgis.core import (
    QgsApplication, QgsCoordinateReferenceSystem, QgsMapRendererParallelJob, QgsMapSettings, QgsRectangle,
    QgsSingleSymbolRenderer, QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor


def load(path, name):
    layer = QgsVectorLayer(f"{path}|layername={name}", name, "ogr")
    assert layer.isValid(), f"{name} cannot be opened"
    return layer


def checked(layer, label):
    """A layer whose style and geometry QGIS takes as they are; without the style it would draw in a colour by chance."""
    name = layer.name()
    message, ok = layer.loadDefaultStyle()
    assert ok, (name, message)
    renderer = layer.renderer()
    assert renderer is not None and renderer.type() != "nullSymbol", name
    if isinstance(renderer, QgsSingleSymbolRenderer):
        assert renderer.symbol().symbolLayerCount() >= 1, name
    assert layer.labelsEnabled() == bool(label), (name, label)
    assert layer.crs().isValid() and not layer.crs().isGeographic(), name
    features = list(layer.getFeatures())
    assert len(features) == layer.featureCount() > 0, name
    bad = [f.id() for f in features if f.geometry().isNull() or not f.geometry().isGeosValid()]
    assert not bad, (name, "geometry not valid", bad[:5])
    return layer


def styled_labels(path):
    with sqlite3.connect(path) as db:
        rows = db.execute("SELECT f_table_name, styleQML FROM layer_styles").fetchall()
    return {name: "fieldName=" in qml for name, qml in rows}


def drawn(layers, picture):
    settings = QgsMapSettings()
    # Points over lines over areas, as a viewer stacks what is added to it; in each the order of the file.
    settings.setLayers(sorted(layers, key=lambda layer: layer.geometryType()))
    settings.setDestinationCrs(layers[0].crs())
    settings.setBackgroundColor(QColor("white"))
    extent = QgsRectangle()
    for layer in layers:
        extent.combineExtentWith(layer.extent())
    extent.scale(1.05)
    settings.setExtent(extent)
    settings.setOutputDpi(150)
    settings.setOutputSize(QSize(1600, int(1600 * extent.height() / extent.width())))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    assert not job.errors(), [e.message for e in job.errors()]
    image = job.renderedImage()
    colours = {image.pixel(x, y) for x in range(0, image.width(), 7) for y in range(0, image.height(), 7)}
    assert len(colours) > 20, "the map is nearly empty"
    if picture:
        assert image.save(picture)


def main(run, picture):
    path = f"{run}/plan.gpkg"
    application = QgsApplication([], False)
    application.initQgis()
    try:
        labels = styled_labels(path)
        # In the order of the file.
        with sqlite3.connect(path) as db:
            names = [r[0] for r in db.execute("SELECT table_name FROM gpkg_contents WHERE data_type='features' ORDER BY rowid")]
        layers = [checked(load(path, name), labels[name]) for name in names]
        assert QgsCoordinateReferenceSystem(layers[0].crs()).authid().startswith("EPSG:"), layers[0].crs().authid()
        drawn(layers, picture)
        print(f"QGIS: {len(layers)} layers valid, styled and drawn")
        del layers
    finally:
        application.exitQgis()


main(sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else None)
