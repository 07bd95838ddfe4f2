//! Water among rows on made-up farms whose answers can be worked out by hand.

use crate::land::drains::{DrainPlan, Drains, GroundState, RowProof};
use crate::stages::drains::params::DrainsParams;
use crate::stages::drains::test_farm::{EAST_M, Farm};

/// Land of a row of 440 m with its headland ends and its share of the sides: 180 m x 460 m over 85 rows, hectares.
const ROW_HA: f64 = 18.0 * 0.46 / 85.0;

fn plane(x: f64, y: f64) -> f64 {
    10.0 + 0.001 * y + 0.0006 * (EAST_M - x)
}

/// A bank of 0.4 m across the rows of the western block from 60 m to 120 m east, its foot at 260 m north.
fn bank(x: f64, y: f64) -> f64 {
    let on = (60.0..120.0).contains(&x) && (240.0..260.0).contains(&y);
    if on { plane(x, y) + 0.4 } else { plane(x, y) }
}

fn west(plan: &DrainPlan) -> impl Iterator<Item = &RowProof> {
    plan.proofs.iter().filter(|r| r.block.0 == 1)
}

/// East of the line of row `number` of the western block, metres.
fn x(number: u32) -> f64 {
    190.0 - 2.0 * f64::from(number - 1)
}

/// On a plane each row leads its own land, and no more, to its own end; nothing stands, nothing spills.
#[test]
fn on_a_plane_every_row_keeps_its_own_water() {
    let plan = Farm::plane(8.8).run(&DrainsParams::default()).value;
    assert!(plan.row_ponds.is_empty() && plan.row_spills.is_empty());
    for row in west(&plan) {
        let water = row.among.unwrap();
        assert!(water.standing_m.0 < 1e-6, "row {}: {}", row.row, water.standing_m.0);
        assert!((water.end_ha.0 - ROW_HA).abs() < 1e-9, "row {}: {} ha", row.row, water.end_ha.0);
    }
}

/// Behind a bank higher than the ridges water climbs them and walks down the cross fall to the first row past the bank's
/// end, which then carries the upper land of all of them. No land is lost on the way.
#[test]
fn behind_a_bank_water_walks_over_the_ridges_to_its_end() {
    let plan = Farm::new(bank, 8.8).run(&DrainsParams::default()).value;
    let rows: Vec<&RowProof> = west(&plan).collect();
    let ends_ha: f64 = rows.iter().map(|r| r.among.unwrap().end_ha.0).sum();
    assert!((ends_ha - 18.0 * 0.46).abs() < 1e-9, "{ends_ha} ha leave at row ends");
    // Thirty rows lose the land above the bank, about 220 m of 440 m, and the next one down the cross fall gets it.
    let behind = rows.iter().filter(|r| (64.0..116.0).contains(&x(r.row)));
    for row in behind {
        let water = row.among.unwrap();
        let kept = water.end_ha.0 / ROW_HA;
        assert!((0.45..0.60).contains(&kept), "row {} keeps {kept}", row.row);
        assert!(water.standing_m.0 > 0.14 && water.standing_m.0 < 0.19, "{}", water.standing_m.0);
        assert_eq!(row.before, Drains::No);
        assert!(row.reason.contains("spills over the ridge"), "{}", row.reason);
    }
    let most = rows.iter().max_by(|a, b| a.among.unwrap().end_ha.0.total_cmp(&b.among.unwrap().end_ha.0)).unwrap();
    let carried = most.among.unwrap().end_ha.0 / ROW_HA;
    assert!((118.0..128.0).contains(&x(most.row)), "the bank ends at 120 m, the water at {} m", x(most.row));
    assert!((13.0..18.0).contains(&carried), "land of {carried} rows");
    // Rational formula: the discharge is in proportion to the land at one travel time.
    let first = rows[0].among.unwrap();
    let ratio = most.among.unwrap().end_m3_s.0 / first.end_m3_s.0;
    assert!((ratio - most.among.unwrap().end_ha.0 / first.end_ha.0).abs() < 1e-9);
    // Every spill steps to the row beside it, and the last one carries the most.
    let spills: Vec<_> = plan.row_spills.iter().filter(|s| s.block.0 == 1 && s.state == GroundState::Before).collect();
    assert!(spills.iter().all(|s| s.from_row.abs_diff(s.to_row) == 1));
    assert!(spills[0].catchment_ha > 13.0 * ROW_HA && spills[0].to_row == most.row, "{:?}", spills[0]);
    let pond = &plan.row_ponds[0];
    assert!(pond.volume_m3 > 0.0 && pond.volume_m3 <= pond.area_m2 * pond.depth_m);
}

/// The same bank with ridges higher than it: each row overtops the bank alone, and more stands in it.
#[test]
fn high_ridges_keep_the_water_in_its_row() {
    let params = DrainsParams { ridge_mm: 600.0, ..DrainsParams::default() };
    let plan = Farm::new(bank, 8.8).run(&params).value;
    for row in west(&plan) {
        let water = row.among.unwrap();
        assert!((water.end_ha.0 - ROW_HA).abs() < 1e-9, "row {}: {} ha", row.row, water.end_ha.0);
        let deepest = if (64.0..116.0).contains(&x(row.row)) { 0.36..0.41 } else { -1e-9..0.41 };
        assert!(deepest.contains(&water.standing_m.0), "row {}: {} m", row.row, water.standing_m.0);
    }
    assert!(plan.row_spills.is_empty());
}

/// Once formed to the plane the block keeps its water, while the account of the ground as it lies stays.
#[test]
fn forming_ends_the_spilling() {
    let mut farm = Farm::new(bank, 8.8);
    farm.form_first_block();
    let plan = farm.run(&DrainsParams::default()).value;
    assert!(plan.row_spills.iter().any(|s| s.state == GroundState::Before));
    assert!(plan.row_spills.iter().all(|s| s.state == GroundState::Before));
    assert!(west(&plan).all(|r| (r.among.unwrap().end_ha.1 - ROW_HA).abs() < 1e-9 && r.after == Drains::Yes));
}

/// A spill lower than the way out by less than the heights are good to is not called one.
#[test]
fn a_spill_within_the_accuracy_cannot_be_told() {
    let mut farm = Farm::new(bank, 8.8);
    farm.ground.accuracy.vertical_sigma_m = 0.3;
    let plan = farm.run(&DrainsParams::default()).value;
    let behind = west(&plan).filter(|r| (64.0..116.0).contains(&x(r.row)));
    for row in behind {
        assert_eq!(row.before, Drains::CannotBeTold, "{}", row.reason);
        assert!(row.reason.contains("the heights are good to"));
    }
    assert!(plan.row_ponds.is_empty(), "a pond no deeper than the heights are good to is not told");
}
