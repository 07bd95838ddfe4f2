//! What the user decides about the rows.

use super::params::BlocksParams;
use crate::finding::{Problem, Problems};
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
