//! The way from any place on the property to where water may leave: cheapest paths on a grid.

use super::params::DrainsParams;
use crate::grid::{Cell, GridSpec};
use crate::land::blocks::BlockPlan;
use crate::land::drains::DrainsTo;
use crate::land::site::Site;
use crate::land::survey::ElevationModel;
use crate::land::water::WaterModel;
use crate::methods::flow::{Reach, grow};
use crate::methods::shapes::{Edges, LineFamily};
use crate::units::Bearing;
use geo::{BoundingRect, Coord, Rect};
use std::collections::BTreeMap;

/// Most cells of the routing grid; larger properties are routed on larger cells.
const MOST_CELLS: f64 = 1_500_000.0;
/// Land that is neither block nor kept: a metre counts a little more than on a headland.
const OTHER_LAND: f64 = 1.2;
/// Land outside the boundary near an outlet, so that an outlet drawn just outside can be reached.
const OUTSIDE_AT_OUTLET: f64 = 2.0;
/// Buffers along water are crossed only where it is short.
const BUFFER: f64 = 3.0;
/// How far outside the boundary an outlet may lie, metres.
const OUTLET_OUTSIDE_M: f64 = 30.0;
/// Mouths are looked for this many cells around a place that no path reaches.
const SEARCH_CELLS: u32 = 4;

/// Where drains may end, and the lowest bed level allowed there.
#[derive(Debug, Clone, PartialEq)]
pub struct End {
    /// Outlet or waterway.
    pub to: DrainsTo,
    /// Place.
    pub at: Coord<f64>,
    /// Lowest bed level allowed, metres.
    pub level_m: f64,
}

/// Paths to the ends from every cell.
pub struct Routes {
    /// The grid.
    pub spec: GridSpec,
    reach: Reach,
    ends: BTreeMap<usize, End>,
}

/// The grid drains are routed on and how dear each cell is.
pub struct RouteGround {
    spec: GridSpec,
    factor: Vec<f64>,
    ends: BTreeMap<usize, End>,
}

impl RouteGround {
    /// Prices every cell and finds the ends; `None` without a boundary.
    #[must_use]
    pub fn new(
        site: &Site,
        water: &WaterModel,
        blocks: &BlockPlan,
        concept: &ElevationModel,
        p: &DrainsParams,
    ) -> Option<Self> {
        let spec = route_grid(site, water, p)?;
        let mut factor = vec![f64::INFINITY; spec.len()];
        paint(spec, &site.boundary, |i| factor[i] = OTHER_LAND);
        let inside: Vec<bool> = factor.iter().map(|f| f.is_finite()).collect();
        for outlet in &water.outlets {
            for i in cells_around(spec, outlet.at, OUTLET_OUTSIDE_M) {
                factor[i] = factor[i].min(OUTSIDE_AT_OUTLET);
            }
        }
        for block in &blocks.blocks {
            paint(spec, &block.outline, |i| factor[i] = 1.0);
            paint(spec, &block.cropped, |i| factor[i] = p.crop_detour_ratio);
        }
        for buffer in &water.buffers {
            paint(spec, &buffer.outline, |i| factor[i] = factor[i].max(BUFFER));
        }
        for keep in &site.layers.keep_areas {
            paint(spec, &keep.outline, |i| factor[i] = f64::INFINITY);
        }
        let ends = ends(site, water, concept, spec, &inside, p);
        Some(Self { spec, factor, ends })
    }

    /// Cheapest paths when a metre of drain weighs as much as `rate` metres of outlet level.
    #[must_use]
    pub fn routes(&self, rate: f64) -> Routes {
        let seeds: Vec<(Cell, f64)> = self.ends.iter().map(|(i, end)| (self.spec.cell(*i), end.level_m)).collect();
        Routes { spec: self.spec, reach: grow(self.spec, &seeds, &self.factor, rate), ends: self.ends.clone() }
    }
}

impl Routes {
    /// The cell a drain starting at `at` begins its way in: its own, else the nearest one that has a way.
    #[must_use]
    pub fn start(&self, at: Coord<f64>) -> Option<usize> {
        let cell = self.spec.cell_at(at)?;
        let own = self.spec.index(cell);
        if self.reach.value[own].is_finite() {
            return Some(own);
        }
        let radius_m = f64::from(SEARCH_CELLS) * self.spec.cell_m;
        let around = cells_around(self.spec, at, radius_m).into_iter().filter(|i| self.reach.value[*i].is_finite());
        around.min_by(|a, b| {
            let d = |i: usize| distance_m(self.spec.centre(self.spec.cell(i)), at);
            d(*a).total_cmp(&d(*b)).then(a.cmp(b))
        })
    }
    /// Level plus length worth of a start: the smaller, the better placed.
    #[must_use]
    pub fn value(&self, at: Coord<f64>) -> f64 {
        self.start(at).map_or(f64::INFINITY, |i| self.reach.value[i])
    }
    /// Length of the path from a start, metres.
    #[must_use]
    pub fn length_m(&self, at: Coord<f64>) -> f64 {
        self.start(at).map_or(f64::INFINITY, |i| self.reach.length_m[i])
    }
    /// The cells from a start to the end of its path.
    #[must_use]
    pub fn path(&self, start: usize) -> Vec<usize> {
        self.reach.path_from(start).into_iter().map(|i| i as usize).collect()
    }
    /// The end in a cell.
    #[must_use]
    pub fn end(&self, cell: usize) -> Option<&End> {
        self.ends.get(&cell)
    }
}

/// Distance between two points, metres.
pub fn distance_m(a: Coord<f64>, b: Coord<f64>) -> f64 {
    (a.x - b.x).hypot(a.y - b.y)
}

fn route_grid(site: &Site, water: &WaterModel, p: &DrainsParams) -> Option<GridSpec> {
    let mut rect = site.boundary.bounding_rect()?;
    for outlet in &water.outlets {
        let (lo, hi) = (rect.min(), rect.max());
        rect = Rect::new(
            Coord { x: lo.x.min(outlet.at.x), y: lo.y.min(outlet.at.y) },
            Coord { x: hi.x.max(outlet.at.x), y: hi.y.max(outlet.at.y) },
        );
    }
    let cell_m = p.route_cell_m.max((rect.width() * rect.height() / MOST_CELLS).sqrt());
    let pad = 2.0 * cell_m;
    let lo = Coord { x: rect.min().x - pad, y: rect.min().y - pad };
    let hi = Coord { x: rect.max().x + pad, y: rect.max().y + pad };
    Some(GridSpec::covering(Rect::new(lo, hi), cell_m))
}

/// Outlets, and places along mapped waterways inside the boundary. Where two share a cell the lower one counts.
fn ends(
    site: &Site,
    water: &WaterModel,
    concept: &ElevationModel,
    spec: GridSpec,
    inside: &[bool],
    p: &DrainsParams,
) -> BTreeMap<usize, End> {
    let mut ends: BTreeMap<usize, End> = BTreeMap::new();
    let mut offer = |end: End| {
        let Some(cell) = spec.cell_at(end.at) else { return };
        let i = spec.index(cell);
        if ends.get(&i).is_none_or(|there| end.level_m < there.level_m) {
            ends.insert(i, end);
        }
    };
    for outlet in &water.outlets {
        offer(End { to: DrainsTo::Outlet(outlet.id), at: outlet.at, level_m: outlet.level_m });
    }
    for waterway in &site.layers.waterways {
        for at in points_along(&waterway.line.0, spec.cell_m / 2.0) {
            let within = spec.cell_at(at).is_some_and(|c| inside[spec.index(c)]);
            if let (true, Some(bed_m)) = (within, concept.0.bilinear(at)) {
                let level_m = bed_m + p.waterway_freeboard_mm / 1_000.0;
                offer(End { to: DrainsTo::Waterway(waterway.id), at, level_m });
            }
        }
    }
    ends
}

/// Points along a line at most `step_m` apart, both ends and every vertex among them.
#[must_use]
pub fn points_along(line: &[Coord<f64>], step_m: f64) -> Vec<Coord<f64>> {
    let mut points: Vec<Coord<f64>> = line.first().copied().into_iter().collect();
    for pair in line.windows(2) {
        let along = pair[1] - pair[0];
        let steps = (along.x.hypot(along.y) / step_m).ceil().max(1.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of steps on one property")]
        let count = steps as u32;
        points.extend((1..=count).map(|k| pair[0] + along * (f64::from(k) / steps)));
    }
    points
}

/// Calls `each` with the index of every cell whose centre lies in the shape.
pub fn paint(spec: GridSpec, shape: &impl Edges, mut each: impl FnMut(usize)) {
    if spec.is_empty() {
        return;
    }
    let origin = spec.centre(Cell::new(0, 0));
    let family = LineFamily { bearing: Bearing::from_degrees(90.0), spacing_m: spec.cell_m, origin };
    for span in family.clip(shape) {
        let Some(row) = u32::try_from(span.index).ok().filter(|row| *row < spec.rows) else { continue };
        let first = ((span.start.x - origin.x) / spec.cell_m).ceil().max(0.0);
        let last = ((span.end.x - origin.x) / spec.cell_m).floor().min(f64::from(spec.cols) - 1.0);
        if last < first {
            continue;
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the columns above")]
        let columns = first as u32..=last as u32;
        columns.for_each(|col| each(spec.index(Cell::new(row, col))));
    }
}

/// Indices of the cells whose centres lie within a radius, row by row.
#[must_use]
pub fn cells_around(spec: GridSpec, at: Coord<f64>, radius_m: f64) -> Vec<usize> {
    let low = Coord { x: at.x - radius_m, y: at.y + radius_m };
    let (mut found, n) = (Vec::new(), (2.0 * radius_m / spec.cell_m).ceil() + 1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few dozen cells")]
    let n = n as u32;
    for r in 0..=n {
        for c in 0..=n {
            let p = Coord { x: low.x + f64::from(c) * spec.cell_m, y: low.y - f64::from(r) * spec.cell_m };
            let Some(cell) = spec.cell_at(p) else { continue };
            if distance_m(spec.centre(cell), at) <= radius_m {
                found.push(spec.index(cell));
            }
        }
    }
    found
}
