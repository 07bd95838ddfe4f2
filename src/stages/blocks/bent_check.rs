//! Every row that bends is measured as it is drawn: its tightest circle, and its distance from the row before it.
//!
//! Neither figure looks at the line rows were made parallel to, so that an error there would show.

use super::BlocksParams;
use super::row_line::thinned;
use crate::finding::{Finding, Place, Severity};
use crate::land::blocks::{BlockPlan, Row, RowBlock};
use geo::{Coord, Distance, Euclidean, Line, Point};

/// Circles are drawn through places about this far apart, metres.
const APART_M: f64 = 5.0;
/// Distances to the row before are measured this often along a row, metres.
const MEASURED_M: f64 = 20.0;
/// Spacing a row may be off, metres.
const SPACING_OFF_M: f64 = 0.005;
/// What rounding may take off a radius, as a ratio.
const RADIUS_ROUNDING: f64 = 0.001;

/// What the rows of the blocks that bend measure, and what straight rows would cost there.
pub(super) fn findings(plan: &BlockPlan, params: &BlocksParams) -> Vec<Finding> {
    plan.blocks.iter().filter(|b| b.bent.is_some()).filter_map(|block| finding(plan, block, params)).collect()
}

fn finding(plan: &BlockPlan, block: &RowBlock, params: &BlocksParams) -> Option<Finding> {
    let radius = |row: &Row| (row.number, least_radius_m(row));
    let (row, radius_m) = block.rows.iter().map(radius).min_by(|a, b| a.1.total_cmp(&b.1))?;
    let off_m = off_spacing_m(block);
    let kept = radius_m >= params.least_radius_m * (1.0 - RADIUS_ROUNDING) && off_m <= SPACING_OFF_M;
    let (severity, code) =
        if kept { (Severity::Note, "bent_rows") } else { (Severity::Warning, "bent_rows_off_limits") };
    let text = format!(
        "Block {}: the rows bend. Measured on every row as drawn: tightest radius {radius_m:.0} m (row {row}; least allowed {:.0} m), at most {:.1} mm off the row spacing. Check with the maker that the longest train steers that radius.{}",
        block.name,
        params.least_radius_m,
        1_000.0 * off_m,
        against_straight(plan, block).unwrap_or_default()
    );
    Some(Finding::new(severity, "blocks", code, text).at(Place::Named(format!("block {}", block.name))))
}

/// What the study of the block says of the best straight rows on its outline.
fn against_straight(plan: &BlockPlan, block: &RowBlock) -> Option<String> {
    let tried = || plan.study.iter().filter(|t| t.block == block.name);
    let taken = tried().find(|t| t.chosen)?;
    let straight = tried().filter(|t| !t.chosen);
    let best = straight.reduce(|a, b| if b.yearly_cost_per_ha < a.yearly_cost_per_ha { b } else { a })?;
    // Surfaces of bearings that can win no more are not solved: their cost is a bound.
    let how = if best.earth_gap_ratio.is_some() { "at best" } else { "at least" };
    Some(format!(
        " Straight rows on the same outline cost {how} {:.0} a hectare and year (at {:.0} degrees, mean row {:.0} m); these cost {:.0} (mean row {:.0} m).",
        best.yearly_cost_per_ha,
        best.bearing.degrees(),
        best.mean_length_m,
        taken.yearly_cost_per_ha,
        taken.mean_length_m
    ))
}

/// Radius of the tightest circle through three places of a row, metres; infinite for a straight one.
fn least_radius_m(row: &Row) -> f64 {
    let side = |a: Coord<f64>, b: Coord<f64>| (a.x - b.x).hypot(a.y - b.y);
    let radius = |w: &[Coord<f64>]| {
        // Circumscribed circle: the product of the sides over four times the area.
        let (u, v) = (w[1] - w[0], w[2] - w[0]);
        side(w[0], w[1]) * side(w[1], w[2]) * side(w[2], w[0]) / (2.0 * (u.x * v.y - u.y * v.x).abs()).max(1e-9)
    };
    thinned(&row.line.0, APART_M).windows(3).map(radius).fold(f64::INFINITY, f64::min)
}

/// The furthest any row strays from one spacing beside the row before it, metres, wherever that one lies beside it.
fn off_spacing_m(block: &RowBlock) -> f64 {
    let mut worst = 0.0_f64;
    for pair in block.rows.windows(2) {
        let before: Vec<Line<f64>> = pair[0].line.lines().collect();
        let inner = before.len() > 2;
        for at in thinned(&pair[1].line.0, MEASURED_M) {
            let nearest = before
                .iter()
                .enumerate()
                .map(|(i, l)| (i, Euclidean.distance(&Point(at), l)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((i, away_m)) = nearest else { continue };
            // Beyond the ends of the row before, the nearest place is no foot; on the other stretch of a row cut in two,
            // it is far away.
            let beside = inner && i > 0 && i + 1 < before.len() && away_m < 1.5 * block.row_spacing_m;
            worst = worst.max(if beside { (away_m - block.row_spacing_m).abs() } else { 0.0 });
        }
    }
    worst
}
