//! What does the steering need?
//!
//! One straight line per block, laid on its middle row and stretched over the whole block; every other row is a whole
//! number of passes to its left or right, so the same line serves every operation.

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Place, Problem, Problems, Severity};
use crate::land::blocks::{BlockPlan, Row, RowBlock};
use crate::land::guidance::{GuidanceLine, GuidancePlan};
use crate::land::site::Site;
use crate::methods::shapes::Frame;
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::Bearing;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

#[cfg(test)]
mod tests;

/// Longest name, characters: what a designator of the ISO 11783-10 exchange may hold.
const LONGEST_NAME: usize = 32;

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GuidanceParams {
    /// Rows one pass of the machine takes; the pass width is this times the row spacing.
    #[schemars(range(min = 1, max = 24), extend("x-source" = "the grower's machine; common practice, no source"))]
    pub rows_per_pass: u32,
    /// A row further than this from its place in the passes is reported, millimetres.
    #[schemars(range(min = 1.0, max = 200.0), extend("x-source" = "pass-to-pass accuracy of RTK steering; common practice, no source"))]
    pub row_tolerance_mm: f64,
}

impl Default for GuidanceParams {
    fn default() -> Self {
        Self { rows_per_pass: 1, row_tolerance_mm: 20.0 }
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
        version: 1,
        question: "What does the steering need?",
        method: "One straight line per block on its middle row (between the middle rows when a pass takes an even number), \
                 A at the high end, stretched over the whole block. Every row is checked to lie a whole number of row \
                 spacings from it. Bearings are given on the grid and true.",
        needs: &["survey", "blocks"],
        reads: &["site: scale and convergence of the grid, name of the property", "row blocks with their rows"],
        makes: &["guidance lines: A and B, grid and true bearing, pass width, passes to the left and right"],
        cites: &[Bibliography::IogpGn72],
    };
    type Params = GuidanceParams;
    type Input<'a> = GuidanceInput<'a>;
    type Output = GuidancePlan;

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        if params.rows_per_pass == 0 {
            return Err(Problem::request("rows_per_pass", "`guidance.rows_per_pass` is 0, must be 1 or more").into());
        }
        let mut findings = Vec::new();
        let mut names = BTreeSet::new();
        let mut lines = Vec::new();
        for block in &input.blocks.blocks {
            let Some((mut line, off_m)) = guidance_line(input.site, block, params.rows_per_pass) else {
                findings.push(
                    Finding::new(
                        Severity::Warning,
                        "guidance",
                        "block_without_rows",
                        format!("Block {} has no row, so no guidance line was made for it.", block.name),
                    )
                    .at(Place::Named(block.name.clone())),
                );
                continue;
            };
            line.name = unique_name(&input.site.name, block, &mut names);
            if off_m * 1_000.0 > params.row_tolerance_mm {
                findings.push(row_off_pass(block, off_m, params));
            }
            lines.push(line);
        }
        if !lines.is_empty() {
            findings.push(datum_note(input.site));
        }
        ctx.progress.advance("guidance", 1.0);
        Ok(Outcome { value: GuidancePlan { lines }, findings })
    }
}

fn row_off_pass(block: &RowBlock, off_m: f64, params: &GuidanceParams) -> Finding {
    Finding::new(
        Severity::Warning,
        "guidance",
        "row_off_pass",
        format!(
            "A row of block {} lies {:.0} mm from its place in the passes, the limit is {:.0} mm. Rows drawn by hand or \
             curved rows need their own lines; let the block be laid out again with parallel rows.",
            block.name,
            off_m * 1_000.0,
            params.row_tolerance_mm
        ),
    )
    .at(Place::Named(block.name.clone()))
}

fn datum_note(site: &Site) -> Finding {
    Finding::new(
        Severity::Note,
        "guidance",
        "guidance_datum",
        format!(
            "Guidance lines are in {}. Set the correction service to the same datum and epoch and check one known point \
             before driving: a datum left over from earlier work can move every line by more than a metre.",
            site.crs.name
        ),
    )
}

/// The line of a block (name still empty) and the furthest any row lies from its place, metres.
fn guidance_line(site: &Site, block: &RowBlock, rows_per_pass: u32) -> Option<(GuidanceLine, f64)> {
    let middle = middle_row(block)?;
    let (high, low) = (middle.high_end(), middle.low_end());
    let bearing = Bearing::from_east_north(low.x - high.x, low.y - high.y);
    let frame = Frame::new(bearing, high);
    let spacing_m = block.row_spacing_m * site.geodesy.scale_at(high);
    let rows = f64::from(rows_per_pass);
    // An even number of rows is straddled: the line runs between two of them.
    let shift = if rows_per_pass.is_multiple_of(2) { 0.5 } else { 0.0 };
    let (mut from_m, mut to_m) = (f64::INFINITY, f64::NEG_INFINITY);
    let (mut left, mut right) = (0.0_f64, 0.0_f64);
    let mut off_m = 0.0_f64;
    for end in block.rows.iter().flat_map(|row| [row.high_end(), row.low_end()]) {
        let place = frame.enter(end);
        from_m = from_m.min(place.along_m);
        to_m = to_m.max(place.along_m);
        let spacings = place.across_m / spacing_m;
        off_m = off_m.max((spacings - spacings.round()).abs() * spacing_m);
        let pass = ((spacings.round() - shift) / rows).round();
        left = left.max(-pass);
        right = right.max(pass);
    }
    let a = frame.leave(shift * spacing_m, from_m);
    let b = frame.leave(shift * spacing_m, to_m);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole, not negative, below the row count"
    )]
    let passes = (left as u32, right as u32);
    let line = GuidanceLine {
        name: String::new(),
        block: block.id,
        a,
        b,
        grid_bearing: bearing,
        true_bearing: site.geodesy.true_bearing(a, bearing),
        width_m: block.row_spacing_m * rows,
        passes,
    };
    Some((line, off_m))
}

/// The row in the middle of those that have a length, by number.
fn middle_row(block: &RowBlock) -> Option<&Row> {
    let long: Vec<&Row> = block.rows.iter().filter(|row| row.high_end() != row.low_end()).collect();
    long.get(long.len() / 2).copied()
}

/// `property_block_AB1`: ASCII, at most 32 characters, no two alike on the property.
fn unique_name(property: &str, block: &RowBlock, taken: &mut BTreeSet<String>) -> String {
    let mut block_part = plain(&block.name);
    if block_part.is_empty() {
        block_part = format!("B{}", block.id);
    }
    block_part.truncate(14);
    let mut number = 1_u32;
    loop {
        let tail = format!("{block_part}_AB{number}");
        let mut head = plain(property);
        head.truncate(LONGEST_NAME - tail.len() - 1);
        let name = if head.is_empty() { tail } else { format!("{head}_{tail}") };
        if taken.insert(name.clone()) {
            return name;
        }
        number += 1;
    }
}

/// Letters, digits and hyphens as they are, blanks as hyphens, everything else left out.
fn plain(text: &str) -> String {
    let joined = text.split_whitespace().collect::<Vec<_>>().join("-");
    joined.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect()
}
