//! Which way do the rows run, and how long can they be?
//!
//! For every plantable piece the best straight bearing is found by laying candidates out exactly and pricing them in
//! one currency; pieces are cut at re-entrant corners where that saves money, across rows that would be too long and
//! along rows where a block would be too large.

mod params;
mod report;
mod rows;
mod search;
#[cfg(test)]
mod tests;
mod trial;

pub use params::{BlocksParams, Watering};

use crate::bibliography::Bibliography;
use crate::finding::{Outcome, Problem, ProblemKind, Problems};
use crate::land::blocks::{BearingTrial, BlockPlan, LeftOut, RowBlock};
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::water::{PlantablePiece, WaterModel};
use crate::methods::shapes::{buffer_polygon, clean};
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::{Bearing, M2_PER_HA};
use geo::{Area, ConvexHull, Distance, Euclidean, MultiPolygon, Point, Polygon, Simplify};
use rows::Label;
use search::Part;
use trial::{Judge, Trial};

/// What the stage reads.
pub struct BlocksInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground; without it falls are not known.
    pub ground: Option<&'a Ground>,
    /// Water; compulsory unless blocks are given.
    pub water: Option<&'a WaterModel>,
    /// Prices.
    pub rates: &'a Rates,
}

/// Which way do the rows run, and how long can they be?
pub struct Blocks;

impl Stage for Blocks {
    const INFO: StageInfo = StageInfo {
        name: "blocks",
        version: 1,
        question: "Which way do the rows run, and how long can they be?",
        method: "Each plantable piece is laid out exactly at its edge azimuths, at the ends of the admissible falls, across \
                 its narrow way, on a 10-degree sweep refined to 1 degree and at the user's wish: headlands inset (turning \
                 width where rows end, side width where they run along), rows clipped, short rows dropped. A layout costs \
                 its turns, the land without rows, and the earth of the least-squares plane within the fall limits, raised \
                 where its low ends would lie below the drain reach, paid off over years. Pieces are cut at re-entrant \
                 corners when that saves 3 %, then where rows are too long or blocks too large. The lower bound of rows \
                 takes no row longer than the widest reach of its piece.",
        needs: &["survey", "water"],
        reads: &["site", "concept ground", "plantable pieces", "drain reach", "given blocks", "rates"],
        makes: &["row blocks", "rows", "headlands", "bearing study"],
        cites: &[Bibliography::ScaloppiWillardson1986, Bibliography::AsabeEp496],
    };
    type Params = BlocksParams;
    type Input<'a> = BlocksInput<'a>;
    type Output = BlockPlan;

    fn run(input: BlocksInput<'_>, params: &BlocksParams, ctx: &Ctx<'_>) -> Result<Outcome<BlockPlan>, Problems> {
        let judge = Judge {
            params,
            rates: input.rates,
            ground: input.ground.map(|g| &g.concept.0),
            reach: input.water.map(|w| &w.reach.level),
            scale: input.site.geodesy.scale_at(input.site.geodesy.origin),
        };
        let wish = (params.bearing_deg >= 0.0).then(|| Bearing::from_degrees(params.bearing_deg));
        let mut plan = BlockPlan { short_row_m: params.short_row_m, ..BlockPlan::default() };
        if input.site.layers.given_blocks.is_empty() {
            let water = input.water.ok_or_else(|| {
                Problem::request("no_blocks", "the blocks stage needs the water stage or `given.blocks`")
            })?;
            for (i, piece) in water.plantable.iter().enumerate() {
                if ctx.cancelled() {
                    break;
                }
                let parcel = parcel_name(input.site, piece);
                lay_out_piece(&judge, input.site, piece, &parcel, wish, &mut plan);
                ctx.progress.advance(Self::INFO.name, (i + 1) as f64 / water.plantable.len() as f64);
            }
        } else {
            lay_out_given(&judge, input.site, wish, &mut plan);
        }
        if plan.blocks.is_empty() {
            return Err(Problem::new(
                ProblemKind::NoDesign,
                "no_room_for_a_row",
                format!(
                    "no plantable piece has room for a row of {} m between headlands of {} m",
                    params.min_row_length_m, params.turning_headland_m
                ),
            )
            .hint("lower `blocks.min_row_length_m` or `blocks.turning_headland_m`, or look at what the buffers and keep areas take")
            .into());
        }
        rows::number(&mut plan.blocks);
        let findings = report::findings(&plan, &input, params, wish);
        Ok(Outcome { value: plan, findings })
    }
}

fn parcel_name(site: &Site, piece: &PlantablePiece) -> String {
    site.parcels.iter().find(|p| p.id == piece.parcel).map(|p| p.name.clone()).unwrap_or_default()
}

fn lay_out_piece(
    judge: &Judge<'_>,
    site: &Site,
    piece: &PlantablePiece,
    parcel: &str,
    wish: Option<Bearing>,
    plan: &mut BlockPlan,
) {
    let outlines = smoothed(&piece.outline);
    let parts: Vec<Part> = outlines
        .iter()
        .flat_map(|outline| search::partition(judge, outline, wish))
        .flat_map(|part| search::within_limits(judge, part, wish))
        .collect();
    if parts.is_empty() {
        plan.left_out.push(LeftOut {
            outline: piece.outline.clone(),
            reason: format!("no row of {} m fits between the headlands", judge.params.min_row_length_m),
        });
        return;
    }
    plan.rows_lower_bound += rows_lower_bound(judge, &piece.outline, &parts);
    let study = outlines.first().map(|outline| search::study(judge, outline, wish)).unwrap_or_default();
    let taken: Vec<Bearing> = parts.iter().map(|p| p.trial.bearing).collect();
    plan.study.extend(study.iter().map(|(trial, why)| {
        let chosen = taken.iter().any(|b| b.axis_angle_to(trial.bearing) < 0.01);
        table_row(judge, piece, trial, why, chosen)
    }));
    let label = Label { name: None, parcel: parcel.to_owned(), given: false };
    plan.blocks.extend(parts.iter().map(|part| rows::block(judge, &site.geodesy, part, &label)));
}

/// The piece without the jags that buffers and cells leave on it, a hand's breadth inside so that nothing kept is touched.
/// The largest part comes first.
fn smoothed(piece: &Polygon<f64>) -> Vec<Polygon<f64>> {
    const JAG_M: f64 = 0.5;
    let inner = buffer_polygon(&MultiPolygon(vec![piece.clone()]), -JAG_M);
    let mut parts: Vec<Polygon<f64>> = clean(&inner.simplify(JAG_M), 100.0).0;
    parts.sort_by(|a, b| b.unsigned_area().total_cmp(&a.unsigned_area()));
    parts
}

fn lay_out_given(judge: &Judge<'_>, site: &Site, wish: Option<Bearing>, plan: &mut BlockPlan) {
    for given in &site.layers.given_blocks {
        let fixed = given.bearing_deg.map(Bearing::from_degrees).or(wish);
        match search::best(judge, &given.outline, fixed) {
            Some(trial) => {
                let part = Part { outline: given.outline.clone(), trial };
                plan.rows_lower_bound += rows_lower_bound(judge, &given.outline, std::slice::from_ref(&part));
                let label = Label { name: Some(given.name.clone()), parcel: String::new(), given: true };
                let mut block = rows::block(judge, &site.geodesy, &part, &label);
                if let (Some(bearing), None) = (given.bearing_deg, judge.ground) {
                    // Without ground the surveyor's sense of the bearing is all there is.
                    orient(&mut block, Bearing::from_degrees(bearing));
                }
                plan.blocks.push(block);
            }
            None => plan.left_out.push(LeftOut {
                outline: given.outline.clone(),
                reason: format!("given block `{}` has no room for a row", given.name),
            }),
        }
    }
}

/// Turns a block's rows to run the way a bearing points.
fn orient(block: &mut RowBlock, bearing: Bearing) {
    let (e, n) = bearing.east_north();
    let (be, bn) = block.bearing.east_north();
    if e * be + n * bn < 0.0 {
        block.bearing = block.bearing.reversed();
        for row in &mut block.rows {
            row.line.0.reverse();
        }
        block.rows.reverse();
        for (i, row) in block.rows.iter_mut().enumerate() {
            row.number = u32::try_from(i + 1).unwrap_or(u32::MAX);
        }
    }
}

/// No straight row is longer than the widest reach of its piece, so the planted row length over that reach is a bound
/// on the number of rows of any straight layout with as much row.
fn rows_lower_bound(judge: &Judge<'_>, piece: &Polygon<f64>, parts: &[Part]) -> f64 {
    let hull: Vec<_> = piece.convex_hull().exterior().0.clone();
    let widest = hull
        .iter()
        .enumerate()
        .flat_map(|(i, a)| hull[i + 1..].iter().map(move |b| Euclidean.distance(Point(*a), Point(*b))))
        .fold(0.0, f64::max);
    let row_m: f64 = parts.iter().flat_map(|p| &p.trial.lengths_m).sum();
    if widest > 0.0 { row_m / (widest / judge.scale) } else { 0.0 }
}

fn table_row(judge: &Judge<'_>, piece: &PlantablePiece, trial: &Trial, why: &str, chosen: bool) -> BearingTrial {
    let area_m2 = piece.outline.unsigned_area();
    let ha = area_m2 / (judge.scale * judge.scale) / M2_PER_HA;
    let mut lengths = trial.lengths_m.clone();
    lengths.sort_by(f64::total_cmp);
    let quantile = |share: f64| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an index inside the list")]
        let i = (share * (lengths.len() - 1) as f64).round() as usize;
        lengths[i]
    };
    BearingTrial {
        piece: piece.id,
        bearing: trial.bearing,
        reason: why.to_owned(),
        rows: u32::try_from(lengths.len()).unwrap_or(u32::MAX),
        mean_length_m: lengths.iter().sum::<f64>() / lengths.len() as f64,
        median_length_m: quantile(0.5),
        p10_length_m: quantile(0.1),
        turns_per_ha: lengths.len() as f64 / ha,
        headland_ratio: 1.0 - trial.cropped_m2 / area_m2,
        within_fall_ratio: trial.within_fall_ratio,
        earth_m3_per_ha: trial.earth_m3 / ha,
        yearly_cost_per_ha: trial.yearly / ha,
        once_cost_per_ha: trial.earth_once / ha,
        chosen,
    }
}
