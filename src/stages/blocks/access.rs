//! How a loaded haul-out gets from every block to the loading place without crossing another block's rows.
//!
//! The property is walked on a grid: headlands and tracks are free to use, other land wants a new track, strips that stay free
//! (waterways, buffers, easements) are only crossed, land under rows and kept land is closed. The cheapest way of
//! every block becomes a new track where nothing else carries it; blocks reached by what is there add nothing.

use crate::finding::{Finding, Place, Severity};
use crate::grid::{Cell, GridSpec};
use crate::land::blocks::{BlockPlan, PlannedTrack};
use crate::land::site::Site;
use crate::land::water::WaterModel;
use crate::methods::flow::grow;
use crate::methods::shapes::cells_inside;
use geo::{Area, BoundingRect, Coord, Distance, Euclidean, LineString, Point, Simplify};

const STAGE: &str = "blocks";
/// Least side of the cells, metres: two across the narrowest headland; and most cells.
const CELL_M: f64 = 2.5;
const CELLS: f64 = 1_500_000.0;
/// What a metre counts: on a headland or track, over open land, across a strip that stays free.
const DRIVEN: f64 = 1.0;
const NEW: f64 = 3.0;
const CROSSED: f64 = 40.0;
/// Stretches of new track shorter than this are a gap between headlands, metres.
const SHORTEST_M: f64 = 12.0;
/// Width a track has when none is given, metres.
const TRACK_M: f64 = 5.0;
/// A track that comes this close to the boundary is an entrance, metres.
const ENTRANCE_M: f64 = 15.0;

/// Lays the tracks and tells what is in the way.
pub(super) fn lay(site: &Site, water: Option<&WaterModel>, width_m: f64, plan: &mut BlockPlan) -> Vec<Finding> {
    let Some((from, what)) = start(site) else {
        return vec![Finding::new(
            Severity::Note,
            STAGE,
            "access_not_checked",
            "Neither a loading place nor a track that enters the property was given: the way of the crop out of the blocks is not checked.",
        )];
    };
    let Some(rect) = site.boundary.bounding_rect() else { return Vec::new() };
    let spec = GridSpec::covering(rect, CELL_M.max((rect.width() * rect.height() / CELLS).sqrt()));
    let mut ground = Ground::of(site, water, plan, spec);
    let mut findings = Vec::new();
    let Some(seed) = ground.nearest_open(from) else { return findings };
    let mut reach = grow(spec, &[(seed, 0.0)], &ground.factor, 1.0);
    for i in 0..plan.blocks.len() {
        let name = plan.blocks[i].name.clone();
        let here = Place::Named(format!("block {name}"));
        let nearest = ground.headlands[i].iter().copied().filter(|c| reach.value[*c].is_finite()).min_by(|a, b| {
            // Ends on headlands cost what the way costs; the cheapest is where the block is entered.
            way_cost(&reach, *a, &ground.factor, spec).total_cmp(&way_cost(&reach, *b, &ground.factor, spec))
        });
        let Some(end) = nearest else {
            let text = format!("Block {name} cannot be reached from {what} without crossing rows or kept land.");
            findings.push(Finding::new(Severity::Severe, STAGE, "no_access", text).at(here));
            continue;
        };
        let path = reach.path_from(end);
        let over = path.iter().filter(|c| ground.kind[**c as usize] == Kind::Strip).count();
        if over > 0 {
            let text = format!(
                "The way from block {name} to {what} crosses a waterway, buffer or easement over {:.0} m: a crossing is needed, ask the authority or the owner first.",
                over as f64 * spec.cell_m
            );
            findings.push(Finding::new(Severity::Warning, STAGE, "access_crosses", text).at(here));
        }
        for stretch in ground.new_stretches(&path) {
            plan.tracks.push(PlannedTrack {
                id: u32::try_from(plan.tracks.len() + 1).unwrap_or(u32::MAX),
                line: stretch.simplify(1.5 * spec.cell_m),
                width_m,
            });
        }
        let new = path.iter().any(|cell| ground.factor[*cell as usize] > DRIVEN);
        for cell in &path {
            ground.factor[*cell as usize] = DRIVEN;
            ground.kind[*cell as usize] = Kind::Driven;
        }
        if new {
            reach = grow(spec, &[(seed, 0.0)], &ground.factor, 1.0);
        }
    }
    findings
}

/// Where the crop leaves: the loading place, else where a track enters.
fn start(site: &Site) -> Option<(Coord<f64>, &'static str)> {
    if let Some(place) = site.layers.loading_place {
        return Some((place, "the loading place"));
    }
    let rings = || site.boundary.0.iter().map(geo::Polygon::exterior);
    let near = |c: &Coord<f64>| rings().any(|r| Euclidean.distance(&Point(*c), r) < ENTRANCE_M);
    let ends = site.layers.tracks.iter().flat_map(|t| [t.line.0.first(), t.line.0.last()]).flatten();
    ends.copied().find(near).map(|c| (c, "the entrance"))
}

/// Cost of the way from a cell: the sum of the factors on it.
fn way_cost(reach: &crate::methods::flow::Reach, from: usize, factor: &[f64], spec: GridSpec) -> f64 {
    reach.path_from(from).iter().map(|c| factor[*c as usize]).sum::<f64>() * spec.cell_m
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Closed,
    Driven,
    Open,
    Strip,
}

/// What stands on each cell.
struct Ground {
    spec: GridSpec,
    kind: Vec<Kind>,
    factor: Vec<f64>,
    /// The headland cells of every block.
    headlands: Vec<Vec<usize>>,
}

impl Ground {
    fn of(site: &Site, water: Option<&WaterModel>, plan: &BlockPlan, spec: GridSpec) -> Self {
        let mut kind = vec![Kind::Closed; spec.len()];
        let mut headlands = Vec::new();
        let mut paint = |shape: Vec<bool>, as_kind: Kind| {
            for (k, _) in kind.iter_mut().zip(&shape).filter(|(_, s)| **s) {
                *k = as_kind;
            }
        };
        paint(cells_inside(spec, &site.boundary), Kind::Open);
        if let Some(water) = water {
            paint(cells_inside(spec, &water.no_rows), Kind::Strip);
        }
        for area in &site.layers.keep_areas {
            paint(cells_inside(spec, &area.outline), Kind::Closed);
        }
        for block in &plan.blocks {
            let cells = window(spec, block);
            for (cell, rows) in &cells {
                kind[*cell] = if *rows { Kind::Closed } else { Kind::Driven };
            }
            headlands.push(cells.into_iter().filter(|(_, rows)| !rows).map(|(cell, _)| cell).collect());
        }
        for track in &site.layers.tracks {
            let half = track.width_m.unwrap_or(TRACK_M) / 2.0 + spec.cell_m / 2.0;
            for cell in along(spec, &track.line, half) {
                kind[cell] = Kind::Driven;
            }
        }
        let factor = kind
            .iter()
            .map(|k| match k {
                Kind::Closed => f64::INFINITY,
                Kind::Driven => DRIVEN,
                Kind::Open => NEW,
                Kind::Strip => CROSSED,
            })
            .collect();
        Self { spec, kind, factor, headlands }
    }

    fn nearest_open(&self, at: Coord<f64>) -> Option<Cell> {
        let away = |i: usize| {
            let c = self.spec.centre(self.spec.cell(i));
            (c.x - at.x).hypot(c.y - at.y)
        };
        let open = (0..self.kind.len()).filter(|i| self.kind[*i] != Kind::Closed);
        open.min_by(|a, b| away(*a).total_cmp(&away(*b))).map(|i| self.spec.cell(i))
    }

    /// Stretches of a path that nothing carries yet.
    fn new_stretches(&self, path: &[u32]) -> Vec<LineString<f64>> {
        let centre = |c: &u32| self.spec.centre(self.spec.cell(*c as usize));
        path.chunk_by(|a, b| (self.kind[*a as usize] == Kind::Driven) == (self.kind[*b as usize] == Kind::Driven))
            .filter(|run| self.kind[run[0] as usize] != Kind::Driven)
            .filter(|run| run.len() as f64 * self.spec.cell_m >= SHORTEST_M)
            .map(|run| run.iter().map(centre).collect())
            .collect()
    }
}

/// Cells of a block's outline, and whether rows stand there.
fn window(spec: GridSpec, block: &crate::land::blocks::RowBlock) -> Vec<(usize, bool)> {
    if block.outline.unsigned_area() <= 0.0 {
        return Vec::new();
    }
    let Some(rect) = block.outline.bounding_rect() else { return Vec::new() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid")]
    let cells = |metres: f64, most: u32| (metres / spec.cell_m).floor().clamp(0.0, f64::from(most)) as u32;
    let (west, north) = (spec.north_west.x, spec.north_west.y);
    let (left, right) = (cells(rect.min().x - west, spec.cols), cells(rect.max().x - west + spec.cell_m, spec.cols));
    let (top, bottom) = (cells(north - rect.max().y, spec.rows), cells(north - rect.min().y + spec.cell_m, spec.rows));
    let corner = Coord { x: west + f64::from(left) * spec.cell_m, y: north - f64::from(top) * spec.cell_m };
    let near = GridSpec { north_west: corner, cell_m: spec.cell_m, rows: bottom - top, cols: right - left };
    let (all, rows) = (cells_inside(near, &block.outline), cells_inside(near, &block.cropped));
    let there = |i: usize| {
        let cell = near.cell(i);
        spec.index(Cell { row: cell.row + top, col: cell.col + left })
    };
    (0..near.len()).filter(|i| all[*i]).map(|i| (there(i), rows[i])).collect()
}

/// Cells within a distance of a line, found by walking along it.
fn along(spec: GridSpec, line: &LineString<f64>, half_m: f64) -> Vec<usize> {
    let mut cells = Vec::new();
    #[expect(clippy::cast_possible_truncation, reason = "a few cells")]
    let r = (half_m / spec.cell_m).ceil() as i32;
    for edge in line.lines() {
        let length = edge.dx().hypot(edge.dy());
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of steps")]
        let steps = (length / spec.cell_m).ceil().max(1.0) as u32;
        for k in 0..=steps {
            let at = edge.start + (edge.end - edge.start) * (f64::from(k) / f64::from(steps));
            for (dx, dy) in (-r..=r).flat_map(|dx| (-r..=r).map(move |dy| (dx, dy))) {
                let beside = Coord { x: at.x + f64::from(dx) * spec.cell_m, y: at.y + f64::from(dy) * spec.cell_m };
                if f64::from(dx * dx + dy * dy).sqrt() * spec.cell_m <= half_m
                    && let Some(cell) = spec.cell_at(beside)
                {
                    cells.push(spec.index(cell));
                }
            }
        }
    }
    cells
}
