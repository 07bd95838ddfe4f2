//! Few arrows that stand for many hauls, and sums between groups of cells.
//!
//! Hauls are put together when they start in the same large square, end in the same large square and run in the same of
//! sixteen directions; squares grow by half until few enough arrows are left. An arrow runs between the centres of
//! gravity of its ends, and shows the way of the haul of the largest moment in it. No haul is left out.
//! Shapes and units: metres, cubic metres. Ties: squares north to south, west to east; arrows by falling volume.
//! Complexity: linear in hauls, times the logarithm of the grid's size.
//! Source: generalisation by squares, arithmetic; no publication.
//! How we know: volume and moment of ends are kept (`arrows_keep_the_earth`), a hand case (`blocks_exchange`).

use super::{GridHaul, HaulEnd, PathHaul};
use crate::grid::GridSpec;
use geo::Coord;
use std::collections::BTreeMap;

/// Several hauls as one arrow.
#[derive(Debug, Clone, PartialEq)]
pub struct HaulArrow {
    /// Centre of gravity of where the earth is taken.
    pub from: Coord<f64>,
    /// Centre of gravity of where it is placed.
    pub to: Coord<f64>,
    /// Earth, m3 of cut measure.
    pub volume_m3: f64,
    /// Mean length of its hauls over the ground, metres.
    pub mean_haul_m: f64,
    /// Way of the haul of the largest moment among them, to draw the arrow round obstacles.
    pub path: Vec<Coord<f64>>,
    /// How many hauls it stands for.
    pub hauls: usize,
}

/// A group of cells, or a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HaulGroup {
    /// Cells with this label, for example a block.
    Cells(u32),
    /// A place, by its number.
    Place(u32),
}

/// What runs from one group to another.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PairSum {
    /// Earth, m3 of cut measure.
    pub volume_m3: f64,
    /// Volume times length over the ground, m4.
    pub moment_m4: f64,
}

/// Sums of hauls between groups; `label` names the group of a cell.
#[must_use]
pub fn between_groups(plan: &GridHaul, label: impl Fn(u32) -> u32) -> BTreeMap<(HaulGroup, HaulGroup), PairSum> {
    let group = |end: HaulEnd| match end {
        HaulEnd::Cell(cell) => HaulGroup::Cells(label(cell)),
        HaulEnd::Place(place) => HaulGroup::Place(place),
    };
    let mut sums: BTreeMap<_, PairSum> = BTreeMap::new();
    for haul in &plan.hauls {
        let sum = sums.entry((group(haul.from), group(haul.to))).or_default();
        sum.volume_m3 += haul.volume_m3;
        sum.moment_m4 += haul.volume_m3 * haul.length_m;
    }
    sums
}

/// What makes hauls one arrow: square of the start, square of the end, direction.
type Key = (i64, i64, i64, i64, i64);

/// Puts hauls together into at most `most` arrows (one when that is zero), the largest volume first.
#[must_use]
pub fn gather_arrows(spec: &GridSpec, hauls: &[PathHaul], most: usize) -> Vec<HaulArrow> {
    let moving: Vec<&PathHaul> = hauls.iter().filter(|h| h.length_m > 0.0 && h.volume_m3 > 0.0).collect();
    let mut side_m = 2.0 * spec.cell_m;
    let whole_m = f64::from(spec.rows.max(spec.cols)) * spec.cell_m;
    let mut groups = grouped(&moving, side_m, spec.north_west, true);
    while groups.len() > most.max(1) && side_m <= 2.0 * whole_m {
        side_m *= 1.5;
        groups = grouped(&moving, side_m, spec.north_west, true);
    }
    if groups.len() > most.max(1) {
        groups = grouped(&moving, side_m, spec.north_west, false);
    }
    let mut arrows: Vec<HaulArrow> = groups.into_values().map(|hauls| arrow(&hauls)).collect();
    arrows.sort_by(|a, b| b.volume_m3.total_cmp(&a.volume_m3));
    arrows
}

fn grouped<'a>(
    hauls: &[&'a PathHaul],
    side_m: f64,
    north_west: Coord<f64>,
    by_direction: bool,
) -> BTreeMap<Key, Vec<&'a PathHaul>> {
    let mut groups: BTreeMap<Key, Vec<&PathHaul>> = BTreeMap::new();
    for haul in hauls {
        let (start, end) = ends(haul);
        #[expect(clippy::cast_possible_truncation, reason = "squares of any plan can be counted")]
        let square = |at: Coord<f64>| {
            (((north_west.y - at.y) / side_m).floor() as i64, ((at.x - north_west.x) / side_m).floor() as i64)
        };
        #[expect(clippy::cast_possible_truncation, reason = "sixteen sectors")]
        let sector = ((end.y - start.y).atan2(end.x - start.x) / (std::f64::consts::PI / 8.0)).round() as i64;
        let direction = if by_direction { sector.rem_euclid(16) } else { 0 };
        let ((r0, c0), (r1, c1)) = (square(start), square(end));
        groups.entry((r0, c0, r1, c1, direction)).or_default().push(haul);
    }
    groups
}

fn ends(haul: &PathHaul) -> (Coord<f64>, Coord<f64>) {
    (haul.path[0], haul.path[haul.path.len() - 1])
}

fn arrow(hauls: &[&PathHaul]) -> HaulArrow {
    let volume_m3: f64 = hauls.iter().map(|h| h.volume_m3).sum();
    let centre = |point: fn(&PathHaul) -> Coord<f64>| {
        // About the first point, so that large coordinates lose no digits.
        let base = point(hauls[0]);
        let sum = hauls.iter().fold(Coord { x: 0.0, y: 0.0 }, |sum, h| sum + (point(h) - base) * h.volume_m3);
        base + sum / volume_m3
    };
    let moment = |h: &PathHaul| h.volume_m3 * h.length_m;
    let mut main = hauls[0];
    for haul in hauls {
        if moment(haul) > moment(main) {
            main = haul;
        }
    }
    HaulArrow {
        from: centre(|h| ends(h).0),
        to: centre(|h| ends(h).1),
        volume_m3,
        mean_haul_m: hauls.iter().map(|h| moment(h)).sum::<f64>() / volume_m3,
        path: main.path.clone(),
        hauls: hauls.len(),
    }
}
