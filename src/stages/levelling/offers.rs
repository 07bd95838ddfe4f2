//! What every kind of surface would come to on a block: the price of simplicity, and of leaving the ground alone.

use super::earth::{self, Patch};
use super::lattice::Lattice;
use super::limits::{BUILDING_TOLERANCE_M, Limits, low_ends};
use super::surface::{self, Shaped, Work};
use crate::grid::Cell;
use crate::land::blocks::Row;
use crate::land::levelling::{BlockEarth, NotRaised, SurfaceKind, SurfaceOffer};

/// Distance between the points surfaces are compared at, metres: all kinds in a fraction of the time of the one built.
const COARSE_M: f64 = 10.0;
/// Side of the cells their hauls are planned on at least, metres.
const ROUGH_HAUL_M: f64 = 30.0;
/// Points a side a block has at least, so that small ones are not judged by a handful.
const LEAST_A_SIDE: f64 = 12.0;
/// Kinds that are compared, simplest to build first.
const KINDS: [SurfaceKind; 5] = [
    SurfaceKind::AsItLies,
    SurfaceKind::PlaneAlong,
    SurfaceKind::Plane,
    SurfaceKind::GradedRows,
    SurfaceKind::CrestedRows,
];

/// Every kind of surface on a block, those that keep all limits first, then by what they are judged by; ties keep the order
/// of building. With it, what is known of lifting the rows under the surface that is to be built.
pub(super) fn offers(fine: &Work<'_>, cells: &[Cell], built: SurfaceKind) -> (Vec<SurfaceOffer>, Lifting) {
    let Some(lattice) = coarse(fine, cells) else { return (Vec::new(), Lifting::default()) };
    let work = Work { lattice: &lattice, is_final: false, ..*fine };
    let (mut list, mut lifting) = (Vec::new(), Lifting::default());
    for kind in KINDS {
        let (offer, lifted) = offer(&work, kind);
        list.push(offer);
        if kind == built {
            lifting = lifted;
        }
    }
    list.sort_by(|a: &SurfaceOffer, b| b.keeps_limits().cmp(&a.keeps_limits()).then(a.judged().total_cmp(&b.judged())));
    (list, lifting)
}

/// Whether the rows of a block are lifted to the drain reach under a kind of surface.
pub(super) fn raises(fine: &Work<'_>, cells: &[Cell], kind: SurfaceKind) -> bool {
    let Some(lattice) = coarse(fine, cells) else { return true };
    offer(&Work { lattice: &lattice, is_final: false, ..*fine }, kind).1.raise
}

fn coarse(fine: &Work<'_>, cells: &[Cell]) -> Option<Lattice> {
    let ground = &fine.input.ground.concept.0;
    let side_m = (cells.len() as f64 * ground.spec.cell_area_m2()).sqrt();
    let step_m = COARSE_M.min(side_m / LEAST_A_SIDE).max(fine.params.lattice_m);
    Lattice::of(ground, fine.block, cells, step_m)
}

/// Whether low row ends are lifted to the drain reach, and what is lost where they are not for the price of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lifting {
    pub(super) raise: bool,
    pub(super) not_raised: Option<NotRaised>,
}

impl Default for Lifting {
    fn default() -> Self {
        Self { raise: true, not_raised: None }
    }
}

/// A surface with its earth and what does not drain on it.
struct Tried {
    shaped: Shaped,
    earth: BlockEarth,
    heights_m: Vec<f64>,
    below: Below,
}

/// Row ends below the drain reach.
#[derive(Debug, Clone, Copy, Default)]
struct Below {
    ends: usize,
    of: usize,
    worst_m: f64,
    area_m2: f64,
}

impl Tried {
    /// A surface of a kind; `None` when there is none.
    fn of(work: &Work<'_>, kind: SurfaceKind, raise: bool) -> Option<Self> {
        let (params, lattice) = (work.params, work.lattice);
        let shaped = surface::shape(work, kind, raise)?;
        let ground = &work.input.ground.concept.0;
        let height_m = |p: usize| match kind {
            SurfaceKind::AsItLies => lattice.ground_m[p],
            _ => shaped.height_m(lattice, ground, lattice.at(p)).unwrap_or(f64::NAN),
        };
        let heights_m: Vec<f64> =
            (0..lattice.len()).map(|p| if lattice.inside(p) { height_m(p) } else { f64::NAN }).collect();
        let patch = |p: usize| Patch {
            at: lattice.at(p),
            depth_m: lattice.ground_m[p] - heights_m[p],
            area_m2: f64::from(lattice.cells[p]) * ground.spec.cell_area_m2(),
        };
        let patches: Vec<Patch> = (0..lattice.len()).filter(|p| heights_m[*p].is_finite()).map(patch).collect();
        let mut earth = BlockEarth::none(work.block.id, kind, params.cut_fill_ratio);
        let haul_cell_m = params.haul_cell_m.max(ROUGH_HAUL_M);
        earth::measure(params, (work.input.rates, work.machines), work.soil, &patches, haul_cell_m, &mut earth);
        let mut below = Below::default();
        for end in low_ends(work) {
            // Between the lanes of a coarse lattice an end may seem to sag; its own point carries the limit.
            let own_m = heights_m[end.point];
            let z = shaped.height_m(lattice, ground, end.at).map_or(own_m, |z| z.max(own_m));
            let short_m = end.wanted_m - BUILDING_TOLERANCE_M - z;
            below.of += 1;
            if short_m > super::SAID_M {
                below.ends += 1;
                below.worst_m = below.worst_m.max(short_m);
                below.area_m2 += end.area_m2;
            }
        }
        Some(Self { shaped, earth, heights_m, below })
    }

    fn loss(&self, work: &Work<'_>) -> f64 {
        work.input.undrained_per_m2.map_or(0.0, |per_m2| self.below.area_m2 * per_m2)
    }

    fn judged(&self, work: &Work<'_>) -> f64 {
        self.earth.cost.likely + self.loss(work)
    }

    fn limits_broken(&self, work: &Work<'_>, kind: SurfaceKind) -> Vec<String> {
        let mut broken = Limits::of(work, &surface::kept(false)).broken(work.lattice, &self.heights_m);
        if kind == SurfaceKind::AsItLies {
            broken.extend(falls_as_it_lies(work));
        }
        if self.below.ends > 0 {
            let Below { ends, of, worst_m, .. } = self.below;
            let mm = 1_000.0 * worst_m;
            broken.push(format!("the drain reach at {ends} of {of} low row ends, by up to {mm:.0} mm"));
        }
        broken
    }
}

/// A kind of surface, its low row ends lifted to the drain reach where that costs less than the crop lost below it.
fn offer(work: &Work<'_>, kind: SurfaceKind) -> (SurfaceOffer, Lifting) {
    let Some(low) = Tried::of(work, kind, false) else {
        let none = "no such surface within the limits".to_owned();
        let offer = SurfaceOffer {
            surface: kind,
            cut_m3: 0.0,
            fill_m3: 0.0,
            haul_mean_m: 0.0,
            cost: BlockEarth::none(work.block.id, kind, work.params.cut_fill_ratio).cost,
            least_moved_m3: None,
            remarks: vec![none.clone()],
            limits_broken: vec![none],
            undrained_loss: 0.0,
        };
        return (offer, Lifting::default());
    };
    let formed = kind != SurfaceKind::AsItLies;
    let high = if formed && low.below.ends > 0 { Tried::of(work, kind, true) } else { None };
    let (tried, lifting) = match high {
        // Nothing to lift: the limit costs nothing, and holds on the finer lattice of the surface to be built too.
        None => (low, Lifting::default()),
        Some(high) if work.input.undrained_per_m2.is_none() || high.judged(work) <= low.judged(work) => {
            (high, Lifting::default())
        }
        Some(high) => {
            let not_raised = NotRaised {
                area_m2: low.below.area_m2 - high.below.area_m2,
                raising: high.earth.cost.likely - low.earth.cost.likely,
                loss: low.loss(work) - high.loss(work),
            };
            (low, Lifting { raise: false, not_raised: Some(not_raised) })
        }
    };
    let limits_broken = tried.limits_broken(work, kind);
    let undrained_loss = tried.loss(work);
    let Tried { shaped, earth, .. } = tried;
    let mut remarks = shaped.binding;
    remarks.extend(shaped.given_up);
    let offer = SurfaceOffer {
        surface: kind,
        cut_m3: earth.cut_m3,
        fill_m3: earth.fill_m3,
        haul_mean_m: earth.haul_mean_m,
        cost: earth.cost,
        least_moved_m3: shaped.proof.map(|p| p.bound_m3),
        remarks,
        limits_broken,
        undrained_loss,
    };
    (offer, lifting)
}

/// The rows that do not fall within the limits on the ground as it lies, in words. Not known counts as not.
fn falls_as_it_lies(work: &Work<'_>) -> Option<String> {
    let (least, most) = (work.params.min_fall_pct, work.params.max_fall_pct);
    let rows = &work.block.rows;
    let keeps = |row: &&Row| row.fall.is_some_and(|f| f.least.percent() >= least && f.greatest.percent() <= most);
    let off = rows.len() - rows.iter().filter(keeps).count();
    (off > 0).then(|| format!("the fall along {off} of {} rows", rows.len()))
}
