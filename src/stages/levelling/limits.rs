//! Levels a block's surface may not pass, and what to say when they cannot be kept together.

use super::lattice::Lattice;
use super::params::{Forming, LevellingParams, TopsoilRule};
use super::surface::Work;
use crate::grid::{GridSpec, Raster};
use crate::land::site::TopsoilZone;
use crate::methods::optimise::{Conflict, ConflictLink, Step, TICKS_PER_M, ticks};
use crate::methods::shapes::cells_inside;
use geo::{Contains, Coord, Intersects, Point};
use std::collections::BTreeMap;

/// What a row's low end is kept above the drain reach by, metres: what a finished surface may be off (common practice, no
/// source).
pub(super) const BUILDING_TOLERANCE_M: f64 = 0.01;

/// A limit is not called broken by less than this, metres.
const BROKEN_M: f64 = 0.001;

/// Where a limit of height comes from; the later ones are given up first when they cannot be kept together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Why {
    /// Deepest cut or highest fill wished for.
    Depth,
    /// A level that must not be cut through.
    Level,
    /// Roots of trees that stay.
    Roots,
    /// A track that stays.
    Track,
    /// Water that stays open: a waterway, a neighbour's drain.
    Water,
    /// Topsoil less its reserve.
    Topsoil,
    /// The drain reach at a low row end.
    Reach,
    /// The fence along the edge of the property.
    Fence,
    /// The surface of the block beside.
    Neighbour,
}

impl Why {
    /// All kinds, the first to be given up last.
    pub(super) const ALL: [Self; 9] = [
        Self::Level,
        Self::Depth,
        Self::Roots,
        Self::Track,
        Self::Water,
        Self::Topsoil,
        Self::Reach,
        Self::Fence,
        Self::Neighbour,
    ];

    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Depth => "the greatest cut or fill",
            Self::Level => "a level that must not be cut through",
            Self::Roots => "the roots of trees that stay",
            Self::Track => "a track that stays",
            Self::Water => "water that stays open",
            Self::Fence => "the fence line",
            Self::Topsoil => "topsoil less its reserve",
            Self::Reach => "the drain reach",
            Self::Neighbour => "the block beside",
        }
    }
}

/// Least and greatest heights of the lattice points, with their reasons.
pub(super) struct Limits {
    pub(super) lowest: Vec<i64>,
    pub(super) highest: Vec<i64>,
    why_lowest: Vec<Why>,
    why_highest: Vec<Why>,
}

impl Limits {
    /// The limits of the wanted kinds. Limits that leave a point no height give way to the ground as it lies there.
    pub(super) fn of(work: &Work<'_>, kept: &[Why]) -> Self {
        let n = work.lattice.len();
        let mut limits = Self {
            lowest: vec![i64::MIN; n],
            highest: vec![i64::MAX; n],
            why_lowest: vec![Why::Depth; n],
            why_highest: vec![Why::Depth; n],
        };
        for why in Why::ALL.into_iter().filter(|why| kept.contains(why)) {
            match why {
                Why::Depth => limits.depth(work.params, work.lattice),
                Why::Level => limits.levels(work),
                Why::Roots | Why::Track | Why::Water | Why::Fence => limits.fixed(work, why),
                Why::Topsoil => limits.topsoil(work),
                Why::Reach => limits.reach(work),
                Why::Neighbour => limits.neighbours(work),
            }
        }
        limits
    }

    fn raise(&mut self, point: usize, height_m: f64, why: Why) {
        let height = ticks(height_m);
        // A floor above the ceiling set before it would leave the point no height; the earlier limit is the harder one.
        let height = height.min(self.highest[point]);
        if height > self.lowest[point] {
            (self.lowest[point], self.why_lowest[point]) = (height, why);
        }
    }

    fn lower(&mut self, point: usize, height_m: f64, why: Why) {
        let height = ticks(height_m).max(self.lowest[point]);
        if height < self.highest[point] {
            (self.highest[point], self.why_highest[point]) = (height, why);
        }
    }

    fn depth(&mut self, params: &LevellingParams, lattice: &Lattice) {
        for point in (0..lattice.len()).filter(|p| lattice.inside(*p)) {
            let ground_m = lattice.ground_m[point];
            self.raise(point, ground_m - params.max_cut_mm / 1_000.0, Why::Depth);
            self.lower(point, ground_m + params.max_fill_mm / 1_000.0, Why::Depth);
        }
    }

    /// Ground that lies below the level already may stay, but not be cut.
    fn levels(&mut self, work: &Work<'_>) {
        let lattice = work.lattice;
        let zones = &work.input.site.layers.level_limits;
        for zone in zones.iter().filter(|z| z.outline.intersects(&work.block.outline)) {
            for point in (0..lattice.len()).filter(|p| lattice.inside(*p)) {
                if zone.outline.contains(&Point(lattice.at(point))) {
                    self.raise(point, zone.level_m.min(lattice.ground_m[point]), Why::Level);
                }
            }
        }
    }

    /// Ground that keeps its height, as near as is allowed.
    fn fixed(&mut self, work: &Work<'_>, why: Why) {
        let lattice = work.lattice;
        let apart_m = work.params.fixed_level_mm / 1_000.0;
        for point in (0..lattice.len()).filter(|p| lattice.inside(*p)) {
            if work.fixed.at(lattice.at(point)) == Some(why) {
                self.raise(point, lattice.ground_m[point] - apart_m, why);
                self.lower(point, lattice.ground_m[point] + apart_m, why);
            }
        }
    }

    fn topsoil(&mut self, work: &Work<'_>) {
        if work.params.topsoil != TopsoilRule::Keep {
            return;
        }
        let (lattice, soil) = (work.lattice, work.soil);
        for point in (0..lattice.len()).filter(|p| lattice.inside(*p)) {
            let most_m = soil.cuttable_m(lattice.at(point));
            self.raise(point, lattice.ground_m[point] - most_m, Why::Topsoil);
        }
    }

    /// Low row ends above the drain reach, where raising them by no more than is allowed gets them there.
    fn reach(&mut self, work: &Work<'_>) {
        for end in low_ends(work).iter().filter(|end| end.within_raise) {
            self.raise(end.point, end.wanted_m, Why::Reach);
        }
    }

    /// Limits of height that heights of the points break, with how often and by how much at most.
    pub(super) fn broken(&self, lattice: &Lattice, heights_m: &[f64]) -> Vec<String> {
        let mut worst: BTreeMap<Why, (u32, i64)> = BTreeMap::new();
        for point in (0..lattice.len()).filter(|p| lattice.inside(*p) && heights_m[*p].is_finite()) {
            let height = ticks(heights_m[point]);
            let (below, above) =
                (self.lowest[point].saturating_sub(height), height.saturating_sub(self.highest[point]));
            for (beyond, why) in [(below, self.why_lowest[point]), (above, self.why_highest[point])] {
                if beyond > ticks(BROKEN_M) {
                    let (count, most) = worst.entry(why).or_default();
                    (*count, *most) = (*count + 1, beyond.max(*most));
                }
            }
        }
        let points = (0..lattice.len()).filter(|p| lattice.inside(*p)).count();
        let words = |(why, (count, most)): (Why, (u32, i64))| {
            let mm = 1_000.0 * most as f64 / TICKS_PER_M;
            format!("{} at {count} of {points} places, by up to {mm:.0} mm", why.words())
        };
        worst.into_iter().map(words).collect()
    }

    /// Points at the rim within the allowed step of a surface that is there already beside them.
    fn neighbours(&mut self, work: &Work<'_>) {
        let (params, lattice) = (work.params, work.lattice);
        // From the point to the place beside it the surfaces may also fall.
        let fall_m = lattice.step_m * params.max_fall_pct.max(params.max_cross_fall_pct) / 100.0;
        let apart_m = params.block_step_mm / 1_000.0 + fall_m;
        for point in (0..lattice.len()).filter(|p| lattice.inside(*p)) {
            for (beside, at) in lattice.around(point) {
                if let (None, Some(z)) = (beside, work.design.at(at)) {
                    self.raise(point, f64::from(z) - apart_m, Why::Neighbour);
                    self.lower(point, f64::from(z) + apart_m, Why::Neighbour);
                }
            }
        }
    }

    /// The kinds of limit a conflicting chain uses.
    pub(super) fn kinds(&self, conflict: &Conflict) -> Vec<Why> {
        conflict
            .chain
            .iter()
            .filter_map(|link| match link {
                ConflictLink::Lowest { point, .. } => Some(self.why_lowest[*point as usize]),
                ConflictLink::Highest { point, .. } => Some(self.why_highest[*point as usize]),
                ConflictLink::Between(_) => None,
            })
            .collect()
    }

    /// The chain as a sum a surveyor can follow.
    pub(super) fn words(&self, conflict: &Conflict, lattice: &Lattice, along: Step) -> String {
        let metres = |height: i64| height as f64 / TICKS_PER_M;
        let (mut low, mut high) = (None, None);
        let (mut down_the_rows, mut across, mut steps) = (0_u32, 0_u32, 0_i64);
        for link in &conflict.chain {
            match link {
                ConflictLink::Lowest { point, height } => low = Some((*point as usize, *height)),
                ConflictLink::Highest { point, height } => high = Some((*point as usize, *height)),
                ConflictLink::Between(l) => {
                    steps += l.most;
                    if l.from.abs_diff(l.to) == 1 { down_the_rows += 1 } else { across += 1 }
                }
            }
        }
        let run = |count: u32| f64::from(count) * lattice.step_m;
        let path = match (down_the_rows, across) {
            (a, 0) => format!("{:.0} m along the row", run(a)),
            (0, c) => format!("{:.0} m across the rows", run(c)),
            (a, c) => format!("{:.0} m along and {:.0} m across the rows", run(a), run(c)),
        };
        match (low, high) {
            (Some((p, floor)), Some((q, ceiling))) => format!(
                "not below {:.2} m ({}) + {path} within the fall limits ({:+.2} m at best) > not above {:.2} m ({}), by {:.0} mm",
                metres(floor),
                self.why_lowest[p].words(),
                metres(-steps),
                metres(ceiling),
                self.why_highest[q].words(),
                1_000.0 * metres(conflict.excess)
            ),
            _ => format!(
                "the fall limits contradict each other over {path} (fall down the row {:.3} to {:.3} m a step)",
                metres(-along.most),
                metres(-along.least)
            ),
        }
    }
}

/// A row end that lets water go, and the level it drains from.
pub(super) struct LowEnd {
    pub(super) at: Coord<f64>,
    /// The lattice point nearest to it.
    pub(super) point: usize,
    /// Least level it drains from, metres.
    pub(super) wanted_m: f64,
    /// Whether raising the ground as far as is allowed gets it there.
    pub(super) within_raise: bool,
    /// Land whose water leaves there, square metres on the ground.
    pub(super) area_m2: f64,
}

/// The ends of a block's rows that let water go, where a drain can be had.
pub(super) fn low_ends(work: &Work<'_>) -> Vec<LowEnd> {
    let Some(water) = work.input.water else { return Vec::new() };
    let (params, lattice) = (work.params, work.lattice);
    let both = params.surface == Forming::CrestedRows || work.block.judged.two_way;
    let mut ends = Vec::new();
    for row in &work.block.rows {
        let area_m2 = row.length_m * work.block.row_spacing_m / if both { 2.0 } else { 1.0 };
        for at in std::iter::once(row.low_end()).chain(both.then(|| row.high_end())) {
            let (Some(point), Some(level)) = (lattice.nearest_inside(at), water.reach.level.at(at)) else { continue };
            let wanted_m = f64::from(level) + BUILDING_TOLERANCE_M;
            let within_raise = wanted_m <= lattice.ground_m[point] + params.max_raise_mm / 1_000.0;
            ends.push(LowEnd { at, point, wanted_m, within_raise, area_m2 });
        }
    }
    ends
}

/// Topsoil depth everywhere, and what of it must stay.
pub(super) struct Topsoil {
    depth_m: Raster<f32>,
    assumed_m: f64,
    reserve_m: f64,
}

impl Topsoil {
    /// Where zones overlap the first one counts; where none lies, the assumed depth.
    pub(super) fn of(spec: GridSpec, zones: &[TopsoilZone], params: &LevellingParams) -> Self {
        let assumed_m = params.assumed_topsoil_mm / 1_000.0;
        #[expect(clippy::cast_possible_truncation, reason = "rasters hold f32")]
        let mut depth_m = Raster::filled(spec, assumed_m as f32);
        for zone in zones.iter().rev() {
            for (i, _) in cells_inside(spec, &zone.outline).iter().enumerate().filter(|(_, inside)| **inside) {
                #[expect(clippy::cast_possible_truncation, reason = "rasters hold f32")]
                {
                    depth_m.values[i] = zone.depth_m as f32;
                }
            }
        }
        Self { depth_m, assumed_m, reserve_m: params.topsoil_reserve_mm / 1_000.0 }
    }

    /// Topsoil depth at a place, metres.
    pub(super) fn depth_m(&self, at: Coord<f64>) -> f64 {
        self.depth_m.at(at).map_or(self.assumed_m, f64::from)
    }

    /// What may be cut at a place before the reserve is touched, metres.
    pub(super) fn cuttable_m(&self, at: Coord<f64>) -> f64 {
        (self.depth_m(at) - self.reserve_m).max(0.0)
    }

    /// Topsoil depth less cut, where earth is formed.
    pub(super) fn left(&self, cut_fill: &Raster<f32>) -> Raster<f32> {
        let values = cut_fill.values.iter().zip(&self.depth_m.values).map(|(cut, depth)| depth - cut.max(0.0));
        Raster { spec: cut_fill.spec, values: values.collect(), valid: cut_fill.valid.clone() }
    }
}
