//! What the user decides about the rows.

use super::judge::{Judge, Look};
use super::params::{BlocksParams, FallWay};
use super::partition::Part;
use super::search::{self, Fixed};
use crate::finding::{Finding, Problem, Problems, Severity};
use crate::land::site::Site;
use crate::methods::shapes::{buffer_lines, difference};
use crate::units::Bearing;
use crate::wording::grouped;
use geo::{Area, LineString, MultiLineString, Polygon};

/// The bearing fixed by the user: a number, or that of a named line.
pub(super) fn bearing(params: &BlocksParams, site: &Site) -> Result<Option<Bearing>, Problems> {
    if params.rows_along.is_empty() {
        return Ok((params.bearing_deg >= 0.0).then(|| Bearing::from_degrees(params.bearing_deg)));
    }
    let named: Vec<(&str, &LineString<f64>)> = named_lines(site);
    let wanted = named.iter().find(|(name, _)| *name == params.rows_along);
    let Some(bearing) = wanted.and_then(|(_, line)| longest_stretch(line)) else {
        let what = "which is no track, waterway or neighbour's drain";
        let names: Vec<&str> = named.iter().map(|(name, _)| *name).collect();
        return Err(no_such_line(&format!("`blocks.rows_along` names `{}`, {what}", params.rows_along), &names));
    };
    Ok(Some(bearing))
}

/// The lines no block may cross.
pub(super) fn locked(params: &BlocksParams, site: &Site) -> Result<MultiLineString<f64>, Problems> {
    let blocks = site.layers.previous_blocks.iter().map(|b| (b.name.as_str(), b.outline.exterior()));
    let named: Vec<(&str, &LineString<f64>)> = named_lines(site).into_iter().chain(blocks).collect();
    let mut lines = Vec::new();
    for wanted in &params.locked_edges {
        let found = lines.len();
        lines.extend(named.iter().filter(|(name, _)| name == wanted).map(|(_, line)| (*line).clone()));
        if lines.len() == found {
            let what = "which is no track, waterway, neighbour's drain or block of an earlier layout";
            let names: Vec<&str> = named.iter().map(|(name, _)| *name).collect();
            return Err(no_such_line(&format!("`blocks.locked_edges` names `{wanted}`, {what}"), &names));
        }
    }
    Ok(MultiLineString(lines))
}

/// A polygon in the parts the locked lines leave of it, the largest first; they lie a finger's breadth apart.
pub(super) fn between(polygon: &Polygon<f64>, locked: &MultiLineString<f64>) -> Vec<Polygon<f64>> {
    const HALF_M: f64 = 0.01;
    const SCRAP_M2: f64 = 1.0;
    if locked.0.is_empty() {
        return vec![polygon.clone()];
    }
    let mut parts = difference(polygon, &buffer_lines(locked, HALF_M), SCRAP_M2).0;
    parts.sort_by(|a, b| b.unsigned_area().total_cmp(&a.unsigned_area()));
    parts
}

fn no_such_line(text: &str, names: &[&str]) -> Problems {
    let names: Vec<&str> = names.iter().copied().filter(|n| !n.is_empty()).collect();
    let known = if names.is_empty() { "no line of the site has a name".to_owned() } else { names.join(", ") };
    Problem::request("no_such_line", text.to_owned()).hint(format!("named lines: {known}")).into()
}

/// The parameters without the wishes that the layout is free to do better without; `None` when nothing is wished.
pub(super) fn without(params: &BlocksParams) -> Option<BlocksParams> {
    let free = BlocksParams {
        bearing_deg: -1.0,
        rows_along: String::new(),
        locked_edges: Vec::new(),
        wanted_row_length_m: 0.0,
        fall_way: if params.fall_way == FallWay::TwoWay { FallWay::OneWay } else { params.fall_way },
        ..params.clone()
    };
    (free != *params).then_some(free)
}

/// What a layout comes to: yearly cost and row lengths.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sum {
    yearly: f64,
    rows: f64,
    row_m: f64,
    /// Rows as long as wished for, within a hundredth.
    reaching: f64,
}

impl Sum {
    /// Adds the blocks of so much land as a judge prices them, whatever judge they were made by, and the land they leave.
    pub(super) fn add(&mut self, judge: &Judge<'_>, wanted_m: f64, land_m2: f64, parts: &[Part]) {
        let covered_m2: f64 = parts.iter().map(|p| p.outline.area_m2).sum();
        self.yearly += (land_m2 - covered_m2).max(0.0) / judge.scale.powi(2) * judge.grass_per_m2();
        for part in parts {
            let fixed = Fixed { bearing: Some(part.trial.bearing) };
            let again = match &part.trial.bent {
                Some(line) => {
                    judge.judge_bent(&part.outline, line, Look::Close).map(|trial| judge.settle(&part.outline, trial))
                }
                None => search::best(judge, &part.outline, fixed, &[]),
            };
            let trial = again.unwrap_or_else(|| part.trial.clone());
            self.yearly += trial.cost.total();
            self.rows += trial.lengths_m.len() as f64;
            self.reaching += trial.lengths_m.iter().filter(|l| **l >= 0.99 * wanted_m).count() as f64;
            self.row_m += trial.lengths_m.iter().sum::<f64>();
        }
    }

    fn mean_m(&self) -> f64 {
        self.row_m / self.rows.max(1.0)
    }
}

/// Each wish is answered with what it costs against the best.
pub(super) fn cost(params: &BlocksParams, wished: &Sum, free: &Sum) -> Finding {
    let mut wishes = Vec::new();
    if !params.rows_along.is_empty() {
        wishes.push(format!("rows along `{}`", params.rows_along));
    } else if params.bearing_deg >= 0.0 {
        wishes.push(format!("rows at {:.1} degrees", params.bearing_deg));
    }
    if params.wanted_row_length_m > 0.0 {
        wishes.push(format!("rows of {:.0} m", params.wanted_row_length_m));
    }
    if !params.locked_edges.is_empty() {
        wishes.push(format!("the edges of {} kept", params.locked_edges.join(", ")));
    }
    if params.fall_way == FallWay::TwoWay {
        wishes.push("rows that fall two ways".to_owned());
    }
    let reached = if params.wanted_row_length_m > 0.0 {
        format!(
            " {:.0} of {:.0} rows are as long as wished; without the wish {:.0} of {:.0}.",
            wished.reaching, wished.rows, free.reaching, free.rows
        )
    } else {
        String::new()
    };
    Finding::new(
        Severity::Note,
        "blocks",
        "cost_of_the_wish",
        format!(
            "Wished: {}. The layout costs {} a year with a mean row of {:.0} m; without the wish {} a year with a mean row of {:.0} m: the wish costs {} a year.{}",
            wishes.join(", "),
            grouped(wished.yearly),
            wished.mean_m(),
            grouped(free.yearly),
            free.mean_m(),
            grouped(wished.yearly - free.yearly),
            reached
        ),
    )
}

fn named_lines(site: &Site) -> Vec<(&str, &LineString<f64>)> {
    let layers = &site.layers;
    let tracks = layers.tracks.iter().map(|t| (t.name.as_str(), &t.line));
    let waterways = layers.waterways.iter().map(|w| (w.name.as_str(), &w.line));
    tracks.chain(waterways).chain(layers.neighbour_drains.iter().map(|d| (d.name.as_str(), &d.line))).collect()
}

/// Bearing of the longest straight stretch of a line, joints below a degree straightened.
fn longest_stretch(line: &LineString<f64>) -> Option<Bearing> {
    const STRAIGHT_DEG: f64 = 1.0;
    let mut best: Option<(f64, Bearing)> = None;
    let mut from = *line.0.first()?;
    let mut last: Option<Bearing> = None;
    for edge in line.lines().filter(|e| e.start != e.end) {
        let bearing = Bearing::from_east_north(edge.dx(), edge.dy());
        if last.is_some_and(|l| l.axis_angle_to(bearing) > STRAIGHT_DEG) {
            from = edge.start;
        }
        let (dx, dy) = (edge.end.x - from.x, edge.end.y - from.y);
        if best.is_none_or(|(length, _)| dx.hypot(dy) > length) {
            best = Some((dx.hypot(dy), Bearing::from_east_north(dx, dy).axis()));
        }
        last = Some(bearing);
    }
    best.map(|(_, bearing)| bearing)
}
