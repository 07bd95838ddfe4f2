//! A triangulation of surveyed points in flat arrays, made for being read millions of times.
//!
//! The triangulation itself is that of crate `spade`: Delaunay with exact predicates, constrained along breaklines.
//! Its triangles are copied into arrays with their circumcircles, and a grid of starting triangles makes finding the
//! triangle of a place a matter of a step or two from wherever one comes.
//!
//! Shapes and units: metres, relative to the first point so that no digits are lost. Corners counter-clockwise;
//! half-edge `3 t + k` runs from corner `k` of triangle `t` to the next.
//!
//! Source: crate `spade` for the triangulation; walks from edge to edge are common practice (Devillers, O., Pion, S. and
//! Teillaud, M. (2002), International Journal of Foundations of Computer Science 13, 181-199).
//!
//! How we know: through its readers, see `natural` and `interpolate`; `every_place_is_found`.

use super::interpolate::{HeightPoint, InterpolationError};
use geo::Coord;
use spade::handles::FixedUndirectedEdgeHandle;
use spade::{ConstrainedDelaunayTriangulation, DelaunayTriangulation, HasPosition, Point2, Triangulation};

/// No triangle on the other side.
const HULL: u32 = u32::MAX;
/// Marks the half-edges of breaklines.
const BREAK: u32 = 1 << 31;

/// A point while it is triangulated.
#[derive(Debug, Clone, Copy)]
struct Node {
    at: Point2<f64>,
    index: u32,
}

impl HasPosition for Node {
    type Scalar = f64;
    fn position(&self) -> Point2<f64> {
        self.at
    }
}

/// A triangle with all a walk asks for: one line of memory.
#[derive(Debug, Clone, Copy)]
pub(super) struct Triangle {
    /// Circumcentre (east, north) and squared radius.
    pub circle: [f64; 3],
    /// Indices of the corners.
    pub corners: [u32; 3],
    /// The half-edges on the other side, with [`BREAK`] set along breaklines; [`HULL`] at the rim.
    twins: [u32; 3],
}

/// A triangulated set of points.
pub(super) struct Mesh {
    /// What positions are relative to.
    pub origin: Coord<f64>,
    /// East, north, height of the points.
    pub nodes: Vec<[f64; 3]>,
    /// The triangles.
    pub triangles: Vec<Triangle>,
    starts: Starts,
}

/// A grid of triangles to begin a search from.
struct Starts {
    low: [f64; 2],
    per_m: f64,
    cols: usize,
    rows: usize,
    triangle: Vec<u32>,
}

impl Mesh {
    /// Triangulates distinct points; `breaks` are pairs of their indices that must be edges. Returns the pairs that
    /// could not be made edges because they cross others.
    ///
    /// # Errors
    /// When the points do not span a surface.
    pub fn new(points: &[HeightPoint], breaks: &[[usize; 2]]) -> Result<(Self, Vec<[usize; 2]>), InterpolationError> {
        let origin = points.first().map_or(Coord { x: 0.0, y: 0.0 }, |p| p.at);
        let nodes: Vec<[f64; 3]> = points.iter().map(|p| [p.at.x - origin.x, p.at.y - origin.y, p.height_m]).collect();
        let node = |(n, index): (&[f64; 3], u32)| Node { at: Point2::new(n[0], n[1]), index };
        let vertices: Vec<Node> = nodes.iter().zip(0..).map(node).collect();
        let refused = |e: spade::InsertionError| InterpolationError::Triangulation(e.to_string());
        let mut crossing = Vec::new();
        let triangles = if breaks.is_empty() {
            let mesh: DelaunayTriangulation<Node> = DelaunayTriangulation::bulk_load(vertices).map_err(refused)?;
            flattened(&mesh, &nodes, |_| false)
        } else {
            let mesh = ConstrainedDelaunayTriangulation::try_bulk_load_cdt(vertices, breaks.to_vec(), |pair| {
                crossing.push(pair);
            });
            let mesh: ConstrainedDelaunayTriangulation<Node> = mesh.map_err(refused)?;
            flattened(&mesh, &nodes, |edge| mesh.is_constraint_edge(edge))
        };
        if triangles.is_empty() {
            return Err(InterpolationError::NoSurface { places: points.len() });
        }
        let starts = Starts::over(&nodes, &triangles);
        Ok((Self { origin, nodes, triangles, starts }, crossing))
    }

    /// The half-edge on the other side; `None` at the rim.
    pub fn twin(&self, edge: usize) -> Option<usize> {
        let twin = self.triangles[edge / 3].twins[edge % 3];
        (twin != HULL).then_some((twin & !BREAK) as usize)
    }
    /// The half-edge on the other side unless a breakline or the rim is between.
    pub fn open_twin(&self, edge: usize) -> Option<usize> {
        let twin = self.triangles[edge / 3].twins[edge % 3];
        (twin & BREAK == 0).then_some(twin as usize)
    }
    /// The corner a half-edge begins at.
    pub fn from(&self, edge: usize) -> usize {
        self.triangles[edge / 3].corners[edge % 3] as usize
    }
    /// A place relative to the origin.
    pub fn relative(&self, at: Coord<f64>) -> [f64; 2] {
        [at.x - self.origin.x, at.y - self.origin.y]
    }
    /// The triangle a place lies in, rims included; `None` outside the convex hull.
    pub fn find(&self, place: [f64; 2]) -> Option<usize> {
        if !(place[0].is_finite() && place[1].is_finite()) {
            return None;
        }
        let mut triangle = self.starts.near(place);
        let mut turn = 0;
        // A straight walk ends in a Delaunay triangulation; with breaklines it might go round, so the first edge
        // looked at changes from step to step, and no walk is longer than all triangles.
        for _ in 0..=4 * self.triangles.len() {
            let outward = (0..3).map(|k| (k + turn) % 3).find(|k| self.is_beyond(3 * triangle + k, place));
            let Some(k) = outward else { return Some(triangle) };
            triangle = self.twin(3 * triangle + k)? / 3;
            turn = (turn + 1) % 3;
        }
        None
    }
    /// Whether a place lies beyond an edge, seen from its triangle. At the rim rounding is forgiven.
    fn is_beyond(&self, edge: usize, place: [f64; 2]) -> bool {
        let (a, b) = (self.nodes[self.from(edge)], self.nodes[self.from(next(edge))]);
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let side = dx * (place[1] - a[1]) - dy * (place[0] - a[0]);
        side < 0.0 && (self.triangles[edge / 3].twins[edge % 3] != HULL || side < -1e-9 * (dx.abs() + dy.abs()))
    }
}

/// The next half-edge of the same triangle.
pub(super) const fn next(edge: usize) -> usize {
    if edge % 3 == 2 { edge - 2 } else { edge + 1 }
}

/// The triangles of a triangulation with their neighbours.
fn flattened<T>(mesh: &T, nodes: &[[f64; 3]], is_break: impl Fn(FixedUndirectedEdgeHandle) -> bool) -> Vec<Triangle>
where
    T: Triangulation<Vertex = Node>,
{
    let mut half_edge = vec![HULL; mesh.num_directed_edges()];
    for (t, face) in (0_u32..).zip(mesh.inner_faces()) {
        for (k, edge) in (0..).zip(face.adjacent_edges()) {
            half_edge[edge.fix().index()] = 3 * t + k;
        }
    }
    let triangle = |face: spade::handles::FaceHandle<'_, spade::handles::InnerTag, Node, _, _, _>| {
        let edges = face.adjacent_edges();
        let corners = edges.map(|e| e.from().data().index);
        let twins = edges.map(|e| match half_edge[e.rev().fix().index()] {
            HULL => HULL,
            twin if is_break(e.as_undirected().fix()) => twin | BREAK,
            twin => twin,
        });
        Triangle { circle: circumcircle(nodes, &corners), corners, twins }
    };
    mesh.inner_faces().map(triangle).collect()
}

fn circumcircle(nodes: &[[f64; 3]], corners: &[u32; 3]) -> [f64; 3] {
    let [a, b, c] = corners.map(|i| nodes[i as usize]);
    match centre_with([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]) {
        Some([x, y]) => [a[0] + x, a[1] + y, x * x + y * y],
        // Three points all but on a line: a circle as wide as a half plane.
        None => [a[0], a[1], f64::INFINITY],
    }
}

/// Centre of the circle through the origin and two points; `None` when the three are all but on a line.
pub(super) fn centre_with(a: [f64; 2], b: [f64; 2]) -> Option<[f64; 2]> {
    let (aa, bb) = (a[0] * a[0] + a[1] * a[1], b[0] * b[0] + b[1] * b[1]);
    let d = 2.0 * (a[0] * b[1] - a[1] * b[0]);
    if d.abs() <= 1e-13 * (aa + bb) {
        return None;
    }
    Some([(b[1] * aa - a[1] * bb) / d, (a[0] * bb - b[0] * aa) / d])
}

impl Starts {
    fn over(nodes: &[[f64; 3]], triangles: &[Triangle]) -> Self {
        let bound = |k: usize, f: fn(f64, f64) -> f64, from: f64| nodes.iter().map(|n| n[k]).fold(from, f);
        let low = [bound(0, f64::min, f64::INFINITY), bound(1, f64::min, f64::INFINITY)];
        let high = [bound(0, f64::max, f64::NEG_INFINITY), bound(1, f64::max, f64::NEG_INFINITY)];
        let (w, h) = ((high[0] - low[0]).max(1e-9), (high[1] - low[1]).max(1e-9));
        // About one cell to a point, never more than that along either side of a thin strip.
        let count = nodes.len() as f64;
        let per_m = (count / (w * h)).sqrt().min(count / w.max(h));
        let (cols, rows) = ((w * per_m) as usize + 1, (h * per_m) as usize + 1);
        let mut starts = Self { low, per_m, cols, rows, triangle: vec![HULL; cols * rows] };
        for (t, triangle) in triangles.iter().enumerate() {
            let middle = |k: usize| triangle.corners.iter().map(|i| nodes[*i as usize][k]).sum::<f64>() / 3.0;
            let cell = starts.cell([middle(0), middle(1)]);
            starts.triangle[cell] = starts.triangle[cell].min(t as u32);
        }
        let mut last = starts.triangle.iter().copied().find(|t| *t != HULL).unwrap_or(0);
        for t in &mut starts.triangle {
            if *t == HULL {
                *t = last;
            }
            last = *t;
        }
        starts
    }
    fn cell(&self, place: [f64; 2]) -> usize {
        let at = |k: usize, n: usize| (((place[k] - self.low[k]) * self.per_m).max(0.0) as usize).min(n - 1);
        at(1, self.rows) * self.cols + at(0, self.cols)
    }
    fn near(&self, place: [f64; 2]) -> usize {
        self.triangle[self.cell(place)] as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points on a lattice with a hole in it and a long thin tail, some edges forced.
    fn mesh() -> Mesh {
        let lattice = (0..100).map(|k| (f64::from(k % 10), f64::from(k / 10)));
        let tail = (1..40).map(|k| (9.0 + f64::from(k), 4.5 + 0.01 * f64::from(k % 3)));
        let points: Vec<HeightPoint> = lattice
            .filter(|(x, y)| !(3.0..=6.0).contains(x) || !(3.0..=6.0).contains(y))
            .chain(tail)
            .map(|(x, y)| HeightPoint { at: Coord { x, y }, height_m: 0.0 })
            .collect();
        let (mesh, crossing) = Mesh::new(&points, &[[0, 9], [0, 70]]).unwrap();
        assert!(crossing.is_empty());
        mesh
    }

    #[test]
    fn every_place_is_found() {
        let mesh = mesh();
        let mut inside = 0;
        for k in 0..10_000 {
            let place = [f64::from(k % 200) * 0.25 - 1.0, f64::from(k / 200) * 0.21 - 0.5];
            let holds = |t: usize| (0..3).all(|k| !mesh.is_beyond(3 * t + k, place));
            let by_search = (0..mesh.triangles.len()).any(holds);
            let found = mesh.find(place);
            assert_eq!(found.is_some(), by_search, "{place:?}");
            assert!(found.is_none_or(holds), "{place:?}");
            inside += u32::from(by_search);
        }
        assert!(inside > 2000, "{inside}");
        assert_eq!(mesh.find([f64::NAN, 0.0]), None);
    }

    /// Derived: twins are each other's twins and run between the same corners; every corner lies on its circle.
    #[test]
    fn neighbours_fit() {
        let mesh = mesh();
        for edge in 0..3 * mesh.triangles.len() {
            if let Some(twin) = mesh.twin(edge) {
                assert_eq!(mesh.twin(twin), Some(edge));
                assert_eq!((mesh.from(edge), mesh.from(next(edge))), (mesh.from(next(twin)), mesh.from(twin)));
            }
        }
        for t in &mesh.triangles {
            for corner in t.corners {
                let n = mesh.nodes[corner as usize];
                let r2 = (n[0] - t.circle[0]).powi(2) + (n[1] - t.circle[1]).powi(2);
                assert!((r2 / t.circle[2] - 1.0).abs() < 1e-6, "{t:?}");
            }
        }
        let closed =
            (0..3 * mesh.triangles.len()).filter(|e| mesh.twin(*e).is_some() && mesh.open_twin(*e).is_none()).count();
        assert!(closed > 0, "a forced edge inside is closed to both sides");
    }
}
