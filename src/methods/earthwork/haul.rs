//! Where cut goes: the least moment of earth, its mean distance and its spread over distance bands.
//!
//! Fine cells are first gathered into coarse ones: within a coarse cell cut meets fill on the spot, the rest is
//! carried from the centre of gravity of its surplus to those of the deficits elsewhere, at the least sum of volume times straight
//! distance (an exact transport problem). Fill must already be stated in cut measure (multiplied by the cut:fill ratio).
//! Shapes and units: metres, cubic metres in place, moments in m4 (m3 times m).
//! Ties: as in [`transport`](mod@super::transport); coarse cells run north to south, then west to east.
//! Source: [`Bibliography::Hitchcock1941`](crate::bibliography::Bibliography::Hitchcock1941) for the plane; along a line the
//! least moment is the area under the mass-haul curve (classical).
//! How we know: a worked line (`mass_haul_line`), the plane agrees with the line (`plane_agrees_with_line`), properties
//! (`moment_bounds`), hand case for gathering (`gathering_nets_on_the_spot`).

use super::transport::{TransportError, transport};
use geo::Coord;
use std::collections::BTreeMap;

/// Earth to be taken or placed at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EarthPoint {
    /// Where.
    pub at: Coord<f64>,
    /// How much, m3 of cut measure, zero or more.
    pub volume_m3: f64,
}

/// One haul.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Haul {
    /// Number of the cut.
    pub from: usize,
    /// Number of the fill.
    pub to: usize,
    /// Earth carried, m3.
    pub volume_m3: f64,
    /// Straight distance, metres.
    pub distance_m: f64,
}

/// The hauls of least moment.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HaulPlan {
    /// All hauls, by cut, then fill.
    pub hauls: Vec<Haul>,
    /// Sum of volume times distance, m4.
    pub moment_m4: f64,
    /// Proven lower bound of the moment (dual value), m4; equal up to rounding.
    pub least_moment_m4: f64,
    /// Cut that finds no fill: (cut number, m3).
    pub spoil: Vec<(usize, f64)>,
    /// Fill that finds no cut: (fill number, m3).
    pub borrow: Vec<(usize, f64)>,
}

/// The plan of least moment between cuts and fills.
///
/// # Errors
/// [`TransportError`] when a volume is negative or a number is not finite.
pub fn haul_plan(cuts: &[EarthPoint], fills: &[EarthPoint]) -> Result<HaulPlan, TransportError> {
    let volumes = |points: &[EarthPoint]| points.iter().map(|p| p.volume_m3).collect::<Vec<_>>();
    let distance = |i: usize, j: usize| {
        let (a, b) = (cuts[i].at, fills[j].at);
        (b.x - a.x).hypot(b.y - a.y)
    };
    let plan = transport(&volumes(cuts), &volumes(fills), distance)?;
    let hauls = plan
        .flows
        .iter()
        .map(|f| Haul { from: f.from, to: f.to, volume_m3: f.amount, distance_m: distance(f.from, f.to) })
        .collect();
    Ok(HaulPlan {
        hauls,
        moment_m4: plan.total_cost,
        least_moment_m4: plan.dual_value,
        spoil: plan.left_over,
        borrow: plan.missing,
    })
}

/// Fine cells gathered into coarse ones.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Gathered {
    /// Surplus cut of each coarse cell, at its centre of gravity.
    pub cuts: Vec<EarthPoint>,
    /// Deficit of each coarse cell.
    pub fills: Vec<EarthPoint>,
    /// Cut that meets fill inside its own coarse cell, m3: a short push, not a haul.
    pub on_the_spot_m3: f64,
}

/// Gathers `(place, cut minus fill in m3 of cut measure)` into square cells of side `side_m` aligned to the origin.
///
/// Nothing is gathered when the side is not positive.
#[must_use]
pub fn gather(points: impl IntoIterator<Item = (Coord<f64>, f64)>, side_m: f64) -> Gathered {
    #[derive(Default)]
    struct Sums {
        volume: f64,
        x: f64,
        y: f64,
    }
    impl Sums {
        fn add(&mut self, at: Coord<f64>, volume: f64) {
            // Running mean, so that large coordinates lose no digits.
            self.volume += volume;
            self.x += (at.x - self.x) * volume / self.volume;
            self.y += (at.y - self.y) * volume / self.volume;
        }
    }
    let mut gathered = Gathered::default();
    if side_m.is_nan() || side_m <= 0.0 {
        return gathered;
    }
    let mut cells: BTreeMap<(i64, i64), (Sums, Sums)> = BTreeMap::new();
    for (at, volume) in points {
        #[expect(clippy::cast_possible_truncation, reason = "cell numbers of any plan fit")]
        let key = (-((at.y / side_m).floor() as i64), (at.x / side_m).floor() as i64);
        let (cut, fill) = cells.entry(key).or_default();
        if volume > 0.0 {
            cut.add(at, volume);
        } else if volume < 0.0 {
            fill.add(at, -volume);
        }
    }
    for (cut, fill) in cells.into_values() {
        let met = cut.volume.min(fill.volume);
        gathered.on_the_spot_m3 += met;
        let point = |s: &Sums| EarthPoint { at: Coord { x: s.x, y: s.y }, volume_m3: s.volume - met };
        if cut.volume > met {
            gathered.cuts.push(point(&cut));
        }
        if fill.volume > met {
            gathered.fills.push(point(&fill));
        }
    }
    gathered
}

/// Mean distance of hauls, metres, weighted by volume; zero without hauls.
#[must_use]
pub fn mean_haul(hauls: &[Haul]) -> f64 {
    let volume: f64 = hauls.iter().map(|h| h.volume_m3).sum();
    let moment: f64 = hauls.iter().map(|h| h.volume_m3 * h.distance_m).sum();
    if volume > 0.0 { moment / volume } else { 0.0 }
}

/// Volume in each distance band: up to the first limit, up to the second, ..., beyond the last.
///
/// Limits in increasing order, metres; a distance equal to a limit belongs below it. One more number than limits.
#[must_use]
pub fn haul_bands(hauls: &[Haul], limits_m: &[f64]) -> Vec<f64> {
    let mut bands = vec![0.0; limits_m.len() + 1];
    for haul in hauls {
        bands[limits_m.partition_point(|limit| *limit < haul.distance_m)] += haul.volume_m3;
    }
    bands
}

/// Least moment along a line of equally spaced surpluses (+) and deficits (-), m4: the area under |running sum|.
///
/// The moment of what does not balance is counted to the end of the line.
#[must_use]
pub fn haul_1d(net_m3: &[f64], spacing_m: f64) -> f64 {
    let Some((_, inner)) = net_m3.split_last() else {
        return 0.0;
    };
    let mut running = 0.0;
    inner
        .iter()
        .map(|v| {
            running += v;
            f64::abs(running) * spacing_m
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LINE: [f64; 6] = [100.0, 50.0, -80.0, -70.0, 40.0, -40.0];

    /// Cuts and fills of a line at a spacing.
    fn on_a_line(net: &[f64], spacing_m: f64) -> (Vec<EarthPoint>, Vec<EarthPoint>) {
        let (mut cuts, mut fills) = (Vec::new(), Vec::new());
        let mut x = 0.0;
        for v in net {
            let side = if *v > 0.0 { &mut cuts } else { &mut fills };
            side.push(EarthPoint { at: Coord { x, y: 0.0 }, volume_m3: v.abs() });
            x += spacing_m;
        }
        (cuts, fills)
    }

    #[test]
    fn mass_haul_line() {
        // Area under the mass-haul curve, arithmetic (a linear programme agrees): 7200 m4, mean 37.8947 m.
        assert!((haul_1d(&LINE, 20.0) - 7200.0).abs() < 1e-9);
        let (cuts, fills) = on_a_line(&LINE, 20.0);
        let plan = haul_plan(&cuts, &fills).expect("sound volumes");
        assert!((plan.moment_m4 - 7200.0).abs() < 1e-9 && (plan.least_moment_m4 - 7200.0).abs() < 1e-9);
        assert!((mean_haul(&plan.hauls) - 37.8947).abs() < 1e-4);
        let bands = haul_bands(&plan.hauls, &[20.0, 40.0]);
        assert!((bands.iter().sum::<f64>() - 190.0).abs() < 1e-9 && bands.len() == 3);
        assert!(haul_1d(&[], 20.0).abs() < 1e-12 && mean_haul(&[]).abs() < 1e-12);
    }

    #[test]
    fn bands_split_at_their_limits() {
        let haul = |volume_m3, distance_m| Haul { from: 0, to: 0, volume_m3, distance_m };
        assert_eq!(
            haul_bands(&[haul(1.0, 50.0), haul(2.0, 50.1), haul(4.0, 300.0)], &[50.0, 200.0]),
            vec![1.0, 2.0, 4.0]
        );
    }

    #[test]
    fn gathering_nets_on_the_spot() {
        let at = |x, y| Coord { x, y };
        let g = gather(
            [
                (at(2.0, 2.0), 5.0),
                (at(8.0, 2.0), -3.0),
                (at(4.0, 2.0), 5.0),
                (at(2.0, 12.0), -4.0),
                (at(15.0, 2.0), 0.0),
            ],
            10.0,
        );
        assert!((g.on_the_spot_m3 - 3.0).abs() < 1e-12);
        assert_eq!(g.cuts, vec![EarthPoint { at: at(3.0, 2.0), volume_m3: 7.0 }]);
        assert_eq!(g.fills, vec![EarthPoint { at: at(2.0, 12.0), volume_m3: 4.0 }]);
        assert_eq!(gather([(at(0.0, 0.0), 1.0)], 0.0), Gathered::default());
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn plane_agrees_with_line(mut net in prop::collection::vec(-50.0..50.0f64, 2..25)) {
            let total: f64 = net.iter().sum();
            net.push(-total);
            let (cuts, fills) = on_a_line(&net, 15.0);
            let plan = haul_plan(&cuts, &fills).expect("sound volumes");
            let line = haul_1d(&net, 15.0);
            prop_assert!((plan.moment_m4 - line).abs() < 1e-6 * (1.0 + line), "{} against {line}", plan.moment_m4);
        }

        #[test]
        fn moment_bounds(points in prop::collection::vec((0.0..300.0f64, 0.0..300.0f64, 1.0..40.0f64), 2..14)) {
            // Any plan moves the centre of gravity, so its moment is at least the shift of the first moments.
            let half = points.len() / 2;
            let place = |p: &(f64, f64, f64)| Coord { x: p.0, y: p.1 };
            let cuts: Vec<_> = points[..half].iter().map(|p| EarthPoint { at: place(p), volume_m3: p.2 }).collect();
            let scale = cuts.iter().map(|c| c.volume_m3).sum::<f64>() / points[half..].iter().map(|p| p.2).sum::<f64>();
            let fills: Vec<_> = points[half..].iter().map(|p| EarthPoint { at: place(p), volume_m3: p.2 * scale }).collect();
            let plan = haul_plan(&cuts, &fills).expect("sound volumes");
            let shift = |f: fn(Coord<f64>) -> f64| {
                let sum = |s: &[EarthPoint]| s.iter().map(|p| f(p.at) * p.volume_m3).sum::<f64>();
                sum(&fills) - sum(&cuts)
            };
            prop_assert!(plan.moment_m4 + 1e-6 >= shift(|c| c.x).hypot(shift(|c| c.y)));
            prop_assert!((plan.moment_m4 - plan.least_moment_m4).abs() < 1e-6 * (1.0 + plan.moment_m4));
            // Cut and fill in the same places need no haul.
            let nothing = haul_plan(&cuts, &cuts).expect("sound volumes");
            prop_assert!(nothing.moment_m4 < 1e-9);
        }
    }
}
