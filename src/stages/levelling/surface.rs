//! The surface of one block: a plane, or graded rows with the least earth.

use super::LevellingInput;
use super::fixed::FixedLevels;
use super::lattice::Lattice;
use super::limits::{Limits, Topsoil, Why, low_ends};
use super::params::LevellingParams;
use super::settle::settled;
use super::stack::Stack;
use crate::grid::Raster;
use crate::land::blocks::RowBlock;
use crate::land::levelling::{EarthProof, SurfaceKind};
use crate::methods::earthwork::{Binding, FallSense, Moments, Plane, PlaneLimits, balance_offset, fit_plane_limited};
use crate::methods::optimise::{
    Balanced, Choice, Engine, LatticeFit, Refusal, Step, Steps, TICKS_PER_M, balanced, crests, cut_and_fill,
    least_earth, ticks, ticks_inward,
};
use crate::stages::machines::Machines;
use geo::Coord;

/// Crests of neighbouring lanes stand at most this many stations apart.
const CREST_SHIFT: usize = 2;

/// One block to be formed.
#[derive(Clone, Copy)]
pub(super) struct Work<'a> {
    pub(super) input: &'a LevellingInput<'a>,
    pub(super) params: &'a LevellingParams,
    pub(super) block: &'a RowBlock,
    pub(super) lattice: &'a Lattice,
    pub(super) soil: &'a Topsoil,
    pub(super) machines: &'a Machines,
    pub(super) fixed: &'a FixedLevels,
    /// Whether the surface is to be built, and not only compared.
    pub(super) is_final: bool,
    /// Surfaces of the blocks formed before.
    pub(super) design: &'a Raster<f32>,
}

/// A surface as it was worked out.
pub(super) enum Form {
    /// The ground as it lies.
    Ground,
    /// One plane.
    Plane(Plane),
    /// Heights of the lattice points, metres.
    Lattice(Vec<f64>),
}

/// A surface, what holds it back and how good it is.
pub(super) struct Shaped {
    pub(super) form: Form,
    pub(super) binding: Vec<String>,
    /// Limits that were given up because they cannot be kept together, in words.
    pub(super) given_up: Vec<String>,
    pub(super) proof: Option<EarthProof>,
}

impl Shaped {
    fn of(form: Form) -> Self {
        Self { form, binding: Vec::new(), given_up: Vec::new(), proof: None }
    }

    /// Height of the surface at a place, metres.
    pub(super) fn height_m(&self, lattice: &Lattice, ground: &Raster<f32>, at: Coord<f64>) -> Option<f64> {
        match &self.form {
            Form::Ground => ground.bilinear(at),
            Form::Plane(plane) => Some(plane.height_m(at.x, at.y)),
            Form::Lattice(heights_m) => lattice.height_m(heights_m, at),
        }
    }
}

/// The surface of a kind, low row ends lifted to the drain reach or not; `None` when none can be fitted.
pub(super) fn shape(work: &Work<'_>, kind: SurfaceKind, raise: bool) -> Option<Shaped> {
    match kind {
        SurfaceKind::AsItLies | SurfaceKind::Given => Some(Shaped::of(Form::Ground)),
        // Rows that bend meet a plane at another slope everywhere.
        SurfaceKind::Plane | SurfaceKind::PlaneAlong if work.lattice.bends() => None,
        SurfaceKind::Plane => plane(work, work.params.max_cross_fall_pct, raise),
        SurfaceKind::PlaneAlong => plane(work, 0.0, raise),
        SurfaceKind::GradedRows | SurfaceKind::CrestedRows => {
            graded(&[*work], kind == SurfaceKind::CrestedRows, vec![kept(raise)])?.pop()
        }
    }
}

/// The limits of height a surface keeps.
pub(super) fn kept(raise: bool) -> Vec<Why> {
    Why::ALL.into_iter().filter(|why| raise || *why != Why::Reach).collect()
}

/// The least-squares plane within the fall limits, lowered until cut is the wanted multiple of fill; with `raise`
/// raised until every low row end that can stands above the drain reach.
fn plane(work: &Work<'_>, max_cross_fall_pct: f64, raise: bool) -> Option<Shaped> {
    let (params, lattice) = (work.params, work.lattice);
    let points: Vec<usize> = (0..lattice.len()).filter(|p| lattice.inside(*p)).collect();
    let moments = Moments::of(points.iter().map(|p| {
        let at = lattice.at(*p);
        (at.x, at.y, lattice.ground_m[*p], f64::from(lattice.cells[*p]))
    }));
    let limits = PlaneLimits {
        bearing: work.block.bearing,
        min_fall: params.min_fall_pct / 100.0,
        max_fall: params.max_fall_pct / 100.0,
        max_cross_fall: max_cross_fall_pct / 100.0,
        sense: FallSense::Along,
    };
    let fitted = fit_plane_limited(&moments, &limits)?;
    let depths: Vec<(f64, f64)> = points
        .iter()
        .map(|p| {
            let at = lattice.at(*p);
            (lattice.ground_m[*p] - fitted.plane.height_m(at.x, at.y), f64::from(lattice.cells[*p]))
        })
        .collect();
    let lowered_m = balance_offset(&depths, params.cut_fill_ratio);
    let plane = fitted.plane.lowered(if lowered_m.is_finite() { lowered_m } else { 0.0 });
    let mut shaped = Shaped::of(Form::Ground);
    match fitted.along {
        Binding::Free => {}
        Binding::AtLeast => shaped.binding.push(format!("row fall held at its least, {:.2} %", params.min_fall_pct)),
        Binding::AtMost => shaped.binding.push(format!("row fall held at its greatest, {:.2} %", params.max_fall_pct)),
    }
    if fitted.across != Binding::Free && max_cross_fall_pct > 0.0 {
        shaped.binding.push(format!("cross-fall held at {max_cross_fall_pct:.2} %"));
    }
    let raised_m = if raise { below_reach_m(work, &plane) } else { 0.0 };
    if raised_m > 0.0 {
        shaped
            .binding
            .push(format!("raised {:.0} mm so that low row ends stand above the drain reach", raised_m * 1_000.0));
    }
    shaped.form = Form::Plane(plane.lowered(-raised_m));
    Some(shaped)
}

/// How far a plane must be raised for the worst of the low row ends that may be raised at all, metres.
fn below_reach_m(work: &Work<'_>, plane: &Plane) -> f64 {
    let ends = low_ends(work).into_iter().filter(|end| end.within_raise);
    ends.map(|end| end.wanted_m - plane.height_m(end.at.x, end.at.y)).fold(0.0, f64::max)
}

/// The surfaces of least earth whose rows fall within the limits (`kept`, one list a block), balanced together. Limits that cannot be kept together
/// are given up, softest first, and named. `None` when nothing is left to give up.
pub(super) fn graded(works: &[Work<'_>], crested: bool, mut kept: Vec<Vec<Why>>) -> Option<Vec<Shaped>> {
    let ratio = works.first()?.params.cut_fill_ratio;
    let mut given_up = vec![Vec::new(); works.len()];
    loop {
        let limits: Vec<Limits> = works.iter().zip(&kept).map(|(work, kept)| Limits::of(work, kept)).collect();
        let mut fits: Vec<LatticeFit> = works.iter().zip(&limits).map(|(work, limits)| fit(work, limits)).collect();
        if let Some(at) = fits.iter_mut().position(|fit| crested && crest(fit).is_none()) {
            // No chain is known here: the softest limit that is left goes.
            let softest = kept[at].iter().copied().filter(|why| *why != Why::Level).max()?;
            given_up[at].push(format!("no crest leaves every row a surface within {}", softest.words()));
            kept[at].retain(|why| *why != softest);
            continue;
        }
        let stack = Stack::of(&fits);
        match balanced(&stack.fit, ratio, |fit| least_earth(fit, Choice::BySize)) {
            Ok(found) => return Some(finished(works, &stack, &found, given_up)),
            Err(Refusal::Conflict(conflict)) => {
                let (at, conflict) = stack.single_out(conflict);
                let softest = limits[at].kinds(&conflict).into_iter().filter(|why| *why != Why::Level).max()?;
                given_up[at].push(limits[at].words(
                    &conflict,
                    works[at].lattice,
                    along(&works[at], works[at].lattice.step_m),
                ));
                kept[at].retain(|why| *why != softest);
            }
            Err(Refusal::Fault(_)) => return None,
        }
    }
}

/// What a step down the rows may be over a way.
fn along(work: &Work<'_>, way_m: f64) -> Step {
    let fall_m = |pct: f64| pct / 100.0 * way_m;
    ticks_inward(-fall_m(work.params.max_fall_pct), -fall_m(work.params.min_fall_pct))
}

/// What the steps down the rows may be; where rows bend, each by its own way.
fn steps_along(work: &Work<'_>) -> Steps {
    let lattice = work.lattice;
    if lattice.bends() {
        Steps::Each((0..lattice.len()).map(|p| along(work, lattice.way_m(p))).collect())
    } else {
        Steps::Alike(along(work, lattice.step_m))
    }
}

fn fit(work: &Work<'_>, limits: &Limits) -> LatticeFit {
    let (params, lattice) = (work.params, work.lattice);
    let across_m = params.max_cross_fall_pct / 100.0 * lattice.step_m;
    let bend_m = params.max_grade_change_pct / 100.0 * lattice.step_m * lattice.step_m / 10.0;
    let weights: Vec<i64> = lattice.cells.iter().map(|n| i64::from(*n)).collect();
    LatticeFit {
        lanes: lattice.lanes,
        stations: lattice.stations,
        inside: (0..lattice.len()).map(|p| lattice.inside(p)).collect(),
        ground: lattice.ground_m.iter().map(|z| if z.is_finite() { ticks(*z) } else { 0 }).collect(),
        fill_weight: weights.clone(),
        cut_weight: weights,
        lowest: limits.lowest.clone(),
        highest: limits.highest.clone(),
        along: steps_along(work),
        across: Steps::Alike(ticks_inward(-across_m, across_m)),
        most_bend: (params.max_grade_change_pct > 0.0).then(|| ticks(bend_m)),
    }
}

/// Turns the falls about the crests: up to its crest every lane rises, from there it falls.
fn crest(fit: &mut LatticeFit) -> Option<()> {
    let turned = |down: &Step| Step { least: -down.most, most: -down.least };
    let up = match &fit.along {
        Steps::Alike(down) => Steps::Alike(turned(down)),
        Steps::Each(down) => Steps::Each(down.iter().map(turned).collect()),
    };
    fit.along = crests(fit, &up, CREST_SHIFT)?.steps(fit, &up);
    Some(())
}

/// The surfaces with their proofs in cubic metres. Of a bound for all blocks together each has its share.
fn finished(works: &[Work<'_>], stack: &Stack, found: &Balanced, given_up: Vec<Vec<String>>) -> Vec<Shaped> {
    let heights = if works[0].is_final { settled(&stack.fit, found, works[0].params) } else { found.heights.clone() };
    works
        .iter()
        .enumerate()
        .zip(given_up)
        .map(|((at, work), given_up)| {
            let (fit, proven) = stack.part(at, &found.heights);
            let (_, heights) = stack.part(at, &heights);
            let moved = |heights: &[f64]| {
                let (cut, fill) = cut_and_fill(&fit, heights);
                cut + fill
            };
            let m3 = |weighted: f64| weighted / TICKS_PER_M * work.design.spec.cell_area_m2();
            let share = if found.moved() > 0.0 { found.bound / found.moved() } else { 1.0 };
            let mut shaped = Shaped::of(Form::Lattice(heights.iter().map(|z| z / TICKS_PER_M).collect()));
            shaped.given_up = given_up;
            shaped.proof = Some(EarthProof {
                moved_m3: m3(moved(&proven)),
                bound_m3: share * m3(moved(&proven)),
                after_ratio: if moved(&proven) > 0.0 { moved(&heights) / moved(&proven) - 1.0 } else { 0.0 },
                exact: found.engine == Engine::Exact,
                lattice_m: work.lattice.step_m,
            });
            shaped
        })
        .collect()
}
