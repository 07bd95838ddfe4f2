//! Which way do the rows run, and how long can they be?
//!
//! Every layout is priced in one currency ([`judge`]): rows laid out exactly, earth from the least-earth surface on a coarse
//! lattice ([`earth`]). The best bearing is searched for every outline ([`search`]), pieces are cut where that saves money
//! ([`partition`], with lines proposed by [`labels`]) and where rows or blocks would be too large ([`limits`]).

mod access;
mod bends;
mod bent;
mod bent_check;
mod bounds;
mod earth;
mod judge;
mod labels;
mod limits;
mod outline;
mod params;
mod partition;
mod report;
mod row_line;
mod rows;
mod search;
mod study;
#[cfg(test)]
mod tests;
mod wishes;

pub use params::{BlocksParams, CurvedRows, FallWay, Watering};

use crate::bibliography::Bibliography;
use crate::finding::{Outcome, Problem, ProblemKind, Problems};
use crate::land::blocks::{BlockPlan, LeftOut, RowBlock};
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::water::{PlantablePiece, WaterModel};
use crate::methods::shapes::{buffer_polygon, clean, difference, edge_bearings_by_length, minimum_width, union_all};
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::{Bearing, M2_PER_HA};
use geo::{Area, MultiPolygon, Polygon, Simplify};
use judge::{Judge, Look, Trial};
use outline::{Outline, PieceEdges, Surroundings};
use partition::{Cutter, Part};
use rows::Label;
use search::Fixed;

/// Scraps of a piece outside its blocks below this are rounding, square metres.
const LEFT_M2: f64 = 500.0;

/// Rows that bend are taken only where they cost less than this share of the straight layout: what they ask of steering and
/// set-out has no price of its own.
const BENT_RATIO: f64 = 0.995;

/// What the stage reads.
pub struct BlocksInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground; without it falls are not known.
    pub ground: Option<&'a Ground>,
    /// Water; compulsory unless blocks are given.
    pub water: Option<&'a WaterModel>,
    /// Prices.
    pub rates: &'a Rates,
}

/// Which way do the rows run, and how long can they be?
pub struct Blocks;

impl Stage for Blocks {
    const INFO: StageInfo = StageInfo {
        name: "blocks",
        version: 6,
        question: "Which way do the rows run, and how long can they be?",
        method: "A layout is priced in dollars a year, term by term: turns, land without rows, land under drains, short rows, \
                 rows longer than their furrow carries, falls outside the limits, earth with its haul, haul of the crop, \
                 rows below the drain reach. Rows of a bearing are lines less what lies nearer to an edge than that edge's \
                 headland. The earth is that of the least-earth surface on a coarse lattice in the frame of the rows: lanes \
                 fitted one by one bound it, the whole lattice is solved for what is taken. Every degree is tried, with edge \
                 azimuths, the narrow way and the ends of the admissible falls. Pieces are cut through re-entrant corners and \
                 along the borders of a map of directions found by graph cut, wherever that saves 1 %, corners below the \
                 least block left in grass; then neighbours are merged, borders slid and turned; then rows too long and \
                 blocks too large are cut. Trapezoids split and merged are further starts of that search; they, and the \
                 piece left whole at its best, longest and narrowest bearing, are kept when they are cheaper. Where it \
                 is allowed, rows may be parallels of one smooth line, an edge of the land or a line of steady fall, evened until \
                 the tightest row keeps the least radius: a block, or a piece, of such rows is taken where it is cheaper. Locked \
                 edges part the land before anything is cut. The bounds of rows and money take for every place the longest line through it.",
        needs: &["survey", "water"],
        reads: &[
            "site",
            "concept ground",
            "plantable pieces",
            "drain reach",
            "given blocks",
            "earlier blocks",
            "rates",
        ],
        makes: &["row blocks", "rows", "headlands", "tracks", "bearing study"],
        cites: &[Bibliography::OksanenVisala2009, Bibliography::Boykov2001, Bibliography::AsabeEp496],
    };
    type Params = BlocksParams;
    type Input<'a> = BlocksInput<'a>;
    type Output = BlockPlan;

    fn run(input: BlocksInput<'_>, params: &BlocksParams, ctx: &Ctx<'_>) -> Result<Outcome<BlockPlan>, Problems> {
        let judge = Judge {
            params,
            rates: input.rates,
            ground: input.ground.map(|g| &g.concept.0),
            reach: input.water.map(|w| &w.reach.level),
            loading: input.site.layers.loading_place,
            scale: input.site.geodesy.scale_at(input.site.geodesy.origin),
        };
        let around = Surroundings::of(input.site);
        let fixed = Fixed { bearing: wishes::bearing(params, input.site)? };
        let locked = wishes::locked(params, input.site)?;
        let none = geo::MultiLineString(Vec::new());
        let new = |judge, fixed, free, locked| Layout {
            judge,
            locked,
            site: input.site,
            around: &around,
            fixed,
            free,
            sums: std::cell::RefCell::default(),
            known: std::cell::RefCell::default(),
        };
        let free_params = wishes::without(params);
        let free_judge = free_params.as_ref().map(|params| Judge { params, ..judge });
        let free = free_judge.as_ref().map(|judge| new(judge, Fixed::default(), None, &none));
        let layout = new(&judge, fixed, free.as_ref(), &locked);
        let mut plan = BlockPlan {
            short_row_m: params.short_row_m,
            pay_off_per_year: params.pay_off_per_year(),
            ..BlockPlan::default()
        };
        if input.site.layers.given_blocks.is_empty() {
            let water = input.water.ok_or_else(|| {
                Problem::request("no_blocks", "the blocks stage needs the water stage or `given.blocks`")
            })?;
            for (i, piece) in water.plantable.iter().enumerate() {
                if ctx.cancelled() {
                    break;
                }
                let parcel = parcel_name(input.site, piece);
                lay_out_piece(&layout, piece, &parcel, &mut plan);
                ctx.progress.advance(Self::INFO.name, (i + 1) as f64 / water.plantable.len() as f64);
            }
        } else {
            lay_out_given(&layout, &mut plan);
        }
        if plan.blocks.is_empty() {
            return Err(Problem::new(
                ProblemKind::NoDesign,
                "no_room_for_a_row",
                format!(
                    "no plantable piece has room for a row of {} m between headlands of {} m",
                    params.min_row_length_m, params.turning_headland_m
                ),
            )
            .hint("lower `blocks.min_row_length_m` or `blocks.turning_headland_m`, or look at what the buffers and keep areas take")
            .into());
        }
        rows::number(&mut plan, &input.site.layers.previous_blocks);
        let mut findings = report::findings(&plan, &input, params);
        if free.is_some() && input.site.layers.given_blocks.is_empty() {
            let sums = layout.sums.borrow();
            findings.push(wishes::cost(params, &sums.0, &sums.1));
        }
        findings.extend(access::lay(input.site, input.water, params.track_m, &mut plan));
        Ok(Outcome { value: plan, findings })
    }
}

fn parcel_name(site: &Site, piece: &PlantablePiece) -> String {
    site.parcels.iter().find(|p| p.id == piece.parcel).map(|p| p.name.clone()).unwrap_or_default()
}

/// The bearing most land of a piece got; `None` where all its rows bend.
fn main_bearing(parts: &[Part]) -> Option<Bearing> {
    let straight = || parts.iter().filter(|p| p.trial.bent.is_none());
    let land = |b: Bearing| -> f64 {
        straight().filter(|p| p.trial.bearing.axis_angle_to(b) < 1e-6).map(|p| p.outline.area_m2).sum()
    };
    straight().map(|p| p.trial.bearing).max_by(|a, b| land(*a).total_cmp(&land(*b)))
}

/// Lays one plantable piece out.
fn lay_out_piece(layout: &Layout<'_>, piece: &PlantablePiece, parcel: &str, plan: &mut BlockPlan) {
    let judge = layout.judge;
    let mut planted_m2 = 0.0;
    for (i, polygon) in smoothed(&piece.outline).into_iter().enumerate() {
        let edges = PieceEdges::of(&polygon, layout.around);
        let whole = Outline::of(&polygon, &edges);
        let land = wishes::between(&polygon, layout.locked);
        let parts: Vec<Part> = land.iter().flat_map(|part| layout.laid(&Outline::of(part, &edges), &edges)).collect();
        if let Some(free) = layout.free {
            let (mut sums, wanted_m) = (layout.sums.borrow_mut(), judge.params.wanted_row_length_m);
            sums.0.add(free.judge, wanted_m, whole.area_m2, &parts);
            sums.1.add(free.judge, wanted_m, whole.area_m2, &free.laid(&whole, &edges));
        }
        if i == 0 && !parts.is_empty() {
            plan.study.extend(study::of_piece(judge, piece.id, &whole, layout.fixed, main_bearing(&parts)));
        }
        let covered: Vec<&Polygon<f64>> = parts.iter().map(|p| &p.outline.polygon).collect();
        for outline in difference(&polygon, &union_all(covered, 0.0), LEFT_M2).0 {
            let reason = format!(
                "no row of {} m fits between the headlands, or rows would cost more than the land in grass",
                judge.params.min_row_length_m
            );
            plan.left_out.push(LeftOut { outline, reason });
        }
        let label = Label { name: None, parcel: parcel.to_owned(), given: false };
        let straight = parts.iter().filter(|p| p.trial.bent.is_none());
        layout.known.borrow_mut().extend(straight.map(|p| p.trial.bearing));
        for part in &parts {
            planted_m2 += part.trial.lengths_m.iter().sum::<f64>() * judge.params.row_spacing_m;
            layout.add(part, &label, piece.id, plan);
        }
    }
    let bounds = bounds::bounds(judge, &piece.outline, planted_m2);
    plan.rows_lower_bound += bounds.rows;
    plan.yearly_lower_bound += bounds.yearly;
}

/// The piece without the jags that buffers and cells leave on it, a hand's breadth inside so that nothing kept is touched.
/// The largest part comes first.
fn smoothed(piece: &Polygon<f64>) -> Vec<Polygon<f64>> {
    const JAG_M: f64 = 0.5;
    const HOLE_JAG_M: f64 = 0.05;
    const LEAST_M2: f64 = 100.0;
    let inner = buffer_polygon(&MultiPolygon(vec![piece.clone()]), -JAG_M);
    // Holes keep their shape: the smallest, a pole, would fall to the same simplification as a jag.
    let smoother = |p: &Polygon<f64>| {
        let holes = p.interiors().iter().map(|hole| hole.simplify(HOLE_JAG_M)).collect();
        Polygon::new(p.exterior().simplify(JAG_M), holes)
    };
    let mut parts: Vec<Polygon<f64>> = clean(&inner.0.iter().map(smoother).collect(), 0.0).0;
    parts.retain(|p| p.unsigned_area() >= LEAST_M2);
    parts.sort_by(|a, b| b.unsigned_area().total_cmp(&a.unsigned_area()));
    parts
}

/// Lays the user's own blocks out as they are drawn.
fn lay_out_given(layout: &Layout<'_>, plan: &mut BlockPlan) {
    let judge = layout.judge;
    for given in &layout.site.layers.given_blocks {
        let bearing = given.bearing_deg.map(Bearing::from_degrees).or(layout.fixed.bearing);
        let edges = PieceEdges::of(&given.outline, layout.around);
        let outline = Outline::of(&given.outline, &edges);
        let Some(trial) = search::best(judge, &outline, Fixed { bearing }, &[]) else {
            let reason = format!("given block `{}` has no room for a row", given.name);
            plan.left_out.push(LeftOut { outline: given.outline.clone(), reason });
            continue;
        };
        let planted_m2 = trial.lengths_m.iter().sum::<f64>() * judge.params.row_spacing_m;
        let bounds = bounds::bounds(judge, &given.outline, planted_m2);
        plan.rows_lower_bound += bounds.rows;
        plan.yearly_lower_bound += bounds.yearly;
        let label = Label { name: Some(given.name.clone()), parcel: String::new(), given: true };
        let part = layout.bent_if_cheaper(Part { outline, trial }, bearing);
        layout.add(&part, &label, 0, plan);
        if let (Some(bearing), None, Some(block)) = (given.bearing_deg, judge.ground, plan.blocks.last_mut()) {
            // Without ground the surveyor's sense of the bearing is all there is.
            orient(block, Bearing::from_degrees(bearing));
        }
    }
}

/// Turns a block's rows to run the way a bearing points.
fn orient(block: &mut RowBlock, bearing: Bearing) {
    let (e, n) = bearing.east_north();
    let (be, bn) = block.bearing.east_north();
    if e * be + n * bn < 0.0 {
        block.bearing = block.bearing.reversed();
        for row in &mut block.rows {
            row.line.0.reverse();
        }
        block.rows.reverse();
        for (i, row) in block.rows.iter_mut().enumerate() {
            row.number = u32::try_from(i + 1).unwrap_or(u32::MAX);
        }
    }
}

/// What every piece is laid out with.
struct Layout<'a> {
    judge: &'a Judge<'a>,
    site: &'a Site,
    around: &'a Surroundings,
    fixed: Fixed,
    /// Lines no block crosses.
    locked: &'a geo::MultiLineString<f64>,
    /// The layout without the wishes, when there are any.
    free: Option<&'a Layout<'a>>,
    /// What the layouts with and without the wishes come to.
    sums: std::cell::RefCell<(wishes::Sum, wishes::Sum)>,
    /// Bearings of the blocks laid out so far.
    known: std::cell::RefCell<Vec<Bearing>>,
}

impl Layout<'_> {
    /// A piece in blocks within the limits, their bearings and surfaces settled: the cheapest of several ways of cutting,
    /// trapezoids split and merged and the piece left whole at its best, longest and narrowest bearing among them.
    fn parts(&self, whole: &Outline, edges: &PieceEdges) -> Vec<Part> {
        let mut within: Vec<(f64, Vec<Part>)> = self
            .ways(whole, edges)
            .into_iter()
            .map(|parts| parts.into_iter().flat_map(|p| limits::within_limits(self.judge, edges, p)))
            .map(|parts| parts.map(|p| self.phased(p)).collect::<Vec<_>>())
            .filter(|parts| !parts.is_empty())
            .map(|parts| (self.sum(whole, &parts, |t| t.least(self.judge)), parts))
            .collect();
        within.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut best: Option<(f64, Vec<Part>)> = None;
        for (least, parts) in within {
            if best.as_ref().is_some_and(|(cost, _)| least >= *cost) {
                break;
            }
            let parts: Vec<Part> = parts.into_iter().map(|p| self.solved(p)).collect();
            let cost = self.cost(whole, &parts);
            if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                best = Some((cost, parts));
            }
        }
        best.map(|(_, parts)| self.refined(parts)).unwrap_or_default()
    }

    /// A piece in blocks, of rows that bend where that is allowed and cheaper: block by block, and the whole piece as one.
    fn laid(&self, whole: &Outline, edges: &PieceEdges) -> Vec<Part> {
        let straight = self.parts(whole, edges);
        if !self.may_bend(self.fixed.bearing) {
            return straight;
        }
        let parts: Vec<Part> = straight.into_iter().map(|p| self.bent_if_cheaper(p, self.fixed.bearing)).collect();
        match self.bent(whole) {
            Some(one) if self.cost(whole, std::slice::from_ref(&one)) < self.cost(whole, &parts) * BENT_RATIO => {
                vec![one]
            }
            _ => parts,
        }
    }

    fn may_bend(&self, wished: Option<Bearing>) -> bool {
        wished.is_none() && self.judge.params.curved_rows == CurvedRows::IfCheaper
    }

    /// A part with rows that bend, where that is allowed and cheaper than what it has.
    fn bent_if_cheaper(&self, part: Part, wished: Option<Bearing>) -> Part {
        if !self.may_bend(wished) {
            return part;
        }
        let cheaper = |bent: &Part| bent.trial.yearly() < part.trial.yearly() * BENT_RATIO;
        self.bent(&part.outline).filter(cheaper).unwrap_or(part)
    }

    /// The cheapest block of rows that bend within the limits of blocks and rows.
    fn bent(&self, outline: &Outline) -> Option<Part> {
        let within = outline.area_m2 <= self.judge.params.max_block_ha * M2_PER_HA;
        let trial = within.then(|| bends::best(self.judge, outline))??;
        Some(Part { trial, outline: outline.clone() })
    }

    /// Parts at their best of all bearings, where that saves more than one bearing for several is worth.
    fn refined(&self, mut parts: Vec<Part>) -> Vec<Part> {
        if self.fixed.bearing.is_some() {
            return parts;
        }
        let longest_m = self.judge.params.longest_row_m();
        for i in 0..parts.len() {
            let also: Vec<Bearing> = parts.iter().map(|p| p.trial.bearing).collect();
            let Some(trial) = search::best(self.judge, &parts[i].outline, self.fixed, &also) else { continue };
            let saves = trial.yearly() < parts[i].trial.yearly() * (1.0 - partition::SHARED_RATIO);
            if saves && trial.lengths_m.iter().all(|l| *l <= longest_m) {
                parts[i].trial = trial;
            }
        }
        parts
    }

    /// Ways of cutting a piece, each the outcome of a search from another start.
    fn ways(&self, whole: &Outline, edges: &PieceEdges) -> Vec<Vec<Part>> {
        let lines = labels::cut_lines(self.judge, whole, self.fixed);
        let known = self.known.borrow();
        let cutter = Cutter { judge: self.judge, edges, fixed: self.fixed, grass: true, lines: &lines, known: &known };
        let quick = search::quick(self.judge, whole, self.fixed, &[]).map(|t| t.bearing);
        let longest = edge_bearings_by_length(&whole.polygon).first().map(|(b, _)| *b);
        let narrow = minimum_width(&whole.polygon).map(|w| w.bearing);
        let full = Cutter { grass: false, ..cutter }.parts(whole.clone());
        let mut trimmed = full.clone();
        cutter.moved(&mut trimmed);
        let mut ways = vec![cutter.parts(whole.clone()), full, trimmed];
        for direction in [longest, quick].into_iter().flatten() {
            ways.push(cutter.trapezoids(whole, direction));
            let merged = cutter.split_and_merge(whole, direction);
            let mut further = merged.clone();
            cutter.moved(&mut further);
            ways.extend([merged, further]);
        }
        if self.fixed.bearing.is_none() {
            let at = |b: Bearing| self.judge.judge(whole, b.axis(), Look::Close);
            let plain = [quick, longest, narrow].into_iter().flatten().filter_map(at);
            ways.extend(plain.map(|trial| vec![Part { outline: whole.clone(), trial }]));
        }
        ways
    }

    /// Yearly cost of a piece's blocks and of the land they leave.
    fn cost(&self, whole: &Outline, parts: &[Part]) -> f64 {
        self.sum(whole, parts, Trial::yearly)
    }

    fn sum(&self, whole: &Outline, parts: &[Part], price: impl Fn(&Trial) -> f64) -> f64 {
        let covered: f64 = parts.iter().map(|p| p.outline.area_m2).sum();
        let lost_m2 = (whole.area_m2 - covered).max(0.0) / self.judge.scale.powi(2);
        lost_m2 * self.judge.grass_per_m2() + parts.iter().map(|p| price(&p.trial)).sum::<f64>()
    }

    /// A part with its first row placed.
    fn phased(&self, part: Part) -> Part {
        Part { trial: self.judge.best_phase(&part.outline, part.trial), outline: part.outline }
    }

    /// A part with its surface solved.
    fn solved(&self, part: Part) -> Part {
        Part { trial: self.judge.settle(&part.outline, part.trial), outline: part.outline }
    }

    /// Adds a block and its bearing study to the plan.
    fn add(&self, part: &Part, label: &Label, piece: u32, plan: &mut BlockPlan) {
        plan.blocks.push(rows::block(self.judge, &self.site.geodesy, part, label));
        plan.study.extend(study::of_block(self.judge, piece, plan.blocks.len() - 1, part));
    }
}
