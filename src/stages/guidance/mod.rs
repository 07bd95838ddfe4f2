//! What does the steering need?
//!
//! One straight line per block, laid on a long row near its middle, from end to end of it, so that a machine can stand on
//! A and on B: every other row is a whole number of passes to its left or right, so the same line serves every operation. Where rows do not fit into passes
//! (drawn by hand, bent), or where it is wished, every row gets a line of its own: straight, or a curve.

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Place, Problem, Problems, Severity};
use crate::land::blocks::{BlockPlan, Row, RowBlock};
use crate::land::guidance::{GuidanceField, GuidanceLine, GuidancePlan};
use crate::land::site::Site;
use crate::methods::shapes::Frame;
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::Bearing;
use geo::{Area, BoundingRect, Centroid, Coord, Intersects, LineString, Rect, Simplify};
use names::unique_name;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

mod names;
#[cfg(test)]
mod tests;

/// A curve may leave its row by this much, metres: below what RTK steering repeats (common practice, no source).
const CURVE_TOLERANCE_M: f64 = 0.02;
/// A block's line lies on a row of at least this share of the longest: a long line holds its direction best.
const NEARLY_LONGEST: f64 = 0.9;
/// Kept areas this near to a block are told to the steering, metres: a machine turning on the headland reaches them
/// (common practice, no source).
const KEEP_OUT_REACH_M: f64 = 30.0;

/// What one guidance line is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LinesPer {
    /// One line a block; passes are counted from it. Blocks whose rows do not fit into passes get one line a row.
    #[default]
    Block,
    /// One line a row.
    Row,
}

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GuidanceParams {
    /// One line a block, or one a row.
    #[schemars(extend("x-source" = "the user's wish; what the steering system takes"))]
    pub lines_per: LinesPer,
    /// Rows one pass of the machine takes; the pass width is this times the row spacing.
    #[schemars(range(min = 1, max = 24), extend("x-source" = "the grower's machine; common practice, no source"))]
    pub pass_rows: u32,
    /// A row further than this from its place in the passes is reported, millimetres.
    #[schemars(range(min = 1.0, max = 200.0), extend("x-source" = "pass-to-pass accuracy of RTK steering; common practice, no source"))]
    pub row_tolerance_mm: f64,
    /// Who the work is done for, as the steering system shall show it; empty leaves the customer out.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub customer: String,
    /// Name of the farm in the steering system; empty takes the name of the property.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub farm: String,
}

impl Default for GuidanceParams {
    fn default() -> Self {
        Self {
            lines_per: LinesPer::Block,
            pass_rows: 1,
            row_tolerance_mm: 20.0,
            customer: String::new(),
            farm: String::new(),
        }
    }
}

/// What the stage reads.
pub struct GuidanceInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Blocks.
    pub blocks: &'a BlockPlan,
}

/// What does the steering need?
pub struct Guidance;

impl Stage for Guidance {
    const INFO: StageInfo = StageInfo {
        name: "guidance",
        version: 4,
        question: "What does the steering need?",
        method: "One straight line per block on the long row nearest its middle (beside it when a pass takes an even \
                 number), from its high end A to its low end B. Every row is checked to lie a whole number of row \
                 spacings from it; where one does not, or where it is wished, or rows bend, every row gets its own line, a curve when \
                 it bends. Bearings are given on the grid and true; a grid whose datum is not named is refused.",
        needs: &["survey", "blocks"],
        reads: &[
            "site: datum, scale and convergence of the grid, name of the property, areas kept",
            "row blocks with their rows",
        ],
        makes: &[
            "guidance lines: A and B, grid and true bearing, pass width, passes to the left and right",
            "fields: outline, areas kept in and beside them",
        ],
        cites: &[Bibliography::IogpGn72],
    };
    type Params = GuidanceParams;
    type Input<'a> = GuidanceInput<'a>;
    type Output = GuidancePlan;

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        if params.pass_rows == 0 {
            return Err(Problem::request("pass_rows", "`guidance.pass_rows` is 0, must be 1 or more").into());
        }
        let site = input.site;
        let datum = site.crs.datum_name().ok_or_else(|| no_datum(site))?;
        let farm = if params.farm.trim().is_empty() { &site.name } else { &params.farm };
        let mut findings = Vec::new();
        let mut names = BTreeSet::new();
        let mut plan = GuidancePlan {
            customer: params.customer.clone(),
            farm: farm.clone(),
            datum,
            fields: Vec::new(),
            lines: Vec::new(),
        };
        for block in &input.blocks.blocks {
            let Some((line, off_m)) = guidance_line(site, block, params.pass_rows) else {
                findings.push(without_rows(block));
                continue;
            };
            plan.fields.push(field(site, block));
            let off = off_m * 1_000.0 > params.row_tolerance_mm;
            if params.lines_per == LinesPer::Block {
                if block.bent.is_some() {
                    findings.push(bent_rows(block));
                } else if off {
                    findings.push(row_off_pass(block, off_m, params));
                }
            }
            let each = off || block.bent.is_some() || params.lines_per == LinesPer::Row;
            let lines = if each { row_lines(site, block) } else { vec![line] };
            plan.lines.extend(lines.into_iter().map(|mut line| {
                line.name = unique_name(farm, block, line.row, &mut names);
                line
            }));
        }
        if !plan.lines.is_empty() {
            findings.push(datum_note(site, &plan.datum));
        }
        ctx.progress.advance("guidance", 1.0);
        Ok(Outcome { value: plan, findings })
    }
}

fn no_datum(site: &Site) -> Problem {
    Problem::data(
        "datum_not_named",
        format!("guidance lines cannot be written: `{}` does not name its datum", site.crs.name),
    )
    .hint(
        "find out the datum the boundary was surveyed on and deliver it in a system that names it (`EPSG:...`): lines on \
         a wrong datum lie a metre or more beside their place",
    )
}

fn without_rows(block: &RowBlock) -> Finding {
    Finding::new(
        Severity::Warning,
        "guidance",
        "block_without_rows",
        format!("Block {} has no row, so no guidance line was made for it.", block.name),
    )
    .at(Place::Named(block.name.clone()))
}

fn bent_rows(block: &RowBlock) -> Finding {
    Finding::new(
        Severity::Note,
        "guidance",
        "bent_rows",
        format!(
            "The rows of block {} bend: every row has a guidance curve of its own, since a shifted copy of one curve is no \
             parallel of it.",
            block.name
        ),
    )
    .at(Place::Named(block.name.clone()))
}

fn row_off_pass(block: &RowBlock, off_m: f64, params: &GuidanceParams) -> Finding {
    Finding::new(
        Severity::Warning,
        "guidance",
        "row_off_pass",
        format!(
            "A row of block {} lies {:.0} mm from its place in the passes, the limit is {:.0} mm: every row of the block \
             has a guidance line of its own. Let the block be laid out again with parallel rows for one line that serves \
             all passes.",
            block.name,
            off_m * 1_000.0,
            params.row_tolerance_mm
        ),
    )
    .at(Place::Named(block.name.clone()))
}

fn datum_note(site: &Site, datum: &str) -> Finding {
    Finding::new(
        Severity::Note,
        "guidance",
        "guidance_datum",
        format!(
            "Guidance lines are in {} on the datum {datum}. Set the correction service to the same datum and epoch and \
             check one known point before driving: a datum left over from earlier work can move every line by more than a \
             metre.",
            site.crs.name
        ),
    )
}

/// The block as a field, with the kept areas a machine could reach.
fn field(site: &Site, block: &RowBlock) -> GuidanceField {
    let reach = block.outline.bounding_rect().map(|r| {
        let by = Coord { x: KEEP_OUT_REACH_M, y: KEEP_OUT_REACH_M };
        Rect::new(r.min() - by, r.max() + by)
    });
    let near = |outline: &geo::MultiPolygon<f64>| reach.is_some_and(|r| outline.intersects(&r));
    let middle = block.outline.centroid().map(Coord::from).unwrap_or_default();
    GuidanceField {
        block: block.id,
        name: block.name.clone(),
        outline: block.outline.clone(),
        area_m2: site.geodesy.ground_area_m2(middle, block.outline.unsigned_area()),
        keep_outs: site
            .layers
            .keep_areas
            .iter()
            .filter(|k| near(&k.outline))
            .map(|k| (k.reason.clone(), k.outline.clone()))
            .collect(),
    }
}

/// One line a row; a bent row becomes a curve with no more points than it needs.
fn row_lines(site: &Site, block: &RowBlock) -> Vec<GuidanceLine> {
    let long = block.rows.iter().filter(|row| row.high_end() != row.low_end());
    long.map(|row| {
        let (a, b) = (row.high_end(), row.low_end());
        let bearing = Bearing::from_east_north(b.x - a.x, b.y - a.y);
        GuidanceLine {
            name: String::new(),
            block: block.id,
            row: Some(row.number),
            line: row.line.simplify(CURVE_TOLERANCE_M),
            grid_bearing: bearing,
            true_bearing: site.geodesy.true_bearing(a, bearing),
            width_m: block.row_spacing_m,
            passes: (0, 0),
        }
    })
    .collect()
}

/// The line of a block (name still empty) and the furthest any row lies from its place, metres.
fn guidance_line(site: &Site, block: &RowBlock, pass_rows: u32) -> Option<(GuidanceLine, f64)> {
    let middle = middle_row(block)?;
    let (high, low) = (middle.high_end(), middle.low_end());
    let bearing = Bearing::from_east_north(low.x - high.x, low.y - high.y);
    let frame = Frame::new(bearing, high);
    let spacing_m = block.row_spacing_m * site.geodesy.scale_at(high);
    let rows = f64::from(pass_rows);
    // An even number of rows is straddled: the line runs between two of them.
    let shift = if pass_rows.is_multiple_of(2) { 0.5 } else { 0.0 };
    let (mut left, mut right) = (0.0_f64, 0.0_f64);
    let mut off_m = 0.0_f64;
    // Every point of a row, so that a bent row shows however its ends lie.
    for point in block.rows.iter().flat_map(|row| &row.line.0) {
        let place = frame.enter(*point);
        let spacings = place.across_m / spacing_m;
        off_m = off_m.max((spacings - spacings.round()).abs() * spacing_m);
        let pass = ((spacings.round() - shift) / rows).round();
        left = left.max(-pass);
        right = right.max(pass);
    }
    let a = frame.leave(shift * spacing_m, 0.0);
    let b = frame.leave(shift * spacing_m, frame.enter(low).along_m);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole, not negative, below the row count"
    )]
    let passes = (left as u32, right as u32);
    let line = GuidanceLine {
        name: String::new(),
        block: block.id,
        row: None,
        line: LineString(vec![a, b]),
        grid_bearing: bearing,
        true_bearing: site.geodesy.true_bearing(a, bearing),
        width_m: block.row_spacing_m * rows,
        passes,
    };
    Some((line, off_m))
}

/// Of the rows nearly as long as the longest, the one nearest the middle by number.
fn middle_row(block: &RowBlock) -> Option<&Row> {
    let long = |row: &Row| (row.high_end().x - row.low_end().x).hypot(row.high_end().y - row.low_end().y);
    let longest = block.rows.iter().map(long).fold(0.0, f64::max);
    let middle = block.rows.len() / 2;
    let far = |i: usize| i.abs_diff(middle);
    let enough = |row: &Row| longest > 0.0 && long(row) >= NEARLY_LONGEST * longest;
    block.rows.iter().enumerate().filter(|(_, row)| enough(row)).min_by_key(|(i, _)| far(*i)).map(|(_, row)| row)
}
