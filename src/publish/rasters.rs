//! Rasters of the run folder.

use super::Results;
use crate::grid::Raster;
use crate::land::document::{Content, Document, RasterSheet};

/// Name, values when there are any, description, unit, whether they are heights.
type Sheet<'a> = (&'a str, Option<&'a Raster<f32>>, &'a str, &'a str, bool);

/// Every raster that exists, in a fixed order.
pub(super) fn all(results: &Results<'_>) -> Vec<Document> {
    let levelling = results.plan().and_then(|p| p.levelling);
    let sheets: [Sheet<'_>; 8] = [
        ("ground", results.ground.map(|g| &g.surveyed.0), "ground as surveyed", "m", true),
        (
            "point_density",
            results.ground.and_then(|g| g.point_density.as_ref()),
            "survey points a hectare",
            "1/ha",
            false,
        ),
        ("slope", results.terrain.map(|t| &t.slope.0), "steepest slope", "m/m", false),
        ("accumulation", results.terrain.map(|t| &t.accumulation.0), "upstream area", "ha", false),
        ("pond_depth", results.water.map(|w| &w.pond_depth), "depth of standing water", "m", false),
        ("design", levelling.map(|l| &l.design.0.0), "surface to be built", "m", true),
        ("topsoil_left", levelling.map(|l| &l.topsoil_left), "topsoil left after the cut", "m", false),
        ("cut_fill", levelling.map(|l| &l.cut_fill.0), "cut (positive) and fill (negative)", "m", false),
    ];
    sheets
        .into_iter()
        .filter_map(|(name, raster, description, unit, heights)| {
            let sheet = RasterSheet {
                raster: raster?.clone(),
                description: description.to_owned(),
                unit: unit.to_owned(),
                heights,
            };
            Some(Document { path: format!("rasters/{name}.tif"), content: Content::GeoTiff(sheet) })
        })
        .collect()
}
