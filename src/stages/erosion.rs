//! What leaves the land before, during and after?
//!
//! Soil loss by the revised universal equation for every block in three states: the plantation as it stands, bare
//! ground between clearing and cover, and the crop. Slope length and steepness are those along the old ground
//! before and along the rows after, since hilled rows lead the water.

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problems, Severity};
use crate::land::blocks::{BlockPlan, RowBlock, RowFall};
use crate::land::drains::{DrainPlan, Drains, GroundState};
use crate::land::erosion::{BlockSoilLoss, ErosionReport, Indicator};
use crate::land::levelling::LevellingPlan;
use crate::land::site::Site;

use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;
use crate::methods::erosion::{Rilling, delivery_ratio, revised_length_steepness, soil_loss_t_ha};
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::M2_PER_HA;
use geo::{Area, Centroid, Contains, Point};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Factors of the soil-loss equation and the months they work in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ErosionParams {
    /// Rainfall erosivity R, MJ mm/ha/h/year. Take it from the official erosivity map of the place.
    #[schemars(range(min = 100.0, max = 40_000.0), extend("x-source" = "common practice, no source; wet tropical coast 10,000-20,000"))]
    pub erosivity_mj_mm_ha_h: f64,
    /// Share of the yearly erosivity in each month, January first; the twelve shares are scaled to sum to 1.
    #[schemars(length(min = 12, max = 12), extend("x-source" = "common practice, no source; summer-rain coast, 60-75 % in December to March"))]
    pub erosivity_month_ratio: Vec<f64>,
    /// Soil erodibility K, t ha h/ha/MJ/mm.
    #[schemars(range(min = 0.002, max = 0.1), extend("x-source" = "common practice, no source; alluvial loams 0.03-0.05"))]
    pub erodibility_t_ha_h: f64,
    /// Cover factor C of the plantation with its litter (1 is bare).
    #[schemars(range(min = 0.0005, max = 1.0), extend("x-source" = "common practice, no source; 0.002-0.02"))]
    pub cover_before_ratio: f64,
    /// Cover factor C of bare, disced ground.
    #[schemars(range(min = 0.05, max = 1.0), extend("x-source" = "common practice, no source; 0.8-1.0"))]
    pub cover_bare_ratio: f64,
    /// Cover factor C of the crop, averaged over plant crop and ratoons.
    #[schemars(range(min = 0.0005, max = 1.0), extend("x-source" = "common practice, no source; green trash ratoons 0.01-0.05, plant crop 0.3-0.5"))]
    pub cover_after_ratio: f64,
    /// Practice factor P of hilled rows down a fall below 0.5 % (1 is none).
    #[schemars(range(min = 0.1, max = 1.0), extend("x-source" = "common practice, no source; 0.6-0.8"))]
    pub practice_rows_ratio: f64,
    /// Slope length of the plantation as it stands, metres.
    #[schemars(range(min = 5.0, max = 400.0), extend("x-source" = "common practice, no source"))]
    pub slope_length_before_m: f64,
    /// Months the ground lies bare between clearing and cover, first to last (1 to 12).
    #[schemars(range(min = 1, max = 12), extend("x-source" = "common practice, no source"))]
    pub bare_from_month: u32,
    /// Last bare month (1 to 12).
    #[schemars(range(min = 1, max = 12), extend("x-source" = "common practice, no source"))]
    pub bare_to_month: u32,
}

impl Default for ErosionParams {
    fn default() -> Self {
        Self {
            erosivity_mj_mm_ha_h: 12_000.0,
            erosivity_month_ratio: vec![0.20, 0.21, 0.17, 0.08, 0.04, 0.02, 0.02, 0.01, 0.02, 0.04, 0.07, 0.12],
            erodibility_t_ha_h: 0.04,
            cover_before_ratio: 0.01,
            cover_bare_ratio: 0.9,
            cover_after_ratio: 0.1,
            practice_rows_ratio: 0.7,
            slope_length_before_m: 60.0,
            bare_from_month: 8,
            bare_to_month: 11,
        }
    }
}

/// What the stage reads.
pub struct ErosionInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Terrain.
    pub terrain: &'a TerrainModel,
    /// Water.
    pub water: &'a WaterModel,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Earthworks, when wanted.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains, when wanted.
    pub drains: Option<&'a DrainPlan>,
}

/// What leaves the land before, during and after?
pub struct Erosion;

impl Stage for Erosion {
    const INFO: StageInfo = StageInfo {
        name: "erosion",
        version: 2,
        question: "What leaves the land before, during and after?",
        method: "Soil loss by the revised universal equation, per block, for the plantation, bare ground and the crop. \
                 Before: median terrain slope of the block and the stated slope length. After: mean row length and mean \
                 fall along the rows, practice factor for hilled rows. The delivery ratio is that of the block's area. \
                 The equation knows sheet and rill erosion only: on floodplain grades most real loss comes from drains, \
                 headland ends and floods, so the result is printed with that caution and never alone.",
        needs: &["survey", "terrain", "water", "blocks"],
        reads: &["site", "slope map", "row blocks", "row falls after levelling", "drains", "buffers"],
        makes: &["soil loss per block and state", "indicator table before/after"],
        cites: &[Bibliography::Renard1997, Bibliography::Foster1981],
    };
    type Params = ErosionParams;
    type Input<'a> = ErosionInput<'a>;
    type Output = ErosionReport;

    fn run(input: ErosionInput<'_>, params: &ErosionParams, ctx: &Ctx<'_>) -> Result<Outcome<ErosionReport>, Problems> {
        let total: f64 = params.erosivity_month_ratio.iter().sum();
        let erosivity_share: Vec<f64> = params
            .erosivity_month_ratio
            .iter()
            .map(|share| if total > 0.0 { share / total } else { 1.0 / 12.0 })
            .collect();
        let mut blocks = Vec::new();
        for (i, block) in input.blocks.blocks.iter().enumerate() {
            blocks.push(block_loss(&input, i, block, params));
            ctx.progress.advance(Self::INFO.name, (i + 1) as f64 / input.blocks.blocks.len() as f64);
        }
        let bare_share = months_share(&erosivity_share, params.bare_from_month, params.bare_to_month);
        let indicators = indicators(&input, &blocks, bare_share);
        let findings = findings(params, &blocks, bare_share);
        Ok(Outcome { value: ErosionReport { blocks, erosivity_share, indicators }, findings })
    }
}

/// Falls of a block's rows after the works, else before.
fn falls_after(input: &ErosionInput<'_>, i: usize, block: &RowBlock) -> Vec<RowFall> {
    input
        .levelling
        .and_then(|l| l.blocks.get(i))
        .filter(|earth| !earth.rows_after.is_empty())
        .map_or_else(|| block.rows.iter().filter_map(|r| r.fall).collect(), |earth| earth.rows_after.clone())
}

fn block_loss(input: &ErosionInput<'_>, i: usize, block: &RowBlock, params: &ErosionParams) -> BlockSoilLoss {
    let slope_before = median_slope(input.terrain, block);
    let falls = falls_after(input, i, block);
    let slope_after = if falls.is_empty() {
        slope_before
    } else {
        falls.iter().map(|f| f.mean.ratio().abs()).sum::<f64>() / falls.len() as f64
    };
    let length_after =
        if block.rows.is_empty() { params.slope_length_before_m } else { block.row_metres() / block.rows.len() as f64 };
    // Litter under trees keeps rills rare; tilled rows rill as usual row crop; fresh ground rills easily.
    let ls_before = revised_length_steepness(params.slope_length_before_m, slope_before, Rilling::Low);
    let ls_bare = revised_length_steepness(params.slope_length_before_m, slope_before, Rilling::High);
    let ls_after = revised_length_steepness(length_after.max(4.6), slope_after, Rilling::Moderate);
    let centre = block.outline.centroid().map_or(input.site.geodesy.origin, |p| p.0);
    let area_ha = input.site.geodesy.ground_area_m2(centre, block.outline.unsigned_area()) / M2_PER_HA;
    let loss = |ls: f64, cover: f64, practice: f64| {
        soil_loss_t_ha(params.erosivity_mj_mm_ha_h, params.erodibility_t_ha_h, ls, cover, practice)
    };
    BlockSoilLoss {
        block: block.id,
        area_ha,
        ls: (ls_before, ls_after),
        slope_ratio: (slope_before, slope_after),
        before_t_ha: loss(ls_before, params.cover_before_ratio, 1.0),
        bare_t_ha: loss(ls_bare, params.cover_bare_ratio, 1.0),
        after_t_ha: loss(ls_after, params.cover_after_ratio, params.practice_rows_ratio),
        delivery_ratio: delivery_ratio(area_ha / 100.0),
    }
}

/// Median terrain slope of the cells whose centre lies in the block; the property's when the block holds none.
fn median_slope(terrain: &TerrainModel, block: &RowBlock) -> f64 {
    // Every third cell each way is plenty for a median and keeps the point-in-polygon tests cheap.
    const STRIDE: u32 = 3;
    let slope = &terrain.slope.0;
    let mut values: Vec<f32> = slope
        .iter()
        .filter(|(cell, _)| cell.row % STRIDE == 0 && cell.col % STRIDE == 0)
        .filter(|(cell, _)| block.outline.contains(&Point(slope.spec.centre(*cell))))
        .map(|(_, value)| value)
        .collect();
    if values.is_empty() {
        return terrain.median_slope_ratio;
    }
    values.sort_by(f32::total_cmp);
    f64::from(values[values.len() / 2])
}

/// Share of the erosivity from one month through another, round the turn of the year if need be.
fn months_share(shares: &[f64], from: u32, to: u32) -> f64 {
    (0..12_u32)
        .map(|step| (from - 1 + step) % 12)
        .take(((to + 12 - from) % 12 + 1) as usize)
        .map(|month| shares[month as usize])
        .sum()
}

fn sum(blocks: &[BlockSoilLoss], loss: impl Fn(&BlockSoilLoss) -> f64) -> f64 {
    blocks.iter().map(|b| loss(b) * b.area_ha).sum()
}

fn indicators(input: &ErosionInput<'_>, blocks: &[BlockSoilLoss], bare_share: f64) -> Vec<Indicator> {
    let line =
        |name: &str, unit: &str, before: Option<f64>, after: Option<f64>, method: &str, confidence: &str| Indicator {
            name: name.to_owned(),
            unit: unit.to_owned(),
            before,
            after,
            method: method.to_owned(),
            confidence: confidence.to_owned(),
        };
    let rusle = "revised universal soil-loss equation, sheet and rill only";
    let area: f64 = blocks.iter().map(|b| b.area_ha).sum();
    let buffers_ha: f64 = input.water.buffers.iter().map(|b| b.outline.unsigned_area()).sum::<f64>() / M2_PER_HA;
    let ponds_ha: f64 = input.water.ponds.iter().map(|p| p.area_m2).sum::<f64>() / M2_PER_HA;
    let mut list = vec![
        line(
            "soil loss at the field edge",
            "t/year",
            Some(sum(blocks, |b| b.before_t_ha)),
            Some(sum(blocks, |b| b.after_t_ha)),
            rusle,
            "low",
        ),
        line(
            "soil loss delivered to water",
            "t/year",
            Some(sum(blocks, |b| b.before_t_ha * b.delivery_ratio)),
            Some(sum(blocks, |b| b.after_t_ha * b.delivery_ratio)),
            "soil loss times a delivery ratio by area (Vanoni 1975)",
            "low",
        ),
        line("soil loss while bare, once", "t", None, Some(sum(blocks, |b| b.bare_t_ha) * bare_share), rusle, "low"),
        line("area under rows and headlands", "ha", Some(0.0), Some(area), "area of row blocks", "high"),
        line("buffers kept", "ha", None, Some(buffers_ha), "area of buffer polygons", "high"),
        line(
            "hollows of the ground as it lies",
            "ha",
            Some(ponds_ha),
            None,
            "depressions deeper than the survey can mistake",
            "medium",
        ),
    ];
    if let Some(drains) = input.drains {
        let share = |yes: fn(&crate::land::drains::RowProof) -> Drains| {
            let n = drains.proofs.len();
            (n > 0).then(|| 100.0 * drains.proofs.iter().filter(|p| yes(p) == Drains::Yes).count() as f64 / n as f64)
        };
        let among_rows_ha = |state: GroundState| {
            let wet = drains.row_ponds.iter().filter(|p| p.state == state);
            Some(wet.map(|p| p.area_m2).sum::<f64>() / M2_PER_HA)
        };
        list.push(line(
            "water standing among rows",
            "ha",
            among_rows_ha(GroundState::Before),
            among_rows_ha(GroundState::After),
            "furrows of the new rows on the ground as it lies and as designed, deeper than the survey can mistake",
            "medium",
        ));
        list.push(line(
            "rows proven to drain",
            "%",
            share(|p| p.before),
            share(|p| p.after),
            "row-by-row proof",
            "medium",
        ));
    }
    list
}

fn findings(params: &ErosionParams, blocks: &[BlockSoilLoss], bare_share: f64) -> Vec<Finding> {
    let stage = Erosion::INFO.name;
    let mut findings = Vec::new();
    if blocks.iter().any(|b| b.slope_ratio.1 < 0.005) {
        findings.push(Finding::new(
            Severity::Warning,
            stage,
            "soil_loss_on_flat_ground",
            "The soil-loss figures count sheet and rill erosion only. On floodplain grades (below 0.5 %) most soil leaves \
             through drains, headland ends, plough-out and floods, which they miss: use them to compare, not to claim.",
        ));
    }
    let (before, after) = (sum(blocks, |b| b.before_t_ha), sum(blocks, |b| b.after_t_ha));
    if after > before {
        findings.push(Finding::new(
            Severity::Warning,
            stage,
            "crop_loses_more_than_trees",
            format!(
                "The crop is reckoned to lose {after:.0} t of soil a year against {before:.0} t under the trees and their \
                 litter. A grant claim must compare with the lawful alternative use, not with bare ground.",
            ),
        ));
    }
    if bare_share > 0.25 {
        findings.push(Finding::new(
            Severity::Severe,
            stage,
            "bare_in_the_wet",
            format!(
                "The ground would lie bare through {:.0} % of the year's rain erosivity (months {} to {}); stage the work so \
                 that cover is up before the wet season.",
                100.0 * bare_share, params.bare_from_month, params.bare_to_month
            ),
        ));
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_wrap_round_the_year() {
        let shares: Vec<f64> = (1..=12).map(f64::from).collect();
        assert!((months_share(&shares, 8, 11) - (8.0 + 9.0 + 10.0 + 11.0)).abs() < 1e-12);
        assert!((months_share(&shares, 11, 2) - (11.0 + 12.0 + 1.0 + 2.0)).abs() < 1e-12);
        assert!((months_share(&shares, 5, 5) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn starting_values_sum_to_a_year() {
        let share: f64 = ErosionParams::default().erosivity_month_ratio.iter().sum();
        assert!((share - 1.0).abs() < 1e-9);
    }
}
