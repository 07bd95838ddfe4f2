//! A grid of heights from scattered points, and how far it can be trusted.
//!
//! Natural neighbours weight the points round a place by the area each would lose to it; the surface passes through
//! every point, is smooth elsewhere and never leaves the range of the points round it. The plain triangulation is
//! kept as a second, rougher choice. Cells outside the convex hull of the points, or farther than a stated reach
//! from the nearest point used, stay invalid: nothing is extrapolated, and gaps in a survey are not papered over.
//!
//! The honest test of a strip survey is to leave out whole blocks, because a point's neighbours along the track are
//! so near that leaving out single points shows nothing. Blocks are left out in five turns, set like a knight's
//! move, so that two blocks left out together never share a side and every point is predicted at most once.
//!
//! Shapes and units: points (east, north, height), metres. Points at the same place (to 1 mm) are merged by their
//! mean height; points are sorted first, so their order does not matter. Rows are worked on in parallel, each by
//! itself.
//!
//! Source: [`Bibliography::Sibson1981`](crate::bibliography::Bibliography::Sibson1981), as built in crate `spade`.
//! Block cross-validation: Roberts, D. R. et al. (2017), Ecography 40, 913-929.
//!
//! How we know: `planes_come_back`, `passes_through_points_and_stays_in_range`, `no_extrapolation`,
//! `duplicates_are_merged`, `validation_of_a_plane_and_of_noise`.

use crate::grid::{Cell, GridSpec, Raster};
use geo::Coord;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use spade::{DelaunayTriangulation, FloatTriangulation, HasPosition, Point2, Triangulation};
use std::collections::BTreeMap;

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

/// How well heights are predicted where a whole block of points is left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Validation {
    /// Root mean square of predicted minus surveyed height, metres.
    pub rmse_m: f64,
    /// Mean of predicted minus surveyed height, metres.
    pub bias_m: f64,
    /// 95th percentile of the absolute difference (nearest rank), metres.
    pub p95_m: f64,
    /// Greatest absolute difference, metres.
    pub max_m: f64,
    /// Number of points predicted; those outside the hull of the rest are not.
    pub n: usize,
}

/// A point of the triangulation, relative to an origin near it so that no digits are lost.
#[derive(Debug, Clone, Copy)]
struct Node {
    at: Point2<f64>,
    height_m: f64,
}

impl HasPosition for Node {
    type Scalar = f64;
    fn position(&self) -> Point2<f64> {
        self.at
    }
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
    let surface = Surface::new(&merge_duplicates(points)?)?;
    let cols = spec.cols as usize;
    let mut raster = Raster::empty(spec, 0.0_f32);
    raster.values.par_chunks_mut(cols.max(1)).zip(raster.valid.par_chunks_mut(cols.max(1))).enumerate().for_each(
        |(row, (values, valid))| {
            let mut reader = surface.reader(method, reach_m);
            for col in 0..cols {
                if let Some(z) = reader.height(spec.centre(Cell::new(row as u32, col as u32))) {
                    (values[col], valid[col]) = (z as f32, true);
                }
            }
        },
    );
    Ok(raster)
}

/// Points sorted by east, then north; those in the same millimetre merged to their mean height.
///
/// # Errors
/// When a point is not finite.
pub fn merge_duplicates(points: &[HeightPoint]) -> Result<Vec<HeightPoint>, InterpolationError> {
    let mut places: BTreeMap<(i64, i64), Vec<HeightPoint>> = BTreeMap::new();
    for (index, p) in points.iter().enumerate() {
        if !(p.at.x.is_finite() && p.at.y.is_finite() && p.height_m.is_finite()) {
            let (east, north, height_m) = (p.at.x, p.at.y, p.height_m);
            return Err(InterpolationError::NotFinite { index, east, north, height_m });
        }
        let place = ((p.at.x * 1000.0).round() as i64, (p.at.y * 1000.0).round() as i64);
        places.entry(place).or_default().push(*p);
    }
    let merged = places.into_values().map(|mut same| {
        same.sort_by(|a, b| {
            a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)).then(a.height_m.total_cmp(&b.height_m))
        });
        let mean = same.iter().map(|p| p.height_m).sum::<f64>() / same.len() as f64;
        HeightPoint { at: same[0].at, height_m: mean }
    });
    Ok(merged.collect())
}

/// Predicts the points of each square block of side `block_m` from the points of the others, by natural neighbours.
///
/// # Errors
/// When a point is not finite or the points left in one of the five turns do not span a surface.
pub fn block_cross_validation(points: &[HeightPoint], block_m: f64) -> Result<Validation, InterpolationError> {
    let points = merge_duplicates(points)?;
    let turn = |p: &HeightPoint| {
        let (i, j) = ((p.at.x / block_m).floor() as i64, (p.at.y / block_m).floor() as i64);
        (i + 2 * j).rem_euclid(5)
    };
    let mut errors = Vec::new();
    for left_out in 0..5 {
        let (out, kept): (Vec<HeightPoint>, Vec<HeightPoint>) = points.iter().partition(|p| turn(p) == left_out);
        if out.is_empty() {
            continue;
        }
        let surface = Surface::new(&kept)?;
        let predicted: Vec<Option<f64>> = out
            .par_chunks(512)
            .flat_map_iter(|chunk| {
                let mut reader = surface.reader(Interpolant::NaturalNeighbour, f64::INFINITY);
                chunk.iter().map(|p| reader.height(p.at).map(|z| z - p.height_m)).collect::<Vec<_>>()
            })
            .collect();
        errors.extend(predicted.into_iter().flatten());
    }
    Ok(summary(&errors))
}

fn summary(errors: &[f64]) -> Validation {
    let n = errors.len();
    let count = n.max(1) as f64;
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let rank = (0.95 * n as f64).ceil() as usize;
    Validation {
        rmse_m: (errors.iter().map(|e| e * e).sum::<f64>() / count).sqrt(),
        bias_m: errors.iter().sum::<f64>() / count,
        p95_m: sizes.get(rank.saturating_sub(1)).copied().unwrap_or(0.0),
        max_m: sizes.last().copied().unwrap_or(0.0),
        n,
    }
}

/// A triangulated set of points.
struct Surface {
    origin: Coord<f64>,
    mesh: DelaunayTriangulation<Node>,
}

impl Surface {
    fn new(points: &[HeightPoint]) -> Result<Self, InterpolationError> {
        let origin = points.first().map_or(Coord { x: 0.0, y: 0.0 }, |p| p.at);
        let node = |p: &HeightPoint| {
            let d = p.at - origin;
            Node { at: Point2::new(d.x, d.y), height_m: p.height_m }
        };
        let mesh = DelaunayTriangulation::bulk_load_stable(points.iter().map(node).collect())
            .map_err(|e| InterpolationError::Triangulation(e.to_string()))?;
        if mesh.num_inner_faces() == 0 {
            return Err(InterpolationError::NoSurface { places: points.len() });
        }
        Ok(Self { origin, mesh })
    }

    fn reader(&self, method: Interpolant, reach_m: f64) -> Reader<'_> {
        Reader {
            surface: self,
            method,
            reach_m,
            natural: self.mesh.natural_neighbor(),
            flat: self.mesh.barycentric(),
            weights: Vec::new(),
        }
    }
}

/// Reads heights off a surface; one per thread, because it keeps its working memory.
struct Reader<'a> {
    surface: &'a Surface,
    method: Interpolant,
    reach_m: f64,
    natural: spade::NaturalNeighbor<'a, DelaunayTriangulation<Node>>,
    flat: spade::Barycentric<'a, DelaunayTriangulation<Node>>,
    weights: Vec<(spade::handles::FixedVertexHandle, f64)>,
}

impl Reader<'_> {
    fn height(&mut self, at: Coord<f64>) -> Option<f64> {
        let d = at - self.surface.origin;
        let place = Point2::new(d.x, d.y);
        if self.method == Interpolant::NaturalNeighbour {
            self.natural.get_weights(place, &mut self.weights);
            // Very flat triangles at the hull can spoil the areas; the triangle itself is then the safe answer.
            let total: f64 = self.weights.iter().map(|(_, w)| *w).sum();
            let sound = (total - 1.0).abs() < 1e-6 && self.weights.iter().all(|(_, w)| *w > -1e-6);
            if !sound {
                self.flat.get_weights(place, &mut self.weights);
            }
        } else {
            self.flat.get_weights(place, &mut self.weights);
        }
        let (mut height, mut nearest_m) = (0.0, f64::INFINITY);
        for (vertex, weight) in &self.weights {
            let node = *self.surface.mesh.vertex(*vertex).data();
            height += weight * node.height_m;
            nearest_m = nearest_m.min((node.at.x - place.x).hypot(node.at.y - place.y));
        }
        (!self.weights.is_empty() && height.is_finite() && nearest_m <= self.reach_m).then_some(height)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const METHODS: [Interpolant; 2] = [Interpolant::NaturalNeighbour, Interpolant::Linear];

    /// Points of a strip survey: lines `swath_m` apart, points `step_m` apart, on national-grid sized coordinates.
    fn strips(side_m: f64, swath_m: f64, step_m: f64, f: impl Fn(f64, f64) -> f64) -> Vec<HeightPoint> {
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

    /// Derived: a plane is predicted exactly; with steps of a known size the error has that size.
    #[test]
    fn validation_of_a_plane_and_of_noise() {
        let plane = block_cross_validation(&strips(300.0, 10.0, 5.0, |x, y| 0.01 * x + 0.02 * y), 50.0).unwrap();
        assert!(plane.n > 1000 && plane.max_m < 1e-9, "{plane:?}");
        // A bump every 50 m cannot be seen from the blocks beside it.
        let bumps = |x: f64, y: f64| 0.2 * (x / 8.0).sin() * (y / 8.0).sin();
        let rough = block_cross_validation(&strips(300.0, 10.0, 5.0, bumps), 50.0).unwrap();
        assert!(rough.rmse_m > 0.05 && rough.p95_m >= rough.rmse_m && rough.max_m >= rough.p95_m);
        let easy = block_cross_validation(&strips(300.0, 10.0, 5.0, bumps), 6.0).unwrap();
        assert!(easy.rmse_m < rough.rmse_m, "smaller blocks must look easier");
        let s = summary(&[0.1, -0.1, 0.3, -0.3]);
        assert!((s.rmse_m - 0.05_f64.sqrt()).abs() < 1e-12 && s.bias_m.abs() < 1e-12 && s.p95_m == 0.3);
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
            let Ok(surface) = Surface::new(&merged) else { return Ok(()) };
            for method in METHODS {
                let mut reader = surface.reader(method, f64::INFINITY);
                for p in &merged {
                    prop_assert!((reader.height(p.at).unwrap() - p.height_m).abs() < 1e-6);
                }
                for k in 0..100 {
                    let at = Coord { x: f64::from(k % 10) * 20.1, y: f64::from(k / 10) * 19.7 };
                    if let Some(z) = reader.height(at) {
                        prop_assert!(z > low - 1e-4 && z < high + 1e-4);
                    }
                }
            }
        }
    }
}
