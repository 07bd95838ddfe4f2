//! Hauls over grids against brute force, worked lines and properties.

use super::*;
use crate::methods::earthwork::transport;
use geo::LineString;
use proptest::prelude::*;

fn spec(rows: u32, cols: u32) -> GridSpec {
    GridSpec { north_west: Coord { x: 500_000.0, y: 7_000_000.0 }, cell_m: 20.0, rows, cols }
}

fn earth(net_m3: &[f64]) -> GridEarth {
    GridEarth { net_m3: net_m3.to_vec(), on_the_spot_m3: 0.0 }
}

fn plan(ground: &HaulGround, net_m3: &[f64], places: &[Place]) -> GridHaul {
    let plan = haul_over_grid(ground, &earth(net_m3), places).expect("sound input");
    assert!(plan.is_proven, "every plan carries its proof");
    plan
}

/// Random net volumes with whole litres that balance.
fn balanced(values: &[i32]) -> Vec<f64> {
    let mut net: Vec<i32> = values.to_vec();
    let total: i32 = net.iter().sum();
    if let Some(last) = net.last_mut() {
        *last -= total;
    }
    net.into_iter().map(|v| f64::from(v) / 8.0).collect()
}

/// Least moment along a line of equally spaced surpluses (+) and deficits (-) that balance, m4: the area under |running sum|,
/// the mass-haul curve (classical).
fn haul_1d(net_m3: &[f64], spacing_m: f64) -> f64 {
    let mut running = 0.0;
    let areas = net_m3.iter().map(|v| {
        running += v;
        f64::abs(running) * spacing_m
    });
    areas.sum()
}

#[test]
fn mass_haul_line() {
    // Area under the mass-haul curve at 20 m, arithmetic (a linear programme agrees): 7200 m4, mean 37.8947 m.
    let net = [100.0, 50.0, -80.0, -70.0, 40.0, -40.0];
    let found = plan(&HaulGround::open(spec(1, 6)), &net, &[]);
    assert!((found.priced_moment_m4 - 7200.0).abs() < 1e-9 && (found.least_moment_m4 - 7200.0).abs() < 1e-9);
    assert!((found.mean_haul_m() - 37.8947).abs() < 1e-4 && (found.hauled_m3() - 190.0).abs() < 1e-9);
    assert!((haul_1d(&net, 20.0) - found.priced_moment_m4).abs() < 1e-9);
    let bands = found.bands_m3(&[20.0, 40.0]);
    assert!((bands.iter().sum::<f64>() - 190.0).abs() < 1e-9 && bands.len() == 3);
    assert!(found.hauls.iter().all(|h| h.path.len() == 2), "a straight way has two points");
    // Nothing to carry.
    let nothing = plan(&HaulGround::open(spec(2, 3)), &[0.0; 6], &[]);
    assert!(nothing.hauls.is_empty() && nothing.unplaced.is_empty() && nothing.mean_haul_m().abs() < 1e-12);
}

#[test]
fn ratio_scales_the_fill() {
    // Cut equals the ratio times fill: at 1.25, 100 m3 of cut fill a hole of 80 m3; totals of cut measure are zero.
    let s = spec(1, 3);
    let at = |col| s.centre(crate::grid::Cell::new(0, col));
    let points = [(at(0), 100.0), (at(2), in_cut_measure(-80.0, 1.25)), (at(1), 30.0), (at(1), -30.0)];
    let gathered = GridEarth::gather(s, points).expect("on the grid");
    assert_eq!((gathered.on_the_spot_m3, gathered.net_m3.clone()), (30.0, vec![100.0, 0.0, -100.0]));
    let found = haul_over_grid(&HaulGround::open(s), &gathered, &[]).expect("sound input");
    assert!((found.priced_moment_m4 - 4000.0).abs() < 1e-9 && found.unplaced.is_empty());
    // Equal cut and fill in one cell change nothing, and cut on fill needs no haul.
    let more = GridEarth::gather(s, points.into_iter().chain([(at(0), 55.0), (at(0), -55.0)])).expect("on the grid");
    let again = haul_over_grid(&HaulGround::open(s), &more, &[]).expect("sound input");
    assert!((again.priced_moment_m4 - found.priced_moment_m4).abs() < 1e-9);
}

#[test]
fn places_have_price_and_room() {
    // A line of five cells: 10 m3 to spare at one end, 25 m3 wanted at the other, borrow in the middle at 7 m a m3.
    let s = spec(1, 5);
    let borrow = Place {
        at: s.centre(crate::grid::Cell::new(0, 2)),
        kind: PlaceKind::Borrow,
        capacity_m3: Some(12.0),
        price_m: 7.0,
    };
    let found = plan(&HaulGround::open(s), &[10.0, 0.0, 0.0, 0.0, -25.0], &[borrow]);
    // 10 m3 over 80 m, 12 m3 over 7 + 40 m, 3 m3 missing.
    assert!((found.priced_moment_m4 - (800.0 + 12.0 * 47.0)).abs() < 1e-9);
    assert_eq!(found.unplaced, vec![Unplaced { cell: 4, volume_m3: -3.0 }]);
    let last = &found.hauls[1];
    assert_eq!((last.from, last.to, last.volume_m3), (HaulEnd::Place(0), HaulEnd::Cell(4), 12.0));
    assert!((last.length_m - 40.0).abs() < 1e-9 && (last.priced_m - 47.0).abs() < 1e-9);
    // Where both places are near and cheap it is better to spoil here and borrow there than to haul.
    let spoil =
        Place { at: s.centre(crate::grid::Cell::new(0, 0)), kind: PlaceKind::Spoil, capacity_m3: None, price_m: 9.0 };
    let near = Place { at: s.centre(crate::grid::Cell::new(0, 4)), capacity_m3: None, ..borrow };
    let found = plan(&HaulGround::open(s), &[10.0, 0.0, 0.0, 0.0, -10.0], &[spoil, near]);
    assert!((found.priced_moment_m4 - 10.0 * 16.0).abs() < 1e-9, "{}", found.priced_moment_m4);
    assert!(found.mean_haul_m().abs() < 1e-9);
}

#[test]
fn islands_are_named() {
    // A blocked column cuts the line in two; both sides keep what they cannot carry.
    let mut ground = HaulGround::open(spec(1, 5));
    ground.passable[2] = false;
    let found = plan(&ground, &[10.0, -4.0, 0.0, 0.0, -6.0], &[]);
    assert_eq!(found.unplaced, vec![Unplaced { cell: 0, volume_m3: 6.0 }, Unplaced { cell: 4, volume_m3: -6.0 }]);
    assert!((found.priced_moment_m4 - 80.0).abs() < 1e-9);
    // Earth in a cell that must not be driven on stays there.
    let found = plan(&ground, &[0.0, 0.0, 5.0, -5.0, 0.0], &[]);
    assert_eq!(found.unplaced.len(), 2);
    // A place on an obstacle is served from the nearest cell, and its distance counts.
    let spoil =
        Place { at: ground.spec.centre(ground.spec.cell(2)), kind: PlaceKind::Spoil, capacity_m3: None, price_m: 1.0 };
    let found = plan(&ground, &[0.0, 3.0, 0.0, 0.0, 0.0], &[spoil]);
    assert!((found.priced_moment_m4 - 63.0).abs() < 1e-9 && (found.mean_haul_m() - 20.0).abs() < 1e-9);
}

#[test]
fn nonsense_is_refused() {
    let ground = HaulGround::open(spec(1, 2));
    assert!(matches!(haul_over_grid(&ground, &earth(&[1.0]), &[]), Err(HaulError::Length { .. })));
    assert!(matches!(haul_over_grid(&ground, &earth(&[f64::NAN, 1.0]), &[]), Err(HaulError::Number { .. })));
    let far = Place { at: Coord { x: 0.0, y: 0.0 }, kind: PlaceKind::Spoil, capacity_m3: None, price_m: 1.0 };
    assert!(matches!(haul_over_grid(&ground, &earth(&[0.0; 2]), &[far]), Err(HaulError::OffGrid { .. })));
    let bad = Place { price_m: -1.0, ..far };
    assert!(matches!(haul_over_grid(&ground, &earth(&[0.0; 2]), &[bad]), Err(HaulError::Number { .. })));
    let steep = HaulGround { uphill_factor: f64::NAN, ..ground.clone() };
    assert!(matches!(steep.graph(), Err(HaulError::Number { what: "uphill factor", .. })));
    assert!(GridEarth::gather(ground.spec, [(far.at, 1.0)]).is_err());
}

#[test]
fn blocks_exchange() {
    // Two blocks side by side, each short or long by itself; together they balance.
    let s = spec(2, 6);
    let net = [12.0, 0.0, -4.0, 0.0, -3.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -5.0];
    let found = plan(&HaulGround::open(s), &net, &[]);
    let sums = between_groups(&found, |cell| u32::from(cell % 6 >= 3));
    let volume = |a, b| sums.get(&(HaulGroup::Cells(a), HaulGroup::Cells(b))).map_or(0.0, |p| p.volume_m3);
    assert_eq!((volume(0, 0), volume(0, 1), volume(1, 0), volume(1, 1)), (4.0, 8.0, 0.0, 0.0));
    let total: f64 = sums.values().map(|p| p.moment_m4).sum();
    // Steps cost whole micrometres, lengths are exact: 12 m3 over a few steps differ by less than this.
    assert!((total - found.priced_moment_m4).abs() < 1e-4);
    let arrows = gather_arrows(&s, &found.hauls, 1);
    assert_eq!((arrows.len(), arrows[0].hauls), (1, found.hauls.len()));
}

#[test]
fn crossing_or_detour() {
    // A drain between the rows with a price; the way round its end is 40 m longer than straight over it.
    let s = spec(2, 3);
    let drain = |price_m| {
        let y = s.north_west.y - 20.0;
        let line = LineString::from(vec![(s.north_west.x - 5.0, y), (s.north_west.x + 40.0, y)]);
        HaulGround { crossings: vec![Crossing { line, price_m }], ..HaulGround::open(s) }
    };
    let net = [10.0, 0.0, 0.0, -10.0, 0.0, 0.0];
    let over = plan(&drain(15.0), &net, &[]);
    assert!((over.priced_moment_m4 - 350.0).abs() < 1e-9 && (over.mean_haul_m() - 20.0).abs() < 1e-9);
    let around = plan(&drain(f64::INFINITY), &net, &[]);
    assert!(around.mean_haul_m() > 70.0 && around.unplaced.is_empty(), "{}", around.mean_haul_m());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn agrees_with_brute_force(values in prop::collection::vec(-80..80i32, 36), walls in prop::collection::vec(0..10u8, 36)) {
        // At most 40 nodes: every pair priced by its shortest way, and the dense transport problem on top.
        let s = spec(6, 6);
        let mut ground = HaulGround::open(s);
        ground.uphill_factor = 4.0;
        ground.heights_m = Some(walls.iter().map(|w| f64::from(*w) / 5.0).collect());
        ground.passable = walls.iter().map(|w| *w > 0).collect();
        let net: Vec<f64> = values.iter().zip(&ground.passable).map(|(v, p)| if *p { f64::from(*v) } else { 0.0 }).collect();
        let found = plan(&ground, &net, &[]);
        let graph = ground.graph().expect("sound ground");
        let (cuts, fills): (Vec<usize>, Vec<usize>) = ((0..36).filter(|i| net[*i] > 0.0).collect(), (0..36).filter(|i| net[*i] < 0.0).collect());
        let ways: Vec<Vec<f64>> = cuts.iter().map(|c| graph.distances_m(*c)).collect();
        // No way is written as a very long one; what is carried over it in the dense problem is unplaced.
        let far = 1e6;
        let volumes = |cells: &[usize]| cells.iter().map(|c| net[*c].abs()).collect::<Vec<_>>();
        let dense = transport(&volumes(&cuts), &volumes(&fills), |i, j| ways[i][fills[j]].min(far)).expect("a sound table");
        let served: f64 = dense.flows.iter().map(|f| { let d = ways[f.from][fills[f.to]]; if d.is_finite() { d * f.amount } else { 0.0 } }).sum();
        prop_assert!((found.priced_moment_m4 - served).abs() < 1e-5 * (1.0 + served), "{} against {served}", found.priced_moment_m4);
        // Each haul is a shortest way for itself too.
        for haul in &found.hauls {
            let (HaulEnd::Cell(from), HaulEnd::Cell(to)) = (haul.from, haul.to) else { continue };
            prop_assert!((graph.distances_m(from as usize)[to as usize] - haul.priced_m).abs() < 1e-6);
        }
    }

    #[test]
    fn straight_bracket(values in prop::collection::vec(-80..80i32, 35)) {
        let s = spec(5, 7);
        let net = balanced(&values);
        let found = plan(&HaulGround::open(s), &net, &[]);
        let (low, high) = found.straight_moment_m4.expect("open ground");
        let (cuts, fills): (Vec<usize>, Vec<usize>) = ((0..35).filter(|i| net[*i] > 0.0).collect(), (0..35).filter(|i| net[*i] < 0.0).collect());
        let volumes = |cells: &[usize]| cells.iter().map(|c| net[*c].abs()).collect::<Vec<_>>();
        let at = |cell: usize| s.centre(s.cell(cell));
        let straight = transport(&volumes(&cuts), &volumes(&fills), |i, j| {
            let (a, b) = (at(cuts[i]), at(fills[j]));
            (b.x - a.x).hypot(b.y - a.y)
        }).expect("a sound table").total_cost;
        let slack = 1e-6 * (1.0 + straight);
        prop_assert!(low <= straight + slack && straight <= high + slack, "{low} {straight} {high}");
    }

    #[test]
    fn nothing_is_lost(values in prop::collection::vec(-80..80i32, 30), walls in prop::collection::vec(0..6u8, 30)) {
        let s = spec(5, 6);
        let ground = HaulGround { passable: walls.iter().map(|w| *w > 0).collect(), ..HaulGround::open(s) };
        let net: Vec<f64> = values.iter().map(|v| f64::from(*v) / 8.0).collect();
        let spoil = Place { at: s.centre(s.cell(17)), kind: PlaceKind::Spoil, capacity_m3: Some(9.0), price_m: 30.0 };
        let found = plan(&ground, &net, &[spoil]);
        let mut left = net.clone();
        for haul in &found.hauls {
            prop_assert!(haul.volume_m3 > 0.0);
            if let HaulEnd::Cell(c) = haul.from { left[c as usize] -= haul.volume_m3; }
            if let HaulEnd::Cell(c) = haul.to { left[c as usize] += haul.volume_m3; }
        }
        for u in &found.unplaced { left[u.cell as usize] -= u.volume_m3; }
        prop_assert!(left.iter().all(|v| v.abs() < 1e-9));
        let spoiled: f64 = found.hauls.iter().filter(|h| h.to == HaulEnd::Place(0)).map(|h| h.volume_m3).sum();
        prop_assert!(spoiled <= 9.0 + 1e-9);
        let moment: f64 = found.hauls.iter().map(|h| h.volume_m3 * h.priced_m).sum();
        prop_assert!((moment - found.priced_moment_m4).abs() < 1e-6 * (1.0 + moment));
        prop_assert_eq!(&found, &plan(&ground, &net, &[spoil]));
    }

    #[test]
    fn moments_are_bounded(values in prop::collection::vec(-80..80i32, 30)) {
        // Any plan moves the centre of gravity, so its moment is at least the shift of the first moments.
        let s = spec(5, 6);
        let net = balanced(&values);
        let found = plan(&HaulGround::open(s), &net, &[]);
        let shift = |f: fn(Coord<f64>) -> f64| (0..30).map(|i| (f(s.centre(s.cell(i))) - f(s.north_west)) * net[i]).sum::<f64>();
        prop_assert!(found.priced_moment_m4 + 1e-6 >= shift(|c| c.x).hypot(shift(|c| c.y)));
        // Potentials rise along every haul by its length and nowhere faster.
        for haul in &found.hauls {
            let (HaulEnd::Cell(from), HaulEnd::Cell(to)) = (haul.from, haul.to) else { continue };
            prop_assert!((found.potential_m[to as usize] - found.potential_m[from as usize] - haul.priced_m).abs() < 1e-6);
        }
    }

    #[test]
    fn arrows_keep_the_earth(values in prop::collection::vec(-80..80i32, 64), most in 1..12usize) {
        let s = spec(8, 8);
        let found = plan(&HaulGround::open(s), &balanced(&values), &[]);
        let arrows = gather_arrows(&s, &found.hauls, most);
        prop_assert!(arrows.len() <= most);
        let volume: f64 = arrows.iter().map(|a| a.volume_m3).sum();
        let moment: f64 = arrows.iter().map(|a| a.volume_m3 * a.mean_haul_m).sum();
        prop_assert!((volume - found.hauled_m3()).abs() < 1e-6);
        prop_assert!((moment - found.mean_haul_m() * found.hauled_m3()).abs() < 1e-3);
        // The shift of the centre of gravity is that of the hauls, east and north together.
        let shift: f64 = arrows.iter().map(|a| a.volume_m3 * ((a.to.x - a.from.x) + (a.to.y - a.from.y))).sum();
        let whole: f64 = found.hauls.iter().map(|h| {
            let (a, b) = (h.path[0], h.path[h.path.len() - 1]);
            h.volume_m3 * ((b.x - a.x) + (b.y - a.y))
        }).sum();
        prop_assert!((shift - whole).abs() < 1e-3);
    }
}
