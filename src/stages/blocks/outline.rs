//! Outlines as the layout sees them: every edge with what lies beside it.

use super::params::BlocksParams;
use crate::land::site::Site;
use crate::methods::shapes::ClearEdge;
use crate::units::Bearing;
use geo::orient::Direction;
use geo::{Area, Coord, Distance, Euclidean, Line, LineString, LinesIter, Orient, Point, Polygon};
use rstar::primitives::GeomWithData;
use rstar::{AABB, RTree};

/// Rows that cross an edge at less than this angle run along it.
const SIDE_ANGLE_DEG: f64 = 30.0;
/// An edge of a block this close to its piece's outline lies on it, metres.
const ON_OUTLINE_M: f64 = 0.05;
/// A drain, waterway or power line this close to an edge lies beside it, metres.
const BESIDE_M: f64 = 15.0;
/// An edge this close to the property's boundary has a fence beside it, metres.
const FENCE_M: f64 = 3.0;

/// What lies on the other side of an edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beside {
    /// Nothing that matters.
    Open,
    /// Another block, which gives half of the strip.
    Block,
    /// The property's fence.
    Fence,
    /// A drain, a waterway or a power line.
    Drain,
}

/// The lines of the site that matter beside an edge.
pub(super) struct Surroundings {
    fences: RTree<rstar::primitives::Line<[f64; 2]>>,
    drains: RTree<rstar::primitives::Line<[f64; 2]>>,
}

fn indexed<'a>(lines: impl Iterator<Item = &'a LineString<f64>>) -> RTree<rstar::primitives::Line<[f64; 2]>> {
    let segment = |l: Line<f64>| rstar::primitives::Line::new([l.start.x, l.start.y], [l.end.x, l.end.y]);
    RTree::bulk_load(lines.flat_map(|l| l.lines().map(segment).collect::<Vec<_>>()).collect())
}

impl Surroundings {
    /// Gathers the fences and the drains, waterways and power lines.
    pub(super) fn of(site: &Site) -> Self {
        let rings = site.boundary.0.iter().flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
        let layers = &site.layers;
        let drains = layers.waterways.iter().map(|w| &w.line);
        let drains = drains.chain(layers.neighbour_drains.iter().map(|d| &d.line));
        Self { fences: indexed(rings), drains: indexed(drains.chain(layers.power_lines.iter().map(|p| &p.line))) }
    }

    fn beside(&self, at: Coord<f64>) -> Beside {
        let near = |tree: &RTree<rstar::primitives::Line<[f64; 2]>>, reach: f64| {
            tree.nearest_neighbor_iter_with_distance_2(&[at.x, at.y]).next().is_some_and(|(_, d2)| d2 < reach * reach)
        };
        if near(&self.drains, BESIDE_M) {
            Beside::Drain
        } else if near(&self.fences, FENCE_M) {
            Beside::Fence
        } else {
            Beside::Open
        }
    }
}

/// The edges of a whole piece.
pub(super) struct PieceEdges(RTree<GeomWithData<rstar::primitives::Line<[f64; 2]>, Beside>>);

impl PieceEdges {
    /// Tells for every edge of a piece what lies beside it.
    pub(super) fn of(piece: &Polygon<f64>, around: &Surroundings) -> Self {
        let entry = |l: Line<f64>| {
            let segment = rstar::primitives::Line::new([l.start.x, l.start.y], [l.end.x, l.end.y]);
            GeomWithData::new(segment, around.beside((l.start + l.end) / 2.0))
        };
        Self(RTree::bulk_load(piece.lines_iter().map(entry).collect()))
    }

    fn beside(&self, edge: Line<f64>) -> Beside {
        let middle = (edge.start + edge.end) / 2.0;
        let reach = ON_OUTLINE_M;
        let window = AABB::from_corners([middle.x - reach, middle.y - reach], [middle.x + reach, middle.y + reach]);
        self.0
            .locate_in_envelope_intersecting(&window)
            .filter(|e| {
                let (a, b) = (e.geom().from, e.geom().to);
                let line = Line::new(Coord { x: a[0], y: a[1] }, Coord { x: b[0], y: b[1] });
                Euclidean.distance(&Point(middle), &line) < reach
            })
            .map(|e| e.data)
            .next()
            .unwrap_or(Beside::Block)
    }
}

/// A polygon with what lies beside each of its edges.
#[derive(Debug, Clone)]
pub(super) struct Outline {
    pub(super) polygon: Polygon<f64>,
    pub(super) area_m2: f64,
    pub(super) edges: Vec<(Line<f64>, Beside)>,
}

impl Outline {
    /// A part of a piece; edges that do not lie on the piece's outline face another block.
    pub(super) fn of(polygon: &Polygon<f64>, piece: &PieceEdges) -> Self {
        let polygon = polygon.orient(Direction::Default);
        let edges = polygon.lines_iter().filter(|e| e.start != e.end).map(|e| (e, piece.beside(e))).collect();
        Self { area_m2: polygon.unsigned_area(), edges, polygon }
    }

    /// The edges with the width each keeps free of rows of a bearing, on the grid.
    pub(super) fn clear(&self, p: &BlocksParams, scale: f64, rows: Bearing) -> Vec<ClearEdge> {
        self.edges
            .iter()
            .map(|(line, beside)| ClearEdge { line: *line, clear_m: width_m(p, *line, *beside, rows) * scale })
            .collect()
    }

    /// The same outline with no edge longer than asked for.
    pub(super) fn broken(&self, longest_m: f64) -> Self {
        let mut parents = self.edges.iter();
        let mut edges = Vec::new();
        let mut ring = |ring: &LineString<f64>| {
            let mut points = Vec::new();
            for line in ring.lines().filter(|l| l.start != l.end) {
                let beside = parents.next().map_or(Beside::Open, |(_, beside)| *beside);
                let parts = (line.dx().hypot(line.dy()) / longest_m).ceil().max(1.0);
                let mut from = line.start;
                let mut part = 0.0;
                while part < parts {
                    part += 1.0;
                    let to = if part < parts { line.start + line.delta() * (part / parts) } else { line.end };
                    edges.push((Line::new(from, to), beside));
                    points.push(from);
                    from = to;
                }
            }
            points.extend(points.first().copied());
            LineString(points)
        };
        let exterior = ring(self.polygon.exterior());
        let interiors = self.polygon.interiors().iter().map(ring).collect();
        Self { polygon: Polygon::new(exterior, interiors), area_m2: self.area_m2, edges }
    }

    /// Width of the headland along an edge given by its ends, on the ground.
    pub(super) fn width_at(&self, p: &BlocksParams, start: Coord<f64>, end: Coord<f64>, rows: Bearing) -> f64 {
        let same = |l: &Line<f64>| (l.start == start && l.end == end) || (l.start == end && l.end == start);
        let beside = self.edges.iter().find(|(l, _)| same(l)).map_or(Beside::Open, |(_, b)| *b);
        width_m(p, Line::new(start, end), beside, rows)
    }
}

/// Whether rows run along an edge.
pub(super) fn is_side(edge: Line<f64>, rows: Bearing) -> bool {
    Bearing::from_east_north(edge.dx(), edge.dy()).axis_angle_to(rows) < SIDE_ANGLE_DEG
}

fn width_m(p: &BlocksParams, edge: Line<f64>, beside: Beside, rows: Bearing) -> f64 {
    let side = is_side(edge, rows);
    let plain = if side { p.side_headland_m } else { p.turning_headland_m };
    match beside {
        Beside::Open => plain,
        Beside::Block if side => p.side_headland_m / 2.0,
        Beside::Block => p.shared_headland_m / 2.0,
        Beside::Fence if side => plain,
        Beside::Fence => plain + p.beside_fence_m,
        Beside::Drain => plain + p.beside_drain_m,
    }
}
