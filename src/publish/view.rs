//! Lookups shared by layers, tables and the report: rows with their proofs, blocks with their earth.

use super::{OptionResult, Results};
use crate::land::blocks::{BlockId, Row, RowBlock, RowFall};
use crate::land::clearing::{ClearingPlan, Windrow};
use crate::land::document::{FieldKind, Value};
use crate::land::drains::{Drain, DrainsTo, RowProof};
use crate::land::levelling::{BlockEarth, HaulArrow};
use crate::land::site::Site;
use geo::{Area, Centroid, Coord, Euclidean, Intersects, Length};

/// A row with everything known about it.
pub(super) struct RowView<'a> {
    pub block: &'a RowBlock,
    pub row: &'a Row,
    pub after: Option<&'a RowFall>,
    pub proof: Option<&'a RowProof>,
}

/// All rows of an option, by block and number.
pub(super) fn rows<'a>(option: &OptionResult<'a>) -> Vec<RowView<'a>> {
    let Some(plan) = option.blocks else { return Vec::new() };
    let mut out = Vec::new();
    for block in &plan.blocks {
        let earth = earth(option, block.id);
        for (i, row) in block.rows.iter().enumerate() {
            let proofs = option.drains.map_or(&[][..], |d| &d.proofs);
            let proof = proofs.iter().find(|p| p.block == block.id && p.row == row.number);
            out.push(RowView { block, row, after: earth.and_then(|e| e.rows_after.get(i)), proof });
        }
    }
    out
}

/// The earthworks of a block.
pub(super) fn earth<'a>(option: &OptionResult<'a>, id: BlockId) -> Option<&'a BlockEarth> {
    option.levelling.and_then(|l| l.blocks.iter().find(|b| b.block == id))
}

/// Hauls shown for a block, and the least of them as a share of its largest.
const HAULS_A_BLOCK: usize = 6;
const LEAST_HAUL: f64 = 0.15;

/// The main hauls of a block, largest first.
pub(super) fn main_hauls(earth: &BlockEarth) -> impl Iterator<Item = &HaulArrow> {
    let most = earth.hauls.iter().map(|h| h.volume_m3).fold(0.0, f64::max);
    earth.hauls.iter().take(HAULS_A_BLOCK).filter(move |h| h.volume_m3 >= LEAST_HAUL * most)
}

/// Grid bearing of the windrows of a block, degrees from 0 to 180: that of its longest part.
pub(super) fn windrow_bearing(plan: &ClearingPlan, block: &RowBlock) -> Option<f64> {
    let long = |w: &Windrow| Euclidean.length(&w.line);
    let mine = plan.windrows.iter().filter(|w| block.outline.intersects(&w.line));
    let line = &mine.max_by(|a, b| long(a).total_cmp(&long(b)))?.line;
    let (a, z) = (line.0.first()?, line.0.last()?);
    let deg = (z.x - a.x).atan2(z.y - a.y).to_degrees().rem_euclid(180.0);
    // 179.6 is as good as nought.
    Some(if deg.round() >= 180.0 { 0.0 } else { deg })
}

/// The drains a block's work order is about: its own, and main drains that pass through it.
pub(super) fn digs(drain: &Drain, block: &RowBlock) -> bool {
    drain.block == Some(block.id) || (drain.block.is_none() && block.outline.intersects(&drain.line))
}

/// What the heights are in, in words: `heights AHD` where the registry says `AHD height`.
pub(super) fn heights(site: &Site) -> String {
    let stated = site.crs.vertical_name.as_deref();
    stated.map_or_else(
        || "height datum not stated".to_owned(),
        |name| format!("heights {}", name.trim_end_matches(" height")),
    )
}

/// Number of a drain as printed on maps and tables.
pub(super) fn drain_name(id: u32) -> String {
    format!("DR-{id:02}")
}

/// Number of a place where a drain crosses something, as printed on maps and tables.
pub(super) fn crossing_name(id: u32) -> String {
    format!("X-{id:02}")
}

/// Where something drains to, in words.
pub(super) fn drains_to(results: &Results<'_>, to: &DrainsTo) -> String {
    match to {
        DrainsTo::Drain(id) => drain_name(*id),
        DrainsTo::Nowhere => "nowhere".to_owned(),
        DrainsTo::Outlet(id) => results
            .water
            .and_then(|w| w.outlets.iter().find(|o| o.id == *id))
            .map_or_else(|| format!("outlet {id}"), |o| o.name.clone()),
        DrainsTo::Waterway(id) => results
            .site
            .layers
            .waterways
            .iter()
            .find(|w| w.id == *id)
            .map_or_else(|| format!("waterway {id}"), |w| w.name.clone()),
    }
}

/// Columns of a block, the same in layer and register.
pub(super) const BLOCK: &[(&str, FieldKind)] = &[
    ("block", FieldKind::Integer),
    ("name", FieldKind::Text),
    ("parcel", FieldKind::Text),
    ("area_ha", FieldKind::Real(3)),
    ("area_ellipsoidal_ha", FieldKind::Real(3)),
    ("cropped_ha", FieldKind::Real(3)),
    ("row_shape", FieldKind::Text),
    ("bearing_grid_deg", FieldKind::Real(2)),
    ("bearing_true_deg", FieldKind::Real(2)),
    ("row_spacing_m", FieldKind::Real(3)),
    ("rows", FieldKind::Integer),
    ("row_metres_m", FieldKind::Real(1)),
    ("length_mean_m", FieldKind::Real(1)),
    ("length_median_m", FieldKind::Real(1)),
    ("length_p10_m", FieldKind::Real(1)),
    ("surface", FieldKind::Text),
    ("row_fall_pct", FieldKind::Real(3)),
    ("row_fall_1_in_n", FieldKind::Text),
    ("earth_m3", FieldKind::Real(0)),
    ("earth_m3_per_ha", FieldKind::Real(1)),
    ("haul_mean_m", FieldKind::Real(1)),
    ("cost", FieldKind::Real(0)),
    ("gap_pct", FieldKind::Real(2)),
    ("crop_haul_m", FieldKind::Real(0)),
    ("layout_earth_m3", FieldKind::Real(0)),
    ("layout_earth_gap_pct", FieldKind::Real(2)),
    ("yearly_turning", FieldKind::Real(0)),
    ("yearly_headland", FieldKind::Real(0)),
    ("yearly_drain_land", FieldKind::Real(0)),
    ("yearly_drain_digging", FieldKind::Real(0)),
    ("yearly_short_rows", FieldKind::Real(0)),
    ("yearly_long_rows", FieldKind::Real(0)),
    ("yearly_fall", FieldKind::Real(0)),
    ("yearly_earth", FieldKind::Real(0)),
    ("yearly_crop_haul", FieldKind::Real(0)),
    ("yearly_undrained", FieldKind::Real(0)),
    ("yearly_total", FieldKind::Real(0)),
];

/// Values of a block, in the order of [`BLOCK`].
pub(super) fn block_values(results: &Results<'_>, option: &OptionResult<'_>, block: &RowBlock) -> Vec<Value> {
    let centre = block.outline.centroid().map_or_else(Coord::default, Into::into);
    let area_m2 = block.outline.unsigned_area();
    let ground_m2 = results.site.geodesy.ground_area_m2(centre, area_m2);
    let earth = earth(option, block.id);
    let mean_m = block.row_metres() / (block.rows.len().max(1)) as f64;
    let mut values: Vec<Value> = vec![
        block.id.0.into(),
        block.name.as_str().into(),
        block.parcel.as_str().into(),
        (area_m2 / 1e4).into(),
        (ground_m2 / 1e4).into(),
        (block.cropped.unsigned_area() / 1e4).into(),
        if block.bent.is_some() { "bent" } else { "straight" }.into(),
        block.bearing.degrees().into(),
        results.site.geodesy.true_bearing(centre, block.bearing).degrees().into(),
        block.row_spacing_m.into(),
        u32::try_from(block.rows.len()).ok().into(),
        block.row_metres().into(),
        mean_m.into(),
        block.length_quantile_m(0.5).into(),
        block.length_quantile_m(0.1).into(),
        earth.map(|e| e.surface.words()).into(),
        earth.map(|e| e.row_fall.percent()).into(),
        earth.map(|e| super::sheet::one_in(e.row_fall)).into(),
        earth.map(|e| e.cut_m3).into(),
        earth.map(|e| e.cut_m3 / (ground_m2 / 1e4).max(1e-9)).into(),
        earth.map(|e| e.haul_mean_m).into(),
        earth.map(|e| e.cost.likely).into(),
        earth.and_then(|e| e.proof).map(|p| 100.0 * p.gap_ratio()).into(),
        block.judged.crop_haul_m.into(),
        block.judged.earth_m3.into(),
        block.judged.earth_gap_ratio.map(|g| 100.0 * g).into(),
    ];
    values.extend(block.judged.cost.terms().map(|(_, dollars)| Value::from(dollars)));
    values.push(block.judged.cost.total().into());
    values
}

/// Columns of a row, the same in layer and table.
pub(super) const ROW: &[(&str, FieldKind)] = &[
    ("block", FieldKind::Integer),
    ("number", FieldKind::Integer),
    ("length_m", FieldKind::Real(1)),
    ("fall_mean_pct_before", FieldKind::Real(3)),
    ("fall_min_pct_before", FieldKind::Real(3)),
    ("reverse_depth_mm_before", FieldKind::Real(0)),
    ("fall_1_in_n_before", FieldKind::Text),
    ("fall_mean_pct_after", FieldKind::Real(3)),
    ("fall_min_pct_after", FieldKind::Real(3)),
    ("reverse_depth_mm_after", FieldKind::Real(0)),
    ("fall_1_in_n_after", FieldKind::Text),
    ("drains_before", FieldKind::Text),
    ("drains_after", FieldKind::Text),
    ("drains_to", FieldKind::Text),
    ("margin_m_before", FieldKind::Real(2)),
    ("margin_m_after", FieldKind::Real(2)),
    ("reason", FieldKind::Text),
    ("standing_mm_before", FieldKind::Real(0)),
    ("standing_mm_after", FieldKind::Real(0)),
    ("end_ha_before", FieldKind::Real(2)),
    ("end_ha_after", FieldKind::Real(2)),
    ("end_l_s_before", FieldKind::Real(0)),
    ("end_l_s_after", FieldKind::Real(0)),
];

/// Values of a row, in the order of [`ROW`].
pub(super) fn row_values(results: &Results<'_>, view: &RowView<'_>) -> Vec<Value> {
    let mut values = vec![view.block.id.0.into(), view.row.number.into(), view.row.length_m.into()];
    for fall in [view.row.fall.as_ref(), view.after] {
        values.push(fall.map(|f| f.mean.percent()).into());
        values.push(fall.map(|f| f.least.percent()).into());
        values.push(fall.map(|f| 1000.0 * f.reverse_depth_m).into());
        values.push(fall.map(|f| super::sheet::one_in(f.mean)).into());
    }
    let proof = view.proof;
    values.push(proof.map(|p| p.before.words()).into());
    values.push(proof.map(|p| p.after.words()).into());
    values.push(proof.map(|p| drains_to(results, &p.to)).into());
    values.push(proof.map(|p| p.margin_m.0).into());
    values.push(proof.map(|p| p.margin_m.1).into());
    values.push(proof.map(|p| p.reason.as_str()).into());
    let among = proof.and_then(|p| p.among);
    let pairs = [
        among.map(|a| (1_000.0 * a.standing_m.0, 1_000.0 * a.standing_m.1)),
        among.map(|a| a.end_ha),
        among.map(|a| (1_000.0 * a.end_m3_s.0, 1_000.0 * a.end_m3_s.1)),
    ];
    values.extend(pairs.iter().flat_map(|p| [Value::from(p.map(|p| p.0)), Value::from(p.map(|p| p.1))]));
    values
}
