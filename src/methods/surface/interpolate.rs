//! A grid of heights from scattered points and breaklines.
//!
//! Natural neighbours weight the points round a place by the area each would lose to it; the surface passes through
//! every point, is smooth elsewhere and never leaves the range of the points round it. The plain triangulation is
//! kept as a second, rougher choice. Breaklines are edges of the triangulation; points beyond one have no say in the
//! heights before it. Cells outside the convex hull of the points, or farther than a stated reach from the nearest
//! point used, stay invalid: nothing is extrapolated, and gaps in a survey are not papered over.
//!
//! Shapes and units: points (east, north, height), metres. Points at the same place (to 1 mm) are merged by their
//! mean height; points are sorted first, so their order does not matter. Rows are worked on in parallel, each by
//! itself.
//!
//! Source: [`Bibliography::Sibson1981`](crate::bibliography::Bibliography::Sibson1981), triangulation by crate `spade`.
//!
//! How we know: `planes_come_back`, `passes_through_points_and_stays_in_range`, `no_extrapolation`,
//! `duplicates_are_merged`, `agrees_with_a_second_implementation`, `breaklines_keep_both_sides_apart`.

use super::mesh::Mesh;
use super::natural::Reader;
use crate::grid::{Cell, GridSpec, Raster};
use geo::Coord;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// A surveyed height.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeightPoint {
    /// Place (east, north), metres.
    pub at: Coord<f64>,
    /// Height, metres.
    pub height_m: f64,
}

/// How heights between points are found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Interpolant {
    /// Natural neighbours: smooth.
    NaturalNeighbour,
    /// Flat triangles between points.
    Linear,
}

/// Why points make no surface.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InterpolationError {
    /// A coordinate or height that is no finite number.
    #[error("point {index} at ({east}, {north}) with height {height_m} is not finite")]
    NotFinite {
        /// Position in the list given.
        index: usize,
        /// East, metres.
        east: f64,
        /// North, metres.
        north: f64,
        /// Height, metres.
        height_m: f64,
    },
    /// Fewer than three places, or all of them on one line.
    #[error("{places} distinct places do not span a surface; three or more not on one line are needed")]
    NoSurface {
        /// Number of distinct places.
        places: usize,
    },
    /// The triangulation refused a point.
    #[error("triangulation failed: {0}")]
    Triangulation(String),
}

/// A grid made of points and breaklines.
#[derive(Debug, Clone, PartialEq)]
pub struct Gridded {
    /// The heights.
    pub raster: Raster<f32>,
    /// Middles of the pieces of breaklines that cross another one and were left out.
    pub crossing: Vec<Coord<f64>>,
}

/// Heights at the cell centres of a grid.
///
/// `reach_m` is the farthest the nearest point used may lie from a cell; `f64::INFINITY` for no limit.
///
/// # Errors
/// When a point is not finite or the points do not span a surface.
pub fn interpolate(
    points: &[HeightPoint],
    spec: GridSpec,
    method: Interpolant,
    reach_m: f64,
) -> Result<Raster<f32>, InterpolationError> {
    interpolate_with_breaks(points, &[], spec, method, reach_m).map(|gridded| gridded.raster)
}

/// Heights at the cell centres of a grid, from points and breaklines (polylines of points); see [`interpolate`].
///
/// # Errors
/// When a point is not finite or the points do not span a surface.
pub fn interpolate_with_breaks(
    points: &[HeightPoint],
    lines: &[Vec<HeightPoint>],
    spec: GridSpec,
    method: Interpolant,
    reach_m: f64,
) -> Result<Gridded, InterpolationError> {
    let all: Vec<HeightPoint> = lines.iter().flatten().chain(points).copied().collect();
    let merged = Merged::new(&all)?;
    let mut pairs: Vec<[usize; 2]> = Vec::new();
    let mut first = 0;
    for line in lines {
        for k in first..(first + line.len()).saturating_sub(1) {
            pairs.push([merged.place_of[k] as usize, merged.place_of[k + 1] as usize]);
        }
        first += line.len();
    }
    pairs.retain(|[a, b]| a != b);
    pairs.sort_unstable();
    pairs.dedup();
    let (mesh, crossing) = Mesh::new(&merged.points, &pairs)?;
    let middle = |[a, b]: [usize; 2]| (merged.points[a].at + merged.points[b].at) / 2.0;
    let cols = spec.cols as usize;
    let mut raster = Raster::empty(spec, 0.0_f32);
    raster.values.par_chunks_mut(cols.max(1)).zip(raster.valid.par_chunks_mut(cols.max(1))).enumerate().for_each(
        |(row, (values, valid))| {
            let mut reader = Reader::new(&mesh, method, reach_m);
            for col in 0..cols {
                if let Some(z) = reader.height(spec.centre(Cell::new(row as u32, col as u32))) {
                    (values[col], valid[col]) = (z as f32, true);
                }
            }
        },
    );
    Ok(Gridded { raster, crossing: crossing.into_iter().map(middle).collect() })
}

/// Heights at single places; `None` outside the hull and beyond the reach.
///
/// # Errors
/// When a point is not finite or the points do not span a surface.
pub fn heights_at(
    points: &[HeightPoint],
    places: &[Coord<f64>],
    method: Interpolant,
    reach_m: f64,
) -> Result<Vec<Option<f64>>, InterpolationError> {
    let (mesh, _) = Mesh::new(&Merged::new(points)?.points, &[])?;
    Ok(read_all(&mesh, places, method, reach_m))
}

pub(super) fn read_all(mesh: &Mesh, places: &[Coord<f64>], method: Interpolant, reach_m: f64) -> Vec<Option<f64>> {
    let chunks = places.par_chunks(2048).flat_map_iter(|chunk| {
        let mut reader = Reader::new(mesh, method, reach_m);
        chunk.iter().map(|at| reader.height(*at)).collect::<Vec<_>>()
    });
    chunks.collect()
}

/// Points sorted by east, then north; those in the same millimetre merged to their mean height.
///
/// # Errors
/// When a point is not finite.
pub fn merge_duplicates(points: &[HeightPoint]) -> Result<Vec<HeightPoint>, InterpolationError> {
    Merged::new(points).map(|merged| merged.points)
}

/// Distinct points and where each of the points given went.
pub(super) struct Merged {
    pub points: Vec<HeightPoint>,
    /// For each point given, its place in `points`.
    pub place_of: Vec<u32>,
}

impl Merged {
    pub fn new(points: &[HeightPoint]) -> Result<Self, InterpolationError> {
        if let Some((index, p)) = (0..).zip(points).find(|(_, p)| !is_finite(p)) {
            let (east, north, height_m) = (p.at.x, p.at.y, p.height_m);
            return Err(InterpolationError::NotFinite { index, east, north, height_m });
        }
        let place = |p: &HeightPoint| ((p.at.x * 1000.0).round() as i64, (p.at.y * 1000.0).round() as i64);
        let mut order: Vec<(i64, i64, u32)> = (0_u32..).zip(points).map(|(i, p)| (place(p).0, place(p).1, i)).collect();
        order.par_sort_unstable();
        let mut merged = Vec::with_capacity(points.len());
        let mut place_of = vec![0; points.len()];
        for same in order.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
            let mut here: Vec<HeightPoint> = same.iter().map(|s| points[s.2 as usize]).collect();
            // Sorted by value, so that the mean does not depend on the order the points came in.
            here.sort_by(|a, b| {
                a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)).then(a.height_m.total_cmp(&b.height_m))
            });
            let height_m = here.iter().map(|p| p.height_m).sum::<f64>() / here.len() as f64;
            same.iter().for_each(|s| place_of[s.2 as usize] = merged.len() as u32);
            merged.push(HeightPoint { at: here[0].at, height_m });
        }
        Ok(Self { points: merged, place_of })
    }
}

fn is_finite(p: &HeightPoint) -> bool {
    p.at.x.is_finite() && p.at.y.is_finite() && p.height_m.is_finite()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;

    const METHODS: [Interpolant; 2] = [Interpolant::NaturalNeighbour, Interpolant::Linear];

    /// Points of a strip survey: lines `swath_m` apart, points `step_m` apart, on national-grid sized coordinates.
    pub fn strips(side_m: f64, swath_m: f64, step_m: f64, f: impl Fn(f64, f64) -> f64) -> Vec<HeightPoint> {
        let (lines, along) = ((side_m / swath_m) as u32, (side_m / step_m) as u32);
        let place = move |k: u32, j: u32| {
            // A slight weave keeps points off a regular lattice.
            let wobble = 0.3 * (f64::from(j) * 1.7 + f64::from(k)).sin();
            (f64::from(k) * swath_m + wobble, f64::from(j) * step_m)
        };
        (0..=lines)
            .flat_map(|k| (0..=along).map(move |j| place(k, j)))
            .map(|(x, y)| HeightPoint { at: Coord { x: 512_000.0 + x, y: 6_891_000.0 + y }, height_m: f(x, y) })
            .collect()
    }

    fn grid() -> GridSpec {
        GridSpec { north_west: Coord { x: 512_010.0, y: 6_891_090.0 }, cell_m: 4.0, rows: 20, cols: 20 }
    }

    /// Derived: both interpolants reproduce planes (Sibson 1981: local coordinates property).
    #[test]
    fn planes_come_back() {
        let points = strips(100.0, 10.0, 2.0, |x, y| 12.0 + 0.01 * x - 0.02 * y);
        for method in METHODS {
            let out = interpolate(&points, grid(), method, f64::INFINITY).unwrap();
            assert_eq!(out.count_valid(), 400);
            for (cell, z) in out.iter() {
                let c = grid().centre(cell);
                let exact = 12.0 + 0.01 * (c.x - 512_000.0) - 0.02 * (c.y - 6_891_000.0);
                assert!((f64::from(z) - exact).abs() < 2e-6, "{z} {exact}");
            }
        }
    }

    #[test]
    fn no_extrapolation() {
        let points = strips(40.0, 10.0, 2.0, |x, _| x);
        let out = interpolate(&points, grid(), Interpolant::NaturalNeighbour, f64::INFINITY).unwrap();
        for i in 0..400 {
            let c = grid().centre(grid().cell(i));
            let (x, y) = (c.x - 512_000.0, c.y - 6_891_000.0);
            let (inside, outside) = (x < 39.6 && y <= 40.0, x > 40.4 || y > 40.0);
            assert!(if inside { out.valid[i] } else { !(outside && out.valid[i]) }, "{x} {y}");
        }
        let near = interpolate(&points, grid(), Interpolant::Linear, 3.0).unwrap();
        assert!(near.count_valid() > 0 && near.count_valid() < out.count_valid());
        let line: Vec<HeightPoint> =
            points.iter().map(|p| HeightPoint { at: Coord { x: 5.0, ..p.at }, ..*p }).collect();
        let error = interpolate(&line, grid(), Interpolant::Linear, 3.0).unwrap_err();
        assert!(matches!(error, InterpolationError::NoSurface { .. }));
        let bad = [HeightPoint { at: Coord { x: 0.0, y: 0.0 }, height_m: f64::NAN }];
        assert!(matches!(merge_duplicates(&bad), Err(InterpolationError::NotFinite { index: 0, .. })));
    }

    #[test]
    fn duplicates_are_merged() {
        let p = |x: f64, z: f64| HeightPoint { at: Coord { x, y: 1.0 }, height_m: z };
        let merged = merge_duplicates(&[p(5.0, 2.0), p(1.0, 7.0), p(5.0002, 3.0)]).unwrap();
        assert_eq!(merged, [p(1.0, 7.0), p(5.0, 2.5)]);
    }

    proptest! {
        #[test]
        fn passes_through_points_and_stays_in_range(
            raw in prop::collection::vec((0_u16..200, 0_u16..200, -3.0_f64..3.0), 4..60)
        ) {
            let points: Vec<HeightPoint> = raw
                .iter()
                .map(|(x, y, z)| HeightPoint { at: Coord { x: f64::from(*x), y: f64::from(*y) }, height_m: *z })
                .collect();
            let merged = merge_duplicates(&points).unwrap();
            let heights = merged.iter().map(|p| p.height_m);
            let (low, high) = heights.fold((9.0_f64, -9.0_f64), |(l, h), z| (l.min(z), h.max(z)));
            let Ok((mesh, _)) = Mesh::new(&merged, &[]) else { return Ok(()) };
            for method in METHODS {
                let mut reader = Reader::new(&mesh, method, f64::INFINITY);
                for p in &merged {
                    prop_assert!((reader.height(p.at).unwrap() - p.height_m).abs() < 1e-6);
                }
                for k in 0..100 {
                    let at = Coord { x: f64::from(k % 10) * 20.1, y: f64::from(k / 10) * 19.7 };
                    if let Some(z) = reader.height(at) {
                        prop_assert!(z >= low - 1e-9 && z <= high + 1e-9);
                    }
                }
            }
        }
    }
}
