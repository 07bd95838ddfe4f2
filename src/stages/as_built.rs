//! Is the finished ground what was drawn? The row-by-row part: falls of the rows on a later survey.
//!
//! Not a stage of a run: the survey comes after it. Points are made into a surface by natural neighbours first
//! (Sibson 1981) and the falls are those every other stage reckons.

use super::falls::row_fall;
use crate::grid::{GridSpec, Raster};
use crate::land::blocks::RowFall;
use crate::land::survey::SurveyPoint;
use crate::methods::surface::{HeightPoint, Interpolant, interpolate};
use geo::LineString;

/// How far a place may lie from a surveyed point, metres: one and a half times the widest as-built grid in use (20 m;
/// common practice, no source).
const REACH_M: f64 = 30.0;

/// The surface through surveyed points; `None` when they span none.
#[must_use]
pub fn surface(points: &[SurveyPoint], spec: GridSpec) -> Option<Raster<f32>> {
    let points: Vec<HeightPoint> = points.iter().map(|p| HeightPoint { at: p.at, height_m: p.height_m }).collect();
    interpolate(&points, spec, Interpolant::NaturalNeighbour, REACH_M).ok()
}

/// Fall of each row from its high end to its low end; `None` for a row the surface does not cover.
#[must_use]
pub fn row_falls(surface: &Raster<f32>, rows: &[LineString<f64>]) -> Vec<Option<RowFall>> {
    rows.iter().map(|row| row_fall(surface, &row.0)).collect()
}
