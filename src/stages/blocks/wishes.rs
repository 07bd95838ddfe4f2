//! What the user decides about the rows.

use super::judge::Judge;
use super::params::{BlocksParams, FallWay};
use super::partition::Part;
use super::search::{self, Fixed};
use crate::finding::{Finding, Problem, Problems, Severity};
use crate::land::site::Site;
use crate::units::Bearing;
use geo::LineString;

/// The bearing fixed by the user: a number, or that of a named line.
pub(super) fn bearing(params: &BlocksParams, site: &Site) -> Result<Option<Bearing>, Problems> {
    if params.rows_along.is_empty() {
        return Ok((params.bearing_deg >= 0.0).then(|| Bearing::from_degrees(params.bearing_deg)));
    }
    let named: Vec<(&str, &LineString<f64>)> = named_lines(site);
    let wanted = named.iter().find(|(name, _)| *name == params.rows_along);
    let Some(bearing) = wanted.and_then(|(_, line)| longest_stretch(line)) else {
        let names: Vec<&str> = named.iter().map(|(name, _)| *name).filter(|n| !n.is_empty()).collect();
        let known = if names.is_empty() { "no line of the site has a name".to_owned() } else { names.join(", ") };
        return Err(Problem::request(
            "no_such_line",
            format!(
                "`blocks.rows_along` names `{}`, which is no track, waterway or neighbour's drain",
                params.rows_along
            ),
        )
        .hint(format!("named lines: {known}"))
        .into());
    };
    Ok(Some(bearing))
}

/// The parameters without the wishes that the layout is free to do better without; `None` when nothing is wished.
pub(super) fn without(params: &BlocksParams) -> Option<BlocksParams> {
    let free = BlocksParams {
        bearing_deg: -1.0,
        rows_along: String::new(),
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
}

impl Sum {
    /// Adds blocks as a judge prices them, whatever judge they were made by.
    pub(super) fn add(&mut self, judge: &Judge<'_>, parts: &[Part]) {
        for part in parts {
            let fixed = Fixed { bearing: Some(part.trial.bearing) };
            let trial = search::best(judge, &part.outline, fixed, &[]).unwrap_or_else(|| part.trial.clone());
            self.yearly += trial.yearly();
            self.rows += trial.lengths_m.len() as f64;
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
    if params.fall_way == FallWay::TwoWay {
        wishes.push("rows that fall two ways".to_owned());
    }
    Finding::new(
        Severity::Note,
        "blocks",
        "cost_of_the_wish",
        format!(
            "Wished: {}. The layout costs {:.0} a year with a mean row of {:.0} m; without the wish {:.0} a year with a mean row of {:.0} m: the wish costs {:.0} a year.",
            wishes.join(", "),
            wished.yearly,
            wished.mean_m(),
            free.yearly,
            free.mean_m(),
            wished.yearly - free.yearly
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
