//! For every cell of a grid over a polygon, a length no straight line within the polygon through the cell can exceed.
//!
//! A line that serves a point passes within half its strip of it, so within `reach = cell / sqrt 2 + strip / 2` of the centre of
//! the point's cell. Directions are taken one degree at a time: along a line whose direction differs by at most half a
//! degree from that of a ray, a place at distance `t` lies within `reach + t * 2 sin(0.25 deg)` of the ray's. The depth of a
//! place inside the polygon (negative outside) changes by no more than the distance moved, so the ray is followed as long
//! as its depth is not below the inset less that distance (and less half a cell's diagonal, as depth is looked up at cell
//! centres). What is stepped over can only make the length greater: the bound holds whatever the cell size.
//! Shapes and units: metres, square metres. Complexity: 360 rays a cell, each a few steps of the size of the depth.
//! Source: the argument above; rays stepped by depth as in sphere tracing (Hart, J. C. (1996), Sphere tracing, Vis. Comput.
//! 12:527).
//! How we know: never below the chords of random lines (`no_chord_beats_its_bound`), a rectangle by hand (`rectangle`).

use super::cells_inside::cells_inside;
use crate::grid::GridSpec;
use geo::{BoundingRect, Coord, LinesIter, Polygon};
use rayon::prelude::*;
use rstar::RTree;
use rstar::primitives::Line;

/// Directions of half a turn.
const DIRECTIONS: u32 = 180;

/// A cell that may be served, and the longest line that may serve it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ServedCell {
    /// Centre.
    pub at: Coord<f64>,
    /// Area, square metres: the whole cell, also where it reaches over the edge.
    pub area_m2: f64,
    /// No line through the cell is longer, metres.
    pub chord_m: f64,
}

/// Cells of about `cell_m` that a line at least `inset_m` inside the polygon can serve, its strip `strip_m` wide and itself
/// no longer than `most_m`.
#[must_use]
pub fn longest_chords(polygon: &Polygon<f64>, cell_m: f64, inset_m: f64, strip_m: f64, most_m: f64) -> Vec<ServedCell> {
    let Some(rect) = polygon.bounding_rect() else { return Vec::new() };
    let spec = GridSpec::covering(rect, cell_m);
    let depths = depths(polygon, spec);
    let half_diagonal = cell_m * std::f64::consts::FRAC_1_SQRT_2;
    let reach = half_diagonal + strip_m / 2.0;
    let spread = 2.0 * (0.25_f64).to_radians().sin();
    let ray = |from: Coord<f64>, east: f64, north: f64| {
        let mut t = 0.0_f64;
        while t < most_m {
            let place = Coord { x: from.x + t * east, y: from.y + t * north };
            // Off the grid a place is at least as far outside the polygon as it is from the grid.
            let beyond_x = (rect.min().x - place.x).max(place.x - rect.max().x);
            let beyond_y = (rect.min().y - place.y).max(place.y - rect.max().y);
            let depth = spec.cell_at(place).map_or(-beyond_x.max(beyond_y).max(0.0), |c| depths[spec.index(c)]);
            let spare = depth - (inset_m - reach - t * spread - half_diagonal);
            if spare < 0.0 {
                return t;
            }
            t += spare.max(cell_m / 2.0);
        }
        most_m
    };
    (0..spec.len())
        .into_par_iter()
        .filter(|i| depths[*i] >= inset_m - reach)
        .map(|i| {
            let at = spec.centre(spec.cell(i));
            let chord_m = (0..DIRECTIONS)
                .map(|k| {
                    let (east, north) = f64::from(k).to_radians().sin_cos();
                    ray(at, east, north) + ray(at, -east, -north)
                })
                .fold(0.0, f64::max)
                .min(most_m);
            ServedCell { at, area_m2: cell_m * cell_m, chord_m }
        })
        .collect()
}

/// Distance of every cell centre from the outline, negative outside.
fn depths(polygon: &Polygon<f64>, spec: GridSpec) -> Vec<f64> {
    let edges = polygon.lines_iter().map(|l| Line::new([l.start.x, l.start.y], [l.end.x, l.end.y])).collect();
    let tree: RTree<Line<[f64; 2]>> = RTree::bulk_load(edges);
    let inside = cells_inside(spec, polygon);
    (0..spec.len())
        .into_par_iter()
        .map(|i| {
            let at = spec.centre(spec.cell(i));
            let away2 = tree.nearest_neighbor_iter_with_distance_2(&[at.x, at.y]).next().map_or(0.0, |(_, d2)| d2);
            if inside[i] { away2.sqrt() } else { -away2.sqrt() }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::shapes::LineFamily;
    use crate::units::Bearing;
    use geo::{LineString, polygon};
    use proptest::prelude::*;

    #[test]
    fn rectangle() {
        let r = polygon![(x: 0.0, y: 0.0), (x: 600.0, y: 0.0), (x: 600.0, y: 200.0), (x: 0.0, y: 200.0)];
        let cells = longest_chords(&r, 5.0, 0.0, 1.8, 10_000.0);
        // The diagonal is the longest chord of all; grown by the reach at both ends it is no longer than this.
        let diagonal = (610.0_f64 + 10.0).hypot(220.0);
        assert!(cells.iter().all(|c| c.chord_m >= 600.0 && c.chord_m < diagonal + 40.0));
        assert!(longest_chords(&r, 5.0, 0.0, 1.8, 400.0).iter().all(|c| (c.chord_m - 400.0).abs() < 1e-9));
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

        #[test]
        fn no_chord_beats_its_bound(radii in prop::collection::vec(40.0..150.0f64, 4..10), d in 0.0..180.0f64, phase in 0.0..10.0f64) {
            let n = radii.len();
            #[expect(clippy::cast_precision_loss, reason = "a dozen vertices")]
            let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
                let t = i as f64 / n as f64 * std::f64::consts::TAU;
                Coord { x: 5e5 + r * t.cos(), y: 7e6 + r * t.sin() }
            }).collect();
            let p = Polygon::new(ring, vec![]);
            let cells = longest_chords(&p, 10.0, 0.0, 2.0, 1e4);
            let family = LineFamily { bearing: Bearing::from_degrees(d), spacing_m: 10.0, origin: Coord { x: 5e5 + phase, y: 7e6 } };
            for chord in family.clip(&p) {
                for share in [0.01, 0.3, 0.5, 0.8, 0.99] {
                    let at = chord.start + (chord.end - chord.start) * share;
                    let cell = cells.iter().find(|c| (c.at.x - at.x).abs() <= 5.0 + 1e-9 && (c.at.y - at.y).abs() <= 5.0 + 1e-9);
                    prop_assert!(cell.is_some_and(|c| c.chord_m >= chord.length_m()));
                }
            }
        }
    }
}
