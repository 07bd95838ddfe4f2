//! Hauls at the least price when the price per cubic metre bends with distance because machines change.
//!
//! Each machine has a price to load and unload a cubic metre and a price for each metre carried; the cheapest that may
//! work at a distance does. The least of straight lines is concave: the further metres are the cheaper ones. A way over a
//! grid must then not be cut into pieces, so hauls are planned between cells as a transport problem. It starts with
//! the nearest partners of each cell and with pairs that could carry all; then all pairs are priced with the duals, and those that would save are let in until there
//! is none, which proves the optimum over all pairs.
//! Shapes and units: distances in metres (of level haul), volumes in m3 of cut measure, prices per m3 in any currency.
//! Inside: whole litres and ten-thousandths of the currency unit, so optimum and proof agree to the last digit.
//! Ties: as in [`transshipment`](super::transshipment); of pairs that save equally the lower number. The same result
//! whatever the thread count. Complexity: each pricing round looks at all pairs; some thirty rounds at 1800 by 1800. Meant
//! for up to about 2000 by 2000.
//! Source: [`Bibliography::Hitchcock1941`](crate::bibliography::Bibliography::Hitchcock1941), the problem;
//! [`Bibliography::DantzigWolfe1960`](crate::bibliography::Bibliography::DantzigWolfe1960), letting columns in by their
//! reduced cost. Fixed and variable part of a cycle: common practice.
//! How we know: the dense method on random tables (`agrees_with_dense_transport`), a case where long and short hauls beat
//! two middling ones (`concave_prices_pair_otherwise`), linear prices against the grid (`linear_prices_agree_with_the_grid`).

mod over_grid;

pub use over_grid::{GridPriceError, GridPricedPlan, PricedPlace, priced_hauls_over_grid};

use super::transshipment::Transshipment;
use rayon::prelude::*;

const LITRES_PER_M3: f64 = 1_000.0;
const UNITS_PER_CURRENCY: f64 = 10_000.0;
/// Partners of each cell at the start.
const NEAREST: usize = 16;
/// Pairs let in for each giver and round.
const MOST_NEW: usize = 4;
/// The largest price and volume that whole numbers are sure to hold.
const MOST: f64 = 1e9;

/// What one machine charges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MachinePrice {
    /// Loading, spreading, turning: per m3, whatever the distance.
    pub fixed_per_m3: f64,
    /// Carrying a m3 one metre, there and back.
    pub per_m3_m: f64,
    /// Furthest it works, metres; nothing when there is no limit.
    pub reach_m: Option<f64>,
}

/// Machines to choose from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MachinePrices {
    machines: Vec<MachinePrice>,
}

/// Why a priced plan is refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PriceError {
    /// A number is negative, not finite or too large.
    #[error("{what} {index} is {value}: it must be a number from 0 to 1e9")]
    Number {
        /// Which number.
        what: &'static str,
        /// Of which machine, giver or taker.
        index: usize,
        /// Its value.
        value: f64,
    },
    /// No machine may work at every distance.
    #[error("every machine has a reach: beyond the furthest there is no price")]
    Reach,
}

impl MachinePrices {
    /// Prices of machines in a fixed order; one at least works at any distance.
    ///
    /// # Errors
    /// [`PriceError`] when a price is negative or not finite, or every machine has a reach.
    pub fn new(machines: &[MachinePrice]) -> Result<Self, PriceError> {
        for (index, m) in machines.iter().enumerate() {
            let numbers = [("fixed price of machine", m.fixed_per_m3), ("price per metre of machine", m.per_m3_m)];
            let reach = m.reach_m.map(|r| ("reach of machine", r));
            for (what, value) in numbers.into_iter().chain(reach) {
                number(what, index, value)?;
            }
        }
        if machines.iter().all(|m| m.reach_m.is_some()) {
            return Err(PriceError::Reach);
        }
        Ok(Self { machines: machines.to_vec() })
    }

    /// The cheapest machine's number and price per m3 at a distance; the first of equals. Infinite where the distance is.
    #[must_use]
    pub fn at(&self, distance_m: f64) -> (usize, f64) {
        let mut best = (0, f64::INFINITY);
        for (index, m) in self.machines.iter().enumerate() {
            let price = m.fixed_per_m3 + m.per_m3_m * distance_m;
            if price < best.1 && m.reach_m.is_none_or(|reach| distance_m <= reach) {
                best = (index, price);
            }
        }
        best
    }
}

/// A cell or place that gives or takes earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HaulSite {
    /// How much, m3 of cut measure.
    pub volume_m3: f64,
    /// Whether it is a place that may give or take less; a cell of the design must be emptied or filled.
    pub is_optional: bool,
    /// What a m3 costs there beside the haul: royalty of borrow, spreading of spoil.
    pub price_per_m3: f64,
}

impl HaulSite {
    /// A cell of the design.
    #[must_use]
    pub fn cell(volume_m3: f64) -> Self {
        Self { volume_m3, is_optional: false, price_per_m3: 0.0 }
    }

    /// A place for borrow or spoil with room for a volume.
    #[must_use]
    pub fn place(volume_m3: f64, price_per_m3: f64) -> Self {
        Self { volume_m3, is_optional: true, price_per_m3 }
    }
}

/// One haul of a priced plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PricedHaul {
    /// Number of the giver.
    pub from: usize,
    /// Number of the taker.
    pub to: usize,
    /// Earth, m3 of cut measure.
    pub volume_m3: f64,
    /// Distance, metres, as it was priced.
    pub distance_m: f64,
    /// Number of the machine that does it.
    pub machine: usize,
    /// Price of the machine per m3.
    pub price_per_m3: f64,
    /// Price of the places at its ends per m3.
    pub place_per_m3: f64,
}

/// The cheapest hauls.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PricedPlan {
    /// All hauls, by giver, then taker.
    pub hauls: Vec<PricedHaul>,
    /// What cells keep that should give it: (giver, m3).
    pub left_over: Vec<(usize, f64)>,
    /// What cells lack that should take it: (taker, m3).
    pub missing: Vec<(usize, f64)>,
    /// Sum of volume times price, places included.
    pub cost: f64,
    /// What the duals prove to be the least cost over all pairs.
    pub least_cost: f64,
    /// Whether both are equal as whole numbers and no pair at all would save.
    pub is_proven: bool,
    /// Pairs that were let in, of all pairs.
    pub pairs_used: usize,
    /// Rounds of pricing all pairs.
    pub rounds: usize,
}

impl PricedPlan {
    /// Volume and cost of each machine, by its number; prices of places are not in it.
    #[must_use]
    pub fn by_machine(&self, machines: usize) -> Vec<(f64, f64)> {
        let mut sums = vec![(0.0, 0.0); machines];
        for haul in &self.hauls {
            if let Some((volume, cost)) = sums.get_mut(haul.machine) {
                *volume += haul.volume_m3;
                *cost += haul.volume_m3 * haul.price_per_m3;
            }
        }
        sums
    }
}

/// The cheapest hauls from givers to takers.
///
/// `distance_m(giver, taker)` may be infinite where there is no way. As much as can be carried is carried, whatever its
/// price; what must stay stays where it would have cost most.
///
/// # Errors
/// [`PriceError`] when a volume, a price or a distance is negative, not a number or too large.
pub fn priced_hauls(
    givers: &[HaulSite],
    takers: &[HaulSite],
    prices: &MachinePrices,
    distance_m: impl Fn(usize, usize) -> f64 + Sync,
) -> Result<PricedPlan, PriceError> {
    check(givers, takers)?;
    let table = Table::new(givers, takers, prices, &distance_m)?;
    let mut network = network(givers, takers, table.penalty);
    let first_arc = network.arcs().end;
    let mut columns = Columns { known: vec![false; table.cost.len()], pairs: Vec::new(), first_arc };
    columns.let_in(&mut network, &table, &table.first_pairs(givers, takers));
    let mut rounds = 0;
    loop {
        network.solve();
        rounds += 1;
        let saving = table.saving(&network, &columns.known);
        if saving.is_empty() {
            break;
        }
        columns.let_in(&mut network, &table, &saving);
    }
    let mut plan = PricedPlan { rounds, pairs_used: columns.pairs.len(), ..PricedPlan::default() };
    plan.hauls = columns.hauls(&network, &table, |from, to| {
        let distance_m = distance_m(from, to);
        let (machine, price_per_m3) = prices.at(distance_m);
        let place_per_m3 = givers[from].price_per_m3 + takers[to].price_per_m3;
        PricedHaul { from, to, volume_m3: 0.0, distance_m, machine, price_per_m3, place_per_m3 }
    });
    prove(&mut plan, &network, &columns, &table);
    Ok(plan)
}

fn check(givers: &[HaulSite], takers: &[HaulSite]) -> Result<(), PriceError> {
    let names = [("volume of giver", "price of giver"), ("volume of taker", "price of taker")];
    for ((volume, price), sites) in names.into_iter().zip([givers, takers]) {
        for (index, site) in sites.iter().enumerate() {
            number(volume, index, site.volume_m3)?;
            number(price, index, site.price_per_m3)?;
        }
    }
    Ok(())
}

/// The nodes, and for places an arc from or to the outside, where what is not used stays.
fn network(givers: &[HaulSite], takers: &[HaulSite], penalty: i64) -> Transshipment {
    let must = |site: &HaulSite| if site.is_optional { 0 } else { litres(site.volume_m3) };
    let supply: Vec<i64> = givers.iter().map(must).chain(takers.iter().map(|t| -must(t))).collect();
    let mut network = Transshipment::new(&supply, penalty);
    let outside = network.outside();
    for (i, site) in givers.iter().enumerate().filter(|(_, s)| s.is_optional) {
        network.add_arc(outside, i, 0, Some(litres(site.volume_m3)));
    }
    for (j, site) in takers.iter().enumerate().filter(|(_, s)| s.is_optional) {
        network.add_arc(givers.len() + j, outside, 0, Some(litres(site.volume_m3)));
    }
    network
}

fn number(what: &'static str, index: usize, value: f64) -> Result<(), PriceError> {
    if (0.0..=MOST).contains(&value) { Ok(()) } else { Err(PriceError::Number { what, index, value }) }
}

#[expect(clippy::cast_possible_truncation, reason = "volumes are checked")]
fn litres(volume_m3: f64) -> i64 {
    (volume_m3 * LITRES_PER_M3).round() as i64
}

/// Prices of all pairs, givers by takers, in whole units; nothing where there is no way.
struct Table {
    givers: usize,
    takers: usize,
    cost: Vec<Option<i64>>,
    /// More than any path that reroutes hauls can save, so that what can be carried is carried.
    penalty: i64,
}

impl Table {
    fn new(
        givers: &[HaulSite],
        takers: &[HaulSite],
        prices: &MachinePrices,
        distance_m: &(impl Fn(usize, usize) -> f64 + Sync),
    ) -> Result<Self, PriceError> {
        let row = |i: usize| -> Result<Vec<Option<i64>>, PriceError> {
            (0..takers.len())
                .map(|j| {
                    let distance = distance_m(i, j);
                    if distance == f64::INFINITY {
                        return Ok(None);
                    }
                    number("distance of giver", i, distance)?;
                    let price = prices.at(distance).1 + givers[i].price_per_m3 + takers[j].price_per_m3;
                    number("price for giver", i, price)?;
                    #[expect(clippy::cast_possible_truncation, reason = "prices are checked")]
                    let units = (price * UNITS_PER_CURRENCY).round() as i64;
                    Ok(Some(units))
                })
                .collect()
        };
        // Collected in order, so the first error is the same whatever the thread count.
        let rows: Vec<_> = (0..givers.len()).into_par_iter().map(row).collect();
        let mut cost = Vec::with_capacity(givers.len() * takers.len());
        for row in rows {
            cost.extend(row?);
        }
        let dearest = cost.iter().flatten().max().copied().unwrap_or(0);
        let nodes = i64::try_from(givers.len().min(takers.len())).unwrap_or(i64::MAX) + 1;
        let penalty = dearest.saturating_mul(nodes).min(i64::MAX / 8) + 1;
        Ok(Self { givers: givers.len(), takers: takers.len(), cost, penalty })
    }

    /// The cheapest partners of each giver and of each taker, and pairs that could carry all.
    fn first_pairs(&self, givers: &[HaulSite], takers: &[HaulSite]) -> Vec<usize> {
        let pick = |mut pairs: Vec<(i64, usize)>| {
            let count = NEAREST.min(pairs.len());
            if count < pairs.len() {
                pairs.select_nth_unstable(count);
            }
            pairs.truncate(count);
            pairs.into_iter().map(|(_, pair)| pair).collect::<Vec<_>>()
        };
        let priced = |pair: usize| self.cost[pair].map(|c| (c, pair));
        let of_givers: Vec<Vec<usize>> = (0..self.givers)
            .into_par_iter()
            .map(|i| pick((0..self.takers).filter_map(|j| priced(i * self.takers + j)).collect()))
            .collect();
        let of_takers: Vec<Vec<usize>> = (0..self.takers)
            .into_par_iter()
            .map(|j| pick((0..self.givers).filter_map(|i| priced(i * self.takers + j)).collect()))
            .collect();
        let mut pairs: Vec<usize> = of_givers.into_iter().chain(of_takers).flatten().collect();
        pairs.extend(self.in_order(givers, takers));
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }

    /// Pairs that serve giver after giver and taker after taker in their order (the north-west corner rule). Without
    /// them near pairs alone leave much unserved, and duals made of penalties say little about which pair is worth it.
    fn in_order(&self, givers: &[HaulSite], takers: &[HaulSite]) -> Vec<usize> {
        let (mut pairs, mut i, mut j) = (Vec::new(), 0, 0);
        let (mut give, mut take) = (0, 0);
        while i < self.givers && j < self.takers {
            let (gives, takes) = (litres(givers[i].volume_m3) - give, litres(takers[j].volume_m3) - take);
            pairs.push(i * self.takers + j);
            let amount = gives.min(takes);
            (give, take) = (give + amount, take + amount);
            if gives <= takes {
                (i, give) = (i + 1, 0);
            }
            if takes <= gives {
                (j, take) = (j + 1, 0);
            }
        }
        pairs
    }

    /// Pairs not let in yet that would save with the duals as they are, the best of each giver.
    fn saving(&self, network: &Transshipment, known: &[bool]) -> Vec<usize> {
        let best: Vec<Vec<usize>> = (0..self.givers)
            .into_par_iter()
            .map(|i| {
                let mut found: Vec<(i64, usize)> = (0..self.takers)
                    .filter_map(|j| {
                        let pair = i * self.takers + j;
                        let reduced = self.cost[pair]? + network.potential(i) - network.potential(self.givers + j);
                        (reduced < 0 && !known[pair]).then_some((reduced, pair))
                    })
                    .collect();
                found.sort_unstable();
                found.into_iter().take(MOST_NEW).map(|(_, pair)| pair).collect()
            })
            .collect();
        best.into_iter().flatten().collect()
    }
}

/// Pairs that were let in, in that order.
struct Columns {
    known: Vec<bool>,
    pairs: Vec<usize>,
    /// Arc of the first pair; the others follow.
    first_arc: usize,
}

impl Columns {
    fn let_in(&mut self, network: &mut Transshipment, table: &Table, pairs: &[usize]) {
        for pair in pairs {
            let Some(cost) = table.cost[*pair] else { continue };
            self.known[*pair] = true;
            self.pairs.push(*pair);
            network.add_arc(pair / table.takers, table.givers + pair % table.takers, cost, None);
        }
    }

    /// The pairs that carry earth, by giver, then taker.
    fn hauls(
        &self,
        network: &Transshipment,
        table: &Table,
        describe: impl Fn(usize, usize) -> PricedHaul,
    ) -> Vec<PricedHaul> {
        let mut hauls: Vec<PricedHaul> = (self.first_arc..)
            .zip(&self.pairs)
            .filter(|(arc, _)| network.flow(*arc) > 0)
            .map(|(arc, pair)| PricedHaul {
                volume_m3: cubic_metres(network.flow(arc)),
                ..describe(pair / table.takers, pair % table.takers)
            })
            .collect();
        hauls.sort_by_key(|h| (h.from, h.to));
        hauls
    }
}

/// Adds what stays or is missing, the cost and its proof.
fn prove(plan: &mut PricedPlan, network: &Transshipment, columns: &Columns, table: &Table) {
    let mut penalties = 0;
    for node in 0..table.givers + table.takers {
        let left = network.unserved(node);
        penalties += i128::from(left.abs()) * i128::from(table.penalty);
        if left > 0 {
            plan.left_over.push((node, cubic_metres(left)));
        } else if left < 0 {
            plan.missing.push((node - table.givers, cubic_metres(-left)));
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "for reports; the proof compares whole numbers")]
    let money = |units: i128| units as f64 / (LITRES_PER_M3 * UNITS_PER_CURRENCY);
    plan.cost = money(network.primal() - penalties);
    plan.least_cost = network.dual().map_or(0.0, |d| money(d - penalties));
    // The duals must hold for the pairs that were never let in as well.
    plan.is_proven = network.dual() == Some(network.primal()) && table.saving(network, &columns.known).is_empty();
}

#[expect(clippy::cast_precision_loss, reason = "litres of checked volumes")]
fn cubic_metres(litres: i64) -> f64 {
    litres as f64 / LITRES_PER_M3
}

#[cfg(test)]
mod tests;
