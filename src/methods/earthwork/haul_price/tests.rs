//! Priced hauls against the dense method, the grid and hand cases.

use super::*;
use crate::grid::GridSpec;
use crate::methods::earthwork::haul_grid::{GridEarth, HaulEnd, HaulGround, PlaceKind, haul_over_grid};
use crate::methods::earthwork::transport;
use geo::Coord;
use proptest::prelude::*;

fn machine(fixed_per_m3: f64, per_m3_m: f64, reach_m: Option<f64>) -> MachinePrice {
    MachinePrice { fixed_per_m3, per_m3_m, reach_m }
}

/// A dozer for short hauls, a scraper, a truck.
fn three() -> MachinePrices {
    MachinePrices::new(&[machine(0.6, 0.03, Some(100.0)), machine(1.8, 0.007, None), machine(4.5, 0.002, None)])
        .expect("sound prices")
}

fn cells(volumes: &[f64]) -> Vec<HaulSite> {
    volumes.iter().map(|v| HaulSite::cell(*v)).collect()
}

#[test]
fn machines_change_with_distance() {
    let prices = three();
    // Lines meet at (1.8 - 0.6) / (0.03 - 0.007) = 52.17 m and (4.5 - 1.8) / 0.005 = 540 m (arithmetic).
    assert_eq!([50.0, 53.0, 539.0, 541.0].map(|d| prices.at(d).0), [0, 1, 1, 2]);
    assert!((prices.at(100.0).1 - 2.5).abs() < 1e-12);
    assert!(matches!(MachinePrices::new(&[machine(1.0, 1.0, Some(50.0))]), Err(PriceError::Reach)));
    assert!(MachinePrices::new(&[]).is_err());
    assert!(matches!(
        MachinePrices::new(&[machine(f64::NAN, 1.0, None)]),
        Err(PriceError::Number { what: "fixed price of machine", .. })
    ));
}

#[test]
fn concave_prices_pair_otherwise() {
    // On a line, givers at 0 and 100 m, takers at 90 and 600 m (arithmetic). Least metres: 90 + 500 for 2.43 + 5.30; least
    // money: 600 + 10, twenty metres more, for 5.70 + 0.90.
    let (give, take): ([f64; 2], [f64; 2]) = ([0.0, 100.0], [90.0, 600.0]);
    let plan = priced_hauls(&cells(&[1.0, 1.0]), &cells(&[1.0, 1.0]), &three(), |i, j| (give[i] - take[j]).abs())
        .expect("sound input");
    assert!((plan.cost - 6.6).abs() < 1e-9 && plan.is_proven, "{plan:?}");
    assert_eq!(plan.hauls.iter().map(|h| (h.from, h.to, h.machine)).collect::<Vec<_>>(), [(0, 1, 2), (1, 0, 0)]);
    let by_machine = plan.by_machine(3);
    assert!((by_machine[2].1 - 5.7).abs() < 1e-9 && by_machine[1].0.abs() < 1e-12);
}

#[test]
fn places_may_stay_idle_but_cells_may_not() {
    // A balanced pair 1000 m apart; borrow and spoil next door cost 1 each: 2 x (0.6 + 0.3) + 2 < 6.5.
    let givers = [HaulSite::cell(10.0), HaulSite::place(500.0, 1.0)];
    let takers = [HaulSite::cell(10.0), HaulSite::place(500.0, 1.0)];
    let distance = |i: usize, j: usize| if i == j { 1_000.0 } else { 10.0 };
    let plan = priced_hauls(&givers, &takers, &three(), distance).expect("sound input");
    assert!((plan.cost - 10.0 * 3.8).abs() < 1e-9 && plan.left_over.is_empty() && plan.missing.is_empty(), "{plan:?}");
    // Dear places stay idle.
    let dear = |site: &HaulSite| if site.is_optional { HaulSite::place(500.0, 50.0) } else { *site };
    let plan = priced_hauls(&givers.map(|s| dear(&s)), &takers.map(|s| dear(&s)), &three(), distance).expect("sound");
    assert!((plan.cost - 65.0).abs() < 1e-9 && plan.hauls.len() == 1);
    // No way at all: both cells are named. Nothing at all is no trouble.
    let plan = priced_hauls(&cells(&[4.0]), &cells(&[4.0]), &three(), |_, _| f64::INFINITY).expect("sound input");
    assert_eq!((plan.left_over, plan.missing, plan.is_proven), (vec![(0, 4.0)], vec![(0, 4.0)], true));
    assert!(priced_hauls(&[], &[], &three(), |_, _| 0.0).expect("nothing is sound").hauls.is_empty());
    assert!(priced_hauls(&cells(&[-1.0]), &[], &three(), |_, _| 0.0).is_err());
    assert!(priced_hauls(&cells(&[1.0]), &cells(&[1.0]), &three(), |_, _| f64::NAN).is_err());
}

#[test]
fn linear_prices_agree_with_the_grid() {
    // One machine without a fixed price: the moment of the grid times its rate, over the same ways.
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 10.0, rows: 6, cols: 9 };
    let ground = HaulGround { passable: (0..54).map(|i| i % 9 != 4 || i > 44).collect(), ..HaulGround::open(spec) };
    let net: Vec<f64> = (0..54).map(|i| if i % 9 == 4 { 0.0 } else { f64::from((i * 7) % 11) - 4.0 }).collect();
    let plan = haul_over_grid(&ground, &GridEarth { net_m3: net.clone(), on_the_spot_m3: 0.0 }, &[]).expect("sound");
    let prices = MachinePrices::new(&[machine(0.0, 1.0, None)]).expect("sound prices");
    let earth = GridEarth { net_m3: net, on_the_spot_m3: 0.0 };
    let priced = priced_hauls_over_grid(&ground, &earth, &[], &prices).expect("sound input").plan;
    assert!(priced.is_proven && plan.is_proven);
    let kept: f64 = plan.unplaced.iter().map(|u| u.volume_m3).sum();
    let kept_here = priced.left_over.iter().map(|l| l.1).sum::<f64>() - priced.missing.iter().map(|l| l.1).sum::<f64>();
    assert!((kept - kept_here).abs() < 1e-9);
    // Prices are rounded to ten-thousandths.
    let slack = 1e-4 * plan.hauled_m3();
    assert!((priced.cost - plan.priced_moment_m4).abs() < slack, "{} {}", priced.cost, plan.priced_moment_m4);
    // With a place for spoil what was too much goes there, however dear.
    let at = spec.centre(spec.cell(0));
    let spoil = PricedPlace { at, kind: PlaceKind::Spoil, capacity_m3: None, price_per_m3: 900.0 };
    let with = priced_hauls_over_grid(&ground, &earth, &[spoil], &prices).expect("sound input");
    assert_eq!(with.takers.last(), Some(&HaulEnd::Place(0)));
    assert!(with.plan.left_over.is_empty() && with.plan.is_proven && !priced.left_over.is_empty());
    // The same bytes whatever the thread count.
    for threads in [1, 3] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a few threads");
        let again = pool.install(|| priced_hauls_over_grid(&ground, &earth, &[spoil], &prices)).expect("sound input");
        assert_eq!(again, with);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn agrees_with_dense_transport(
        give in prop::collection::vec((0..9_000i32, 0.0..2_000.0f64, 0.0..2_000.0f64), 1..40),
        take in prop::collection::vec((0..9_000i32, 0.0..2_000.0f64, 0.0..2_000.0f64), 1..40),
    ) {
        let prices = three();
        let distance = |i: usize, j: usize| (give[i].1 - take[j].1).hypot(give[i].2 - take[j].2);
        let volumes = |side: &[(i32, f64, f64)]| side.iter().map(|s| f64::from(s.0) / 10.0).collect::<Vec<_>>();
        let (supply, demand) = (volumes(&give), volumes(&take));
        let plan = priced_hauls(&cells(&supply), &cells(&demand), &prices, distance).expect("sound input");
        let dense = transport(&supply, &demand, |i, j| prices.at(distance(i, j)).1).expect("a sound table");
        prop_assert!(plan.is_proven && (plan.cost - plan.least_cost).abs() < 1e-9);
        // Prices are rounded to ten-thousandths, so each m3 may cost half of that more or less.
        let volume: f64 = plan.hauls.iter().map(|h| h.volume_m3).sum();
        prop_assert!((plan.cost - dense.total_cost).abs() < 1e-4 * (1.0 + volume), "{} against {}", plan.cost, dense.total_cost);
        let moved: f64 = dense.flows.iter().map(|f| f.amount).sum();
        prop_assert!((volume - moved).abs() < 1e-6);
    }
}
