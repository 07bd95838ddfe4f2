//! What the user decides: locked edges, a wished row length, its cost.

use super::*;
use crate::finding::Finding;
use crate::land::site::{ExistingTrack, GivenBlock};

fn run(site: &Site, land: Polygon<f64>, params: &BlocksParams) -> Result<(BlockPlan, Vec<Finding>), Problems> {
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let (water, rates, ground) = (water(land.clone()), Rates::default(), ground(0.0012, 0.0008));
    let input = BlocksInput { site, ground: Some(&ground), water: Some(&water), rates: &rates };
    let outcome = Blocks::run(input, params, &ctx)?;
    sound(&outcome.value, &land);
    Ok((outcome.value, outcome.findings))
}

fn message(findings: &[Finding], code: &str) -> String {
    findings.iter().find(|f| f.code == code).map(|f| f.message.clone()).unwrap_or_default()
}

#[test]
fn no_block_crosses_a_locked_line() {
    let mut site = site(Vec::new());
    let line = vec![(210.0, -20.0), (260.0, 300.0)].into();
    site.layers.tracks.push(ExistingTrack { name: "Old fence".to_owned(), line, width_m: None });
    let params = BlocksParams { locked_edges: vec!["Old fence".to_owned()], ..BlocksParams::default() };
    let (plan, findings) = run(&site, rectangle(600.0, 250.0), &params).unwrap();
    // Left of the line through (210, -20) and (260, 300) when the sign is negative.
    let side = |c: &Coord<f64>| (c.x - 210.0) * 320.0 - (c.y + 20.0) * 50.0;
    for block in &plan.blocks {
        let sides: Vec<f64> = block.outline.exterior().0.iter().map(|c| side(c) / 320.0_f64.hypot(50.0)).collect();
        let (low, high) = sides.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), s| (l.min(*s), h.max(*s)));
        assert!(low > -0.05 || high < 0.05, "block {} lies from {low} to {high} m of the line", block.name);
    }
    assert!(plan.blocks.len() >= 2);
    assert!(message(&findings, "cost_of_the_wish").contains("the edges of Old fence kept"));
}

#[test]
fn edges_of_an_earlier_block_stay() {
    let mut site = site(Vec::new());
    let outline = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 600.0, y: 100.0 }).to_polygon();
    site.layers.previous_blocks.push(GivenBlock { name: "12A".to_owned(), outline, bearing_deg: None });
    let params = BlocksParams { locked_edges: vec!["12A".to_owned()], ..BlocksParams::default() };
    let (plan, _) = run(&site, rectangle(600.0, 250.0), &params).unwrap();
    let kept = plan.blocks.iter().find(|b| b.name == "12A").unwrap();
    let top = kept.outline.exterior().0.iter().map(|c| c.y).fold(0.0, f64::max);
    assert!((top - 100.0).abs() < 0.05, "{top}");
    let unknown = BlocksParams { locked_edges: vec!["12B".to_owned()], ..BlocksParams::default() };
    assert_eq!(run(&site, rectangle(600.0, 250.0), &unknown).unwrap_err().0[0].code, "no_such_line");
}

#[test]
fn a_wished_row_length_is_answered_with_its_cost() {
    // 740 x 300 m: rows along the long side are 740 - 1 - 16 = 723 m, but the ground falls across it.
    let params = BlocksParams { wanted_row_length_m: 700.0, ..BlocksParams::default() };
    let (plan, findings) = run(&site(Vec::new()), rectangle(740.0, 300.0), &params).unwrap();
    assert!(plan.blocks.iter().flat_map(|b| &b.rows).all(|r| r.length_m > 700.0));
    let told = message(&findings, "cost_of_the_wish");
    let rows = plan.blocks.iter().map(|b| b.rows.len()).sum::<usize>();
    assert!(told.contains("rows of 700 m"), "{told}");
    assert!(told.contains(&format!("{rows} of {rows} rows are as long as wished")), "{told}");
    // Where no row can be that long, that is told too.
    let (_, findings) = run(&site(Vec::new()), rectangle(500.0, 300.0), &params).unwrap();
    let told = message(&findings, "cost_of_the_wish");
    assert!(told.contains(" 0 of "), "{told}");
}

#[test]
fn land_that_no_bearing_drains_is_told_with_the_limit_in_the_way() {
    let params = BlocksParams { form_land: false, ..BlocksParams::default() };
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let (site, water, rates) = (site(Vec::new()), water(rectangle(600.0, 250.0)), Rates::default());
    let said = |ground: &Ground| {
        let input = BlocksInput { site: &site, ground: Some(ground), water: Some(&water), rates: &rates };
        let outcome = Blocks::run(input, &params, &ctx).unwrap();
        assert!(!outcome.value.blocks.is_empty());
        message(&outcome.findings, "no_bearing_within_falls")
    };
    // Level ground falls nowhere; ground that falls 0.15 % east has bearings that drain.
    assert!(said(&ground(0.0, 0.0)).contains("At best 0 %"), "{}", said(&ground(0.0, 0.0)));
    assert!(said(&ground(0.0, 0.0)).contains("the least fall of 0.08 %"));
    assert_eq!(said(&ground(0.0015, 0.0)), "");
}
