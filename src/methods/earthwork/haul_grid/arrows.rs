//! Few arrows that stand for many hauls, and sums between groups of cells.
//!
//! Hauls that start in the same square of two cells and end in the same square are one. Then the two whose ends lie
//! closest are put together, again and again, until few enough are left: what is lost each time is the least growth of the
//! sum of squares, volume times the squared shift of either end (Ward's method over starts and ends). An arrow runs between
//! the centres of gravity of its ends, and shows the way of the haul of the largest moment in it. No haul is left out.
//! Shapes and units: metres, cubic metres. Ties: the pair that comes first, squares north to south, west to east; arrows by
//! falling volume.
//! Complexity: quadratic in pairs of squares as a rule, memory linear.
//! Source: Ward (1963), Hierarchical grouping to optimize an objective function, Journal of the American Statistical
//! Association 58.
//! How we know: volume and moment of ends are kept (`arrows_keep_the_earth`), bundles stay apart (`bundles_stay_apart`), the
//! growth against the sums of squares themselves (`merging_costs_the_growth_of_the_squares`), a hand case (`blocks_exchange`).

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

/// What makes hauls one from the start: square of the start, square of the end.
type Key = [i64; 4];

/// Hauls put together: start and end as one point of four coordinates from the north-west corner, metres.
#[derive(Debug, Clone)]
struct Bundle<'a> {
    centre: [f64; 4],
    volume_m3: f64,
    hauls: Vec<&'a PathHaul>,
}

impl<'a> Bundle<'a> {
    fn of(hauls: Vec<&'a PathHaul>, north_west: Coord<f64>) -> Self {
        let volume_m3 = hauls.iter().map(|h| h.volume_m3).sum();
        let mut centre = [0.0; 4];
        for haul in &hauls {
            let (start, end) = ends(haul);
            let at = [start.x - north_west.x, start.y - north_west.y, end.x - north_west.x, end.y - north_west.y];
            for (sum, x) in centre.iter_mut().zip(at) {
                *sum += x * haul.volume_m3 / volume_m3;
            }
        }
        Self { centre, volume_m3, hauls }
    }

    /// What the sum of squares grows by when the two become one, m5.
    fn growth(&self, other: &Self) -> f64 {
        let apart: f64 = self.centre.iter().zip(other.centre).map(|(a, b)| (a - b).powi(2)).sum();
        self.volume_m3 * other.volume_m3 / (self.volume_m3 + other.volume_m3) * apart
    }

    fn take_in(&mut self, other: Self) {
        let volume_m3 = self.volume_m3 + other.volume_m3;
        for (mine, theirs) in self.centre.iter_mut().zip(other.centre) {
            *mine += (theirs - *mine) * other.volume_m3 / volume_m3;
        }
        self.volume_m3 = volume_m3;
        self.hauls.extend(other.hauls);
    }
}

/// Puts hauls together into at most `most` arrows (one when that is zero), the largest volume first.
#[must_use]
pub fn gather_arrows(spec: &GridSpec, hauls: &[PathHaul], most: usize) -> Vec<HaulArrow> {
    let mut groups: BTreeMap<Key, Vec<&PathHaul>> = BTreeMap::new();
    for haul in hauls.iter().filter(|h| h.length_m > 0.0 && h.volume_m3 > 0.0) {
        groups.entry(squares(haul, 2.0 * spec.cell_m, spec.north_west)).or_default().push(haul);
    }
    let bundles = groups.into_values().map(|hauls| Bundle::of(hauls, spec.north_west)).collect();
    let mut arrows: Vec<HaulArrow> = bundled(bundles, most.max(1)).iter().map(|b| arrow(&b.hauls)).collect();
    arrows.sort_by(|a, b| b.volume_m3.total_cmp(&a.volume_m3));
    arrows
}

/// The bundles put together, nearest first, until `most` are left.
fn bundled(mut bundles: Vec<Bundle<'_>>, most: usize) -> Vec<Bundle<'_>> {
    // Of each bundle the cheapest partner behind it in the list.
    let mut nearest: Vec<Option<(f64, usize)>> = (0..bundles.len()).map(|i| partner(&bundles, i)).collect();
    while bundles.len() > most {
        let pairs = nearest.iter().enumerate().filter_map(|(i, n)| n.map(|(growth, j)| (growth, i, j)));
        let Some((_, i, j)) = pairs.min_by(|a, b| a.0.total_cmp(&b.0)) else { break };
        // The last bundle moves into the freed place; who had it or either of the two as partner looks again.
        let other = bundles.swap_remove(j);
        nearest.swap_remove(j);
        bundles[i].take_in(other);
        let moved = bundles.len();
        for k in 0..bundles.len() {
            let stale = k == i || k == j || nearest[k].is_none_or(|(_, p)| p == i || p == j || p == moved);
            if stale {
                nearest[k] = partner(&bundles, k);
                continue;
            }
            // What moved or grew may have come nearer to those before it.
            for changed in [i, j] {
                if changed > k && changed < bundles.len() {
                    let growth = bundles[k].growth(&bundles[changed]);
                    if nearest[k].is_some_and(|(least, _)| growth < least) {
                        nearest[k] = Some((growth, changed));
                    }
                }
            }
        }
    }
    bundles
}

fn partner(bundles: &[Bundle<'_>], i: usize) -> Option<(f64, usize)> {
    let growths = (i + 1..bundles.len()).map(|j| (bundles[i].growth(&bundles[j]), j));
    growths.min_by(|a, b| a.0.total_cmp(&b.0))
}

fn squares(haul: &PathHaul, side_m: f64, north_west: Coord<f64>) -> Key {
    #[expect(clippy::cast_possible_truncation, reason = "squares of any plan can be counted")]
    let square = |at: Coord<f64>| {
        [((north_west.y - at.y) / side_m).floor() as i64, ((at.x - north_west.x) / side_m).floor() as i64]
    };
    let (start, end) = ends(haul);
    let ([r0, c0], [r1, c1]) = (square(start), square(end));
    [r0, c0, r1, c1]
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::earthwork::haul_grid::HaulEnd;
    use proptest::prelude::*;

    fn haul(from: (f64, f64), to: (f64, f64), volume_m3: f64) -> PathHaul {
        let path = vec![Coord { x: from.0, y: from.1 }, Coord { x: to.0, y: to.1 }];
        let length_m = (to.0 - from.0).hypot(to.1 - from.1);
        PathHaul { from: HaulEnd::Cell(0), to: HaulEnd::Cell(1), volume_m3, length_m, priced_m: length_m, path }
    }

    fn spec() -> GridSpec {
        GridSpec { north_west: Coord { x: 0.0, y: 1_000.0 }, cell_m: 10.0, rows: 100, cols: 100 }
    }

    /// Three bundles of hauls in three directions, one of them small: three arrows, each in the middle of its own.
    #[test]
    fn bundles_stay_apart() {
        let mut hauls = Vec::new();
        for i in 0..12 {
            let d = f64::from(i) * 7.0;
            hauls.push(haul((100.0 + d, 905.0), (100.0 + d, 805.0), 40.0));
            hauls.push(haul((105.0, 400.0 - d), (355.0, 400.0 - d), 25.0));
            hauls.push(haul((905.0 - d, 305.0), (785.0 - d, 405.0), 5.0));
        }
        let arrows = gather_arrows(&spec(), &hauls, 3);
        let told: Vec<_> = arrows.iter().map(|a| (a.hauls, a.volume_m3.round(), a.mean_haul_m.round())).collect();
        assert_eq!(told, [(12, 480.0, 100.0), (12, 300.0, 250.0), (12, 60.0, 156.0)]);
        let mid = 5.5 * 7.0;
        assert!((arrows[0].from.x - (100.0 + mid)).abs() < 1e-6 && (arrows[0].to.y - 805.0).abs() < 1e-6);
        assert!((arrows[2].from.x - (905.0 - mid)).abs() < 1e-6, "{:?}", arrows[2]);
        // One more than there are bundles splits one; one less puts the nearest two together, never all.
        assert_eq!(gather_arrows(&spec(), &hauls, 4).len(), 4);
        assert_eq!(gather_arrows(&spec(), &hauls, 2).len(), 2);
    }

    proptest! {
        /// The growth is the sum of squares of the whole less those of the parts.
        #[test]
        fn merging_costs_the_growth_of_the_squares(
            points in prop::collection::vec((0.0..900.0f64, 0.0..900.0f64, 0.0..900.0f64, 0.0..900.0f64, 1.0..50.0f64), 2..12),
            cut in 1..11usize,
        ) {
            let hauls: Vec<PathHaul> = points.iter().map(|p| haul((p.0, p.1), (p.2, p.3), p.4)).collect();
            let cut = cut.min(hauls.len() - 1);
            let of = |hauls: &[PathHaul]| {
                let bundle = Bundle::of(hauls.iter().collect(), Coord { x: 0.0, y: 0.0 });
                let squares: f64 = hauls.iter().map(|h| {
                    let (a, b) = ends(h);
                    let at = [a.x, a.y, b.x, b.y];
                    h.volume_m3 * at.iter().zip(bundle.centre).map(|(x, c)| (x - c).powi(2)).sum::<f64>()
                }).sum();
                (bundle.centre, bundle.volume_m3, squares)
            };
            let (whole, left, right) = (of(&hauls), of(&hauls[..cut]), of(&hauls[cut..]));
            let part = |p: &([f64; 4], f64, f64)| Bundle { centre: p.0, volume_m3: p.1, hauls: Vec::new() };
            let growth = part(&left).growth(&part(&right));
            prop_assert!((growth - (whole.2 - left.2 - right.2)).abs() < 1e-6 * whole.2.max(1.0));
            let mut one = part(&left);
            one.take_in(part(&right));
            prop_assert!(one.centre.iter().zip(whole.0).all(|(a, b)| (a - b).abs() < 1e-6));
        }
    }
}
