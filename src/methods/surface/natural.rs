//! Heights between the points of a triangulation: by natural neighbours, or on the triangle.
//!
//! A place put among the points would take its cell of the plane from the cells of the points round it; the shares it
//! takes are their weights (Sibson 1981). Those cells need not be made: the triangles whose circumcircle holds the place
//! form a hole round it, and walking once round the rim of the hole gives every share as a small polygon of
//! circumcentres. The walk does not cross breaklines, so that points beyond one have no say, and on a breakline the
//! height runs straight from vertex to vertex.
//!
//! Beside the hull and breaklines a share can come out negative. It is then left out, and the rest is applied to what
//! the points deviate from the plane of the triangle, so that planes still come back exactly.
//!
//! Source: [`Bibliography::Sibson1981`](crate::bibliography::Bibliography::Sibson1981); the walk and the order of the
//! circumcentres derived here.
//!
//! How we know: `planes_come_back`, `agrees_with_a_second_implementation`, `breaklines_keep_both_sides_apart`.

use super::interpolate::Interpolant;
use super::mesh::{Mesh, centre_with, next};
use geo::Coord;

/// Steps a walk round a hole may take; a hole of more triangles is read on its triangle.
const MOST_STEPS: usize = 2_000;

/// Nearer than this a place is the point itself, metres; points are distinct to a millimetre.
const ON_A_POINT_M: f64 = 1e-6;

/// Reads heights off a mesh; one per thread, because it keeps its working memory.
pub(super) struct Reader<'a> {
    mesh: &'a Mesh,
    method: Interpolant,
    reach_m: f64,
    /// Point and its share of the place's cell, times minus two.
    shares: Vec<(usize, f64)>,
}

impl<'a> Reader<'a> {
    /// `reach_m` is the farthest the nearest point used may lie from a place.
    pub fn new(mesh: &'a Mesh, method: Interpolant, reach_m: f64) -> Self {
        Self { mesh, method, reach_m, shares: Vec::new() }
    }

    /// The height at a place; `None` outside the hull and beyond the reach.
    pub fn height(&mut self, at: Coord<f64>) -> Option<f64> {
        let place = self.mesh.relative(at);
        let triangle = self.mesh.find(place)?;
        let corners = self.mesh.triangles[triangle].corners.map(|i| self.mesh.nodes[i as usize]);
        // The nearest point is always a corner of the hole, but not always of the triangle.
        let distance = |n: &[f64; 3]| (n[0] - place[0]).hypot(n[1] - place[1]);
        let mut nearest_m = corners.iter().map(distance).fold(f64::INFINITY, f64::min);
        let flat = Plane::through(&corners);
        let on_triangle = flat.at(place);
        let mut natural = None;
        if nearest_m <= ON_A_POINT_M {
            natural = corners.iter().min_by(|a, b| distance(a).total_cmp(&distance(b))).map(|n| n[2]);
        } else if self.method == Interpolant::NaturalNeighbour && self.walk(triangle, place) {
            nearest_m = self.shares.iter().map(|s| distance(&self.mesh.nodes[s.0])).fold(nearest_m, f64::min);
            natural = self.combine(place, &flat, on_triangle);
        }
        let (low, high) = range(corners.iter().map(|n| n[2]));
        let height = natural.unwrap_or_else(|| on_triangle.clamp(low, high));
        (height.is_finite() && nearest_m <= self.reach_m).then_some(height)
    }

    /// The height by the shares; `None` when they are spoilt by rounding.
    fn combine(&self, place: [f64; 2], flat: &Plane, on_triangle: f64) -> Option<f64> {
        let total: f64 = self.shares.iter().map(|s| s.1).sum();
        if !(total < 0.0 && total.is_finite()) {
            return None;
        }
        // The shares must put the place itself back where it is.
        let (mut off, mut spread) = ([0.0; 2], 0.0_f64);
        for (i, share) in &self.shares {
            let n = self.mesh.nodes[*i];
            for (k, off) in off.iter_mut().enumerate() {
                *off += share / total * (n[k] - place[k]);
            }
            spread = spread.max((n[0] - place[0]).abs() + (n[1] - place[1]).abs());
        }
        if off[0].abs() + off[1].abs() > 1e-6 * spread {
            return None;
        }
        let (mut sum, mut weight) = (0.0, 0.0);
        for (i, share) in &self.shares {
            let n = self.mesh.nodes[*i];
            let share = (share / total).max(0.0);
            sum += share * (n[2] - flat.at([n[0], n[1]]));
            weight += share;
        }
        let (low, high) = range(self.shares.iter().map(|s| self.mesh.nodes[s.0][2]));
        (weight > 0.0).then(|| (on_triangle + sum / weight).clamp(low, high))
    }

    /// Walks round the hole a place makes and notes the shares; `false` when the triangle must do.
    fn walk(&mut self, triangle: usize, place: [f64; 2]) -> bool {
        self.shares.clear();
        let mut edge = 3 * triangle;
        let mut steps = 0;
        while let Some(beyond) = self.step_over(edge, triangle, place) {
            edge = next(beyond);
            steps += 1;
            if steps > MOST_STEPS {
                return false;
            }
        }
        let first = edge;
        let Some(mut corner) = self.rim_centre(edge, place) else { return false };
        loop {
            // The polygon taken from the point between two edges of the rim: new centre, old centres, new centre.
            let point = self.mesh.from(next(edge));
            let mut last = corner;
            let mut area = 0.0;
            let mut add = |p: [f64; 2]| {
                area += last[0] * p[1] - last[1] * p[0];
                last = p;
            };
            add(self.old_centre(edge / 3, place));
            edge = next(edge);
            while let Some(beyond) = self.step_over(edge, triangle, place) {
                add(self.old_centre(beyond / 3, place));
                edge = next(beyond);
                steps += 1;
                if steps > MOST_STEPS {
                    return false;
                }
            }
            let Some(centre) = self.rim_centre(edge, place) else { return false };
            add(centre);
            add(corner);
            self.shares.push((point, area));
            corner = centre;
            steps += 1;
            if edge == first {
                return true;
            }
            if steps > MOST_STEPS {
                return false;
            }
        }
    }

    /// The half-edge beyond an edge, when the triangle there belongs to the hole too.
    fn step_over(&self, edge: usize, own: usize, place: [f64; 2]) -> Option<usize> {
        let beyond = self.mesh.open_twin(edge)?;
        let [x, y, r2] = self.mesh.triangles[beyond / 3].circle;
        let (dx, dy) = (x - place[0], y - place[1]);
        (beyond / 3 == own || dx * dx + dy * dy < r2).then_some(beyond)
    }

    /// Centre, seen from the place, of the circle through it and an edge of the rim; `None` on the edge itself.
    fn rim_centre(&self, edge: usize, place: [f64; 2]) -> Option<[f64; 2]> {
        let [a, b] = [edge, next(edge)].map(|e| self.mesh.nodes[self.mesh.from(e)]);
        centre_with([a[0] - place[0], a[1] - place[1]], [b[0] - place[0], b[1] - place[1]])
    }

    fn old_centre(&self, triangle: usize, place: [f64; 2]) -> [f64; 2] {
        let [x, y, _] = self.mesh.triangles[triangle].circle;
        [x - place[0], y - place[1]]
    }
}

fn range(heights: impl Iterator<Item = f64>) -> (f64, f64) {
    heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), z| (low.min(z), high.max(z)))
}

/// The plane of a triangle.
struct Plane {
    base: [f64; 3],
    slope: [f64; 2],
}

impl Plane {
    fn through(corners: &[[f64; 3]; 3]) -> Self {
        let [a, b, c] = *corners;
        let (u, v) = ([b[0] - a[0], b[1] - a[1], b[2] - a[2]], [c[0] - a[0], c[1] - a[1], c[2] - a[2]]);
        let d = u[0] * v[1] - u[1] * v[0];
        let slope =
            if d > 0.0 { [(u[2] * v[1] - v[2] * u[1]) / d, (u[0] * v[2] - v[0] * u[2]) / d] } else { [0.0, 0.0] };
        Self { base: a, slope }
    }
    fn at(&self, place: [f64; 2]) -> f64 {
        self.base[2] + self.slope[0] * (place[0] - self.base[0]) + self.slope[1] * (place[1] - self.base[1])
    }
}

#[cfg(test)]
mod tests {
    use super::super::interpolate::{HeightPoint, Interpolant, heights_at, interpolate_with_breaks, merge_duplicates};
    use crate::grid::GridSpec;
    use geo::Coord;
    use startin::interpolation::{NNI, interpolate};

    fn scattered(n: usize, side_m: f64, f: impl Fn(f64, f64) -> f64) -> Vec<HeightPoint> {
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut random = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..n)
            .map(|_| (side_m * random(), side_m * random()))
            .map(|(x, y)| HeightPoint { at: Coord { x, y }, height_m: f(x, y) })
            .collect()
    }

    fn waves(x: f64, y: f64) -> f64 {
        12.0 + 0.01 * x + 0.4 * (x / 23.0).sin() * (y / 31.0).cos()
    }

    /// Places on a lattice, well inside the hull.
    fn inside(side_m: f64) -> Vec<Coord<f64>> {
        let at = |k: u32| 0.15 * side_m + 0.7 * side_m * f64::from(k) / 40.0;
        (0..1681).map(|k| Coord { x: at(k % 41) + 0.013, y: at(k / 41) - 0.007 }).collect()
    }

    /// Oracle: natural neighbours of crate `startin` 0.8, an implementation of its own (Ledoux), on random points.
    #[test]
    fn agrees_with_a_second_implementation() {
        let points = scattered(1500, 400.0, waves);
        let places = inside(400.0);
        let ours = heights_at(&points, &places, Interpolant::NaturalNeighbour, f64::INFINITY).unwrap();
        let mut other = startin::Triangulation::new();
        for p in &points {
            // It takes equal places within its tolerance for one point.
            let _already_there = other.insert_one_pt(p.at.x, p.at.y, p.height_m);
        }
        let theirs = interpolate(&NNI { precompute: false }, &mut other, &places.iter().map(|c| [c.x, c.y]).collect());
        let mut worst = 0.0_f64;
        for (a, b) in ours.iter().zip(&theirs) {
            worst = worst.max((a.unwrap() - b.as_ref().unwrap()).abs());
        }
        assert!(worst < 1e-6, "{worst}");
    }

    /// Derived: with points h apart the error on a smooth surface falls with h squared.
    #[test]
    fn finer_points_come_nearer_to_a_smooth_surface() {
        let places = inside(400.0);
        let rms = |n: usize| {
            let points = scattered(n, 400.0, waves);
            let z = heights_at(&points, &places, Interpolant::NaturalNeighbour, f64::INFINITY).unwrap();
            let sum: f64 = z.iter().zip(&places).map(|(z, c)| (z.unwrap() - waves(c.x, c.y)).powi(2)).sum();
            (sum / places.len() as f64).sqrt()
        };
        let (coarse, fine) = (rms(1000), rms(16_000));
        // Points four times as close: a sixteenth of the error, with room for chance.
        assert!(coarse < 0.02 && fine < coarse / 10.0, "{coarse} {fine}");
    }

    /// A regular lattice puts four points on one circle everywhere; heights must still be those of the bilinear patch
    /// at its middle, and the same from all sides.
    #[test]
    fn points_on_a_lattice_are_no_trouble() {
        let points: Vec<HeightPoint> = (0..400)
            .map(|k| (f64::from(k % 20) * 5.0, f64::from(k / 20) * 5.0))
            .map(|(x, y)| HeightPoint { at: Coord { x, y }, height_m: x * y / 100.0 })
            .collect();
        let places: Vec<Coord<f64>> =
            (0..324).map(|k| Coord { x: f64::from(k % 18) * 5.0 + 2.5, y: f64::from(k / 18) * 5.0 + 2.5 }).collect();
        let z = heights_at(&points, &places, Interpolant::NaturalNeighbour, f64::INFINITY).unwrap();
        for (z, at) in z.iter().zip(&places) {
            assert!((z.unwrap() - at.x * at.y / 100.0).abs() < 1e-9, "{at:?} {z:?}");
        }
    }

    /// A step of 2 m along a breakline pair: without the lines heights run into each other, with them each side is its
    /// own plane to the last digit, and on the face of the step they run straight.
    #[test]
    fn breaklines_keep_both_sides_apart() {
        let high = |x: f64, y: f64| 10.0 + 0.01 * x + 0.02 * y;
        let ground = |x: f64, y: f64| if x < 50.0 { high(x, y) } else { high(x, y) - 2.0 };
        let points = scattered(600, 100.0, ground);
        let points: Vec<HeightPoint> = points.into_iter().filter(|p| !(49.0..=52.0).contains(&p.at.x)).collect();
        let line = |x: f64, drop: f64| -> Vec<HeightPoint> {
            (0..=4)
                .map(|k| f64::from(k) * 25.0)
                .map(|y| HeightPoint { at: Coord { x, y }, height_m: high(x, y) - drop })
                .collect()
        };
        let lines = [line(50.0, 0.0), line(51.0, 2.0)];
        let spec = GridSpec { north_west: Coord { x: 10.0, y: 90.0 }, cell_m: 0.5, rows: 160, cols: 160 };
        let grid = |lines: &[Vec<HeightPoint>]| {
            interpolate_with_breaks(&points, lines, spec, Interpolant::NaturalNeighbour, f64::INFINITY).unwrap()
        };
        let worst = |gridded: &super::super::interpolate::Gridded| {
            let miss = gridded.raster.iter().map(|(cell, z)| {
                let c = spec.centre(cell);
                let down = (c.x - 50.0).clamp(0.0, 1.0) * 2.0;
                (f64::from(z) - (high(c.x, c.y) - down)).abs()
            });
            miss.fold(0.0, f64::max)
        };
        let with = grid(&lines);
        assert!(with.crossing.is_empty());
        assert!(worst(&with) < 1e-5, "{}", worst(&with));
        assert!(worst(&grid(&[])) > 0.5);
        // A line across both cannot be an edge and is said to be left out.
        let across = vec![
            HeightPoint { at: Coord { x: 40.0, y: 40.0 }, height_m: 11.0 },
            HeightPoint { at: Coord { x: 60.0, y: 40.0 }, height_m: 11.0 },
        ];
        assert!(!grid(&[lines[0].clone(), lines[1].clone(), across]).crossing.is_empty());
    }

    #[test]
    fn planes_come_back() {
        let points = merge_duplicates(&scattered(300, 50.0, |x, y| 3.0 - 0.2 * x + 0.1 * y)).unwrap();
        // Up to the hull and beyond it: where there is a height, it is that of the plane.
        let places: Vec<Coord<f64>> =
            (0..3600).map(|k| Coord { x: f64::from(k % 60) - 5.0, y: f64::from(k / 60) - 5.0 }).collect();
        let z = heights_at(&points, &places, Interpolant::NaturalNeighbour, f64::INFINITY).unwrap();
        let found = z.iter().flatten().count();
        assert!(found > 2000 && found < 2700, "{found}");
        for (z, at) in z.iter().zip(&places) {
            assert!(z.is_none_or(|z| (z - (3.0 - 0.2 * at.x + 0.1 * at.y)).abs() < 1e-9), "{at:?} {z:?}");
        }
    }
}
