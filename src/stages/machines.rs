//! What machines charge for a haul, from the rates.

use crate::land::levelling::HaulMachine;
use crate::land::rates::Rates;
use crate::methods::earthwork::haul_price::{MachinePrice, MachinePrices, PriceError};
use crate::units::Range;

/// A dozer pushes no further than this, metres (common practice, no source).
const PUSH_M: f64 = 100.0;
/// Distance soil is priced at whose place is not known, metres.
const UNKNOWN_PLACE_M: f64 = 1_000.0;

/// One machine: what a cubic metre costs however far, and for each metre.
struct Machine {
    kind: HaulMachine,
    fixed: Range,
    per_m: Range,
    reach_m: Option<f64>,
}

/// The machines there are, the one for the shortest hauls first.
pub(in crate::stages) struct Machines {
    list: Vec<Machine>,
    /// Their likely prices: plans are made with these.
    pub(in crate::stages) likely: MachinePrices,
}

impl Machines {
    /// The machines of a table of rates.
    ///
    /// # Errors
    /// [`PriceError`] when a rate is negative or no number.
    pub(in crate::stages) fn of(rates: &Rates) -> Result<Self, PriceError> {
        let per_m = |rate: Range| rate.map(|r| r / 100.0);
        let list = vec![
            Machine {
                kind: HaulMachine::Dozer,
                fixed: rates.dozer_push_per_m3,
                per_m: per_m(rates.dozer_push_per_m3_per_100_m),
                reach_m: Some(PUSH_M),
            },
            // The rate stands for 100 m; the line runs through it.
            Machine {
                kind: HaulMachine::Bucket,
                fixed: rates.levelling_per_m3.zip(rates.haul_per_m3_per_100_m, |at_100, step| (at_100 - step).max(0.0)),
                per_m: per_m(rates.haul_per_m3_per_100_m),
                reach_m: None,
            },
            Machine {
                kind: HaulMachine::Truck,
                fixed: rates.truck_per_m3,
                per_m: per_m(rates.truck_per_m3_per_100_m),
                reach_m: None,
            },
        ];
        let price =
            |m: &Machine| MachinePrice { fixed_per_m3: m.fixed.likely, per_m3_m: m.per_m.likely, reach_m: m.reach_m };
        let likely = MachinePrices::new(&list.iter().map(price).collect::<Vec<_>>())?;
        Ok(Self { list, likely })
    }

    /// The kinds, in the order of their numbers.
    pub(in crate::stages) fn kinds(&self) -> impl Iterator<Item = HaulMachine> + '_ {
        self.list.iter().map(|m| m.kind)
    }

    /// What a machine charges for a cubic metre over a distance.
    pub(in crate::stages) fn price_per_m3(&self, machine: usize, distance_m: f64) -> Range {
        let m = &self.list[machine];
        m.fixed.zip(m.per_m, |fixed, per_m| fixed + per_m * distance_m)
    }

    /// Price of a cubic metre from or to a place that is not known.
    pub(in crate::stages) fn unknown_place_per_m3(&self) -> Range {
        self.price_per_m3(self.likely.at(UNKNOWN_PLACE_M).0, UNKNOWN_PLACE_M)
    }

    /// Metres of level haul by bucket that a price stands for.
    pub(in crate::stages) fn as_metres(&self, price_per_m3: f64, most_m: f64) -> f64 {
        let per_m = self.list[1].per_m.likely;
        if price_per_m3 <= 0.0 {
            0.0
        } else if per_m > 0.0 {
            (price_per_m3 / per_m).min(most_m)
        } else {
            most_m
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cheapest_machine_changes_with_distance() {
        let machines = Machines::of(&Rates::default()).unwrap();
        let kind = |d: f64| machines.list[machines.likely.at(d).0].kind;
        // Lines meet at (1.65 - 0.9) / 0.0225 = 33.3 m and (5 - 1.65) / 0.0055 = 609 m (arithmetic).
        assert_eq!(
            [33.0, 34.0, 600.0, 615.0].map(kind),
            [HaulMachine::Dozer, HaulMachine::Bucket, HaulMachine::Bucket, HaulMachine::Truck]
        );
        // The cycle the bucket's rates come from: 1.8 min fixed, 12 and 20 km/h, 7.5 m3, a 50-minute hour, $350/h.
        for d in [50.0, 100.0, 300.0, 600.0, 1_000.0] {
            let minutes = 1.8 + d / 200.0 + d / 333.3;
            let cycle = 350.0 / (50.0 / minutes * 7.5);
            let line = machines.price_per_m3(1, d).likely;
            assert!((line / cycle - 1.0).abs() < 0.05, "{d} m: {line} against {cycle}");
        }
        assert!((machines.unknown_place_per_m3().likely - 7.0).abs() < 1e-9);
        assert!((machines.as_metres(1.5, 1e5) - 200.0).abs() < 1e-9);
    }
}
