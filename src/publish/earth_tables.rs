//! Tables of the earthworks: what is moved, proven, offered, hauled and in doubt.

use super::{Results, earth_balance, sheet, view};
use crate::land::blocks::RowBlock;
use crate::land::document::{FieldKind, Table, Value};
use crate::land::levelling::{BlockEarth, LevellingPlan, RiskArea, SoilRisk};
use geo::{Geometry, LineString};

use FieldKind::{Integer, Real, Text};

/// Every table of the earthworks, in a fixed order.
pub(super) fn all(results: &Results<'_>) -> Vec<Table> {
    vec![
        earthworks(results),
        surfaces(results),
        hauls(results),
        haul_bands(results),
        earth_balance::table(results),
        earth_balance::spoil(results),
        doubts(results),
    ]
}

pub(super) fn levelling<'a>(results: &Results<'a>) -> Option<&'a LevellingPlan> {
    results.plan().and_then(|p| p.levelling)
}

/// Blocks with their earth, in order of block.
pub(super) fn pairs<'a>(results: &Results<'a>) -> Vec<(&'a RowBlock, &'a BlockEarth)> {
    let Some(plan) = results.plan() else { return Vec::new() };
    let blocks = plan.blocks.map_or(&[][..], |b| &b.blocks);
    blocks.iter().filter_map(|b| Some((b, view::earth(plan, b.id)?))).collect()
}

/// The earthworks of each block, volumes by every reckoning, with the proof.
fn earthworks(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("surface", Text),
        ("machine", Text),
        ("formed_ha", Real(2)),
        ("cut_bank_m3", Real(1)),
        ("fill_compacted_m3", Real(1)),
        ("cut_fill_ratio", Real(3)),
        ("borrow_bank_m3", Real(1)),
        ("no_place_bank_m3", Real(1)),
        ("max_cut_mm", Real(0)),
        ("max_fill_mm", Real(0)),
        ("haul_mean_m", Real(0)),
        ("haul_plan", Text),
        ("haul_by_band", Text),
        ("subsoil_ha", Real(2)),
        ("subsoil_shows_ha", Real(2)),
        ("least_topsoil_mm", Real(0)),
        ("strip_m3", Real(0)),
        ("edge_step_mm", Real(0)),
        ("moved_m3", Real(1)),
        ("least_m3", Real(1)),
        ("gap_pct", Real(3)),
        ("after_proof_pct", Real(2)),
        ("engine", Text),
        ("lattice_m", Real(1)),
        ("cut_four_point_m3", Real(1)),
        ("fill_four_point_m3", Real(1)),
        ("cut_prism_m3", Real(1)),
        ("fill_prism_m3", Real(1)),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("held_by", Text),
        ("limits_given_up", Text),
    ];
    let risks = |block: &RowBlock| -> Vec<&RiskArea> {
        levelling(results).map_or(&[][..], |l| &l.risk_areas).iter().filter(|a| a.block == block.id).collect()
    };
    let rows = pairs(results).into_iter().map(|(block, earth)| earthworks_row(block, earth, &risks(block))).collect();
    sheet::table("earthworks", "Earthworks by block", columns, rows)
}

fn earthworks_row(block: &RowBlock, earth: &BlockEarth, risks: &[&RiskArea]) -> Vec<Value> {
    let proof = earth.proof.as_ref();
    let mut from_m = 0.0;
    let mut bands = Vec::new();
    for band in &earth.bands {
        bands.push(format!("{from_m:.0}-{:.0} m: {:.0} m\u{b3}", band.up_to_m, band.volume_m3));
        from_m = band.up_to_m;
    }
    vec![
        block.id.0.into(),
        block.name.as_str().into(),
        earth.surface.words().into(),
        earth.surface.machine().into(),
        (earth.formed_m2 / 1e4).into(),
        earth.cut_m3.into(),
        earth.fill_m3.into(),
        earth.cut_fill_ratio.into(),
        earth.borrow_m3.into(),
        earth.unplaced_m3.into(),
        (1_000.0 * earth.max_cut_m).into(),
        (1_000.0 * earth.max_fill_m).into(),
        earth.haul_mean_m.into(),
        haul_plan(earth).into(),
        bands.join("; ").into(),
        (earth.subsoil_m2 / 1e4).into(),
        (risks.iter().filter(|a| a.risk == SoilRisk::Bare).map(|a| a.area_m2).sum::<f64>() / 1e4).into(),
        risks.iter().map(|a| 1_000.0 * a.least_left_m).reduce(f64::min).into(),
        earth.strip_m3.into(),
        (1_000.0 * earth.edge_step_m).into(),
        proof.map(|p| p.moved_m3).into(),
        proof.map(|p| p.bound_m3).into(),
        proof.map(|p| 100.0 * p.gap_ratio()).into(),
        proof.map(|p| 100.0 * p.after_ratio).into(),
        proof.map(|p| if p.exact { "exact" } else { "fast" }).into(),
        proof.map(|p| p.lattice_m).into(),
        earth.checks.four_point_m3.0.into(),
        earth.checks.four_point_m3.1.into(),
        earth.checks.prisms_m3.0.into(),
        earth.checks.prisms_m3.1.into(),
        earth.cost.low.into(),
        earth.cost.likely.into(),
        earth.cost.high.into(),
        earth.binding.join("; ").into(),
        earth.given_up.join("; ").into(),
    ]
}

/// Every kind of surface offered for each block.
fn surfaces(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("surface", Text),
        ("machine", Text),
        ("keeps_limits", Text),
        ("limits_broken", Text),
        ("cut_bank_m3", Real(0)),
        ("fill_compacted_m3", Real(0)),
        ("least_moved_m3", Real(0)),
        ("haul_mean_m", Real(0)),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("undrained_loss", Real(0)),
        ("taken", Text),
        ("remarks", Text),
    ];
    let yes = |b: bool| if b { "yes" } else { "no" };
    let rows = pairs(results)
        .into_iter()
        .flat_map(|(block, earth)| earth.offers.iter().map(move |offer| (block, earth, offer)))
        .map(|(block, earth, offer)| {
            vec![
                block.id.0.into(),
                block.name.as_str().into(),
                offer.surface.words().into(),
                offer.surface.machine().into(),
                yes(offer.keeps_limits()).into(),
                offer.limits_broken.join("; ").into(),
                offer.cut_m3.into(),
                offer.fill_m3.into(),
                offer.least_moved_m3.into(),
                offer.haul_mean_m.into(),
                offer.cost.low.into(),
                offer.cost.likely.into(),
                offer.cost.high.into(),
                offer.undrained_loss.into(),
                yes(offer.surface == earth.surface).into(),
                offer.remarks.join("; ").into(),
            ]
        })
        .collect();
    sheet::table("surfaces", "Surfaces compared, block by block", columns, rows)
}

/// Columns of a main haul.
pub(super) const HAUL: &[(&str, FieldKind)] = &[
    ("block", Integer),
    ("volume_bank_m3", Real(0)),
    ("distance_m", Real(0)),
    ("from_e", Real(1)),
    ("from_n", Real(1)),
    ("to_e", Real(1)),
    ("to_n", Real(1)),
];

/// The main hauls with their way.
pub(super) fn haul_rows(results: &Results<'_>) -> Vec<(Geometry<f64>, Vec<Value>)> {
    pairs(results)
        .into_iter()
        .flat_map(|(block, earth)| earth.hauls.iter().map(move |haul| (block, haul)))
        .map(|(block, h)| {
            let values = vec![
                block.id.0.into(),
                h.volume_m3.into(),
                h.distance_m.into(),
                h.from.x.into(),
                h.from.y.into(),
                h.to.x.into(),
                h.to.y.into(),
            ];
            (Geometry::LineString(LineString(h.path.clone())), values)
        })
        .collect()
}

/// The main hauls.
fn hauls(results: &Results<'_>) -> Table {
    let rows = haul_rows(results).into_iter().map(|(_, values)| values).collect();
    sheet::table("hauls", "Main hauls, cut to fill", HAUL, rows)
}

/// How the hauls were found.
fn haul_plan(earth: &BlockEarth) -> &'static str {
    if earth.hauls_cheapest { "cheapest by machine, proven" } else { "shortest, each by its cheapest machine" }
}

/// What each machine carries over each band of distance.
fn haul_bands(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("from_m", Real(0)),
        ("up_to_m", Real(0)),
        ("machine", Text),
        ("volume_bank_m3", Real(0)),
        ("share_of_band_pct", Real(0)),
        ("band_price_per_m3_low", Real(2)),
        ("band_price_per_m3_likely", Real(2)),
        ("band_price_per_m3_high", Real(2)),
        ("haul_plan", Text),
    ];
    let mut rows: Vec<Vec<Value>> = Vec::new();
    for (block, earth) in pairs(results) {
        let mut from_m = 0.0;
        for band in &earth.bands {
            for (machine, volume_m3) in &band.by_machine {
                rows.push(vec![
                    block.id.0.into(),
                    block.name.as_str().into(),
                    from_m.into(),
                    band.up_to_m.into(),
                    machine.words().into(),
                    (*volume_m3).into(),
                    (100.0 * volume_m3 / band.volume_m3).into(),
                    band.price_per_m3.low.into(),
                    band.price_per_m3.likely.into(),
                    band.price_per_m3.high.into(),
                    haul_plan(earth).into(),
                ]);
            }
            from_m = band.up_to_m;
        }
    }
    sheet::table("haul_bands", "Hauls by distance and machine", columns, rows)
}

/// What moves the price of the earth.
fn doubts(results: &Results<'_>) -> Table {
    let columns = &[
        ("doubt", Text),
        ("cut_low_m3", Real(0)),
        ("cut_high_m3", Real(0)),
        ("cost_low", Real(0)),
        ("cost_high", Real(0)),
    ];
    let mut rows: Vec<Vec<Value>> = Vec::new();
    if let Some(plan) = levelling(results) {
        rows.extend(plan.doubts.iter().map(|d| {
            vec![d.what.as_str().into(), d.cut_m3.0.into(), d.cut_m3.1.into(), d.cost.0.into(), d.cost.1.into()]
        }));
        rows.push(vec![
            "all together".into(),
            plan.cut_range_m3.low.into(),
            plan.cut_range_m3.high.into(),
            plan.cost_range.low.into(),
            plan.cost_range.high.into(),
        ]);
    }
    sheet::table("earth_doubts", "What moves the price of the earth, largest swing first", columns, rows)
}
