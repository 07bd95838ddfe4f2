//! Long-sections of the drains: the bed at even stations, at bends and at drops, as a table and drawn.

use super::{Heading, NOTHING, Results, document, sheet, view};
use crate::land::document::{Content, Document, FieldKind, Value};
use crate::land::drains::{Drain, DrainPlan, DrainStation};
use crate::publish::drawing::{Drawing, NAMESPACE};
use geo::Coord;
use std::fmt::Write as _;

use FieldKind::{Real, Text};

const COLUMNS: &[(&str, FieldKind)] = &[
    ("drain", Text),
    ("station_m", Real(1)),
    ("easting", Real(3)),
    ("northing", Real(3)),
    ("rl_ground", Real(3)),
    ("rl_invert", Real(3)),
    ("depth_m", Real(3)),
    ("drop_m", Real(3)),
    ("bottom_m", Real(2)),
    ("batter_h_per_v", Real(2)),
    ("grid", Text),
    ("height_datum", Text),
];

pub(super) fn documents(results: &Results<'_>, heading: &Heading<'_>, plan: &DrainPlan) -> Vec<Document> {
    let mut rows = Vec::new();
    let mut out = Vec::new();
    for drain in &plan.drains {
        let name = view::drain_name(drain.id);
        let stations = stations(&drain.stations, heading.table.station_spacing_m);
        rows.extend(stations.iter().map(|s| row(heading, drain, &name, s)));
        if stations.len() > 1 {
            let drawn = section(results, heading, drain, &name, &stations);
            out.push(document(&heading.path(&format!("long_section_{name}.svg")), Content::Text(drawn)));
        }
    }
    let table = sheet::table("drain_inverts", &format!("{}Drain beds", heading.mark()), COLUMNS, rows);
    out.insert(0, document(&heading.path("drain_inverts.csv"), Content::Text(super::csv_text(&table))));
    out
}

fn row(heading: &Heading<'_>, drain: &Drain, name: &str, s: &DrainStation) -> Vec<Value> {
    vec![
        format!("{}{name}", heading.mark()).into(),
        s.station_m.into(),
        s.at.x.into(),
        s.at.y.into(),
        s.ground_m.into(),
        s.invert_m.into(),
        (s.ground_m - s.invert_m).into(),
        if s.drop_m > 0.0 { s.drop_m.into() } else { NOTHING },
        s.bottom_m.into(),
        drain.section.batter_h_per_v.into(),
        heading.grid.as_str().into(),
        heading.heights.as_str().into(),
    ]
}

/// Head, mouth, bends, drops and every multiple of the spacing between them; the bed runs straight from station to
/// station, below a drop from its foot.
pub(super) fn stations(of: &[DrainStation], spacing_m: f64) -> Vec<DrainStation> {
    let mut out: Vec<DrainStation> = Vec::new();
    for (i, here) in of.iter().enumerate() {
        if i == 0 || i + 1 == of.len() || here.drop_m > 0.0 || bends(&of[i - 1..=i + 1]) || on_grade(here, spacing_m) {
            out.push(*here);
        }
        let Some(next) = of.get(i + 1) else { break };
        let run_m = next.station_m - here.station_m;
        let mut k = (here.station_m / spacing_m).floor() + 1.0;
        while k * spacing_m < next.station_m - 0.05 && run_m > 0.0 {
            let t = (k * spacing_m - here.station_m) / run_m;
            let between = |a: f64, b: f64| a + t * (b - a);
            out.push(DrainStation {
                station_m: k * spacing_m,
                at: Coord { x: between(here.at.x, next.at.x), y: between(here.at.y, next.at.y) },
                ground_m: between(here.ground_m, next.ground_m),
                invert_m: between(here.invert_m - here.drop_m, next.invert_m),
                drop_m: 0.0,
                bottom_m: between(here.bottom_m, next.bottom_m),
            });
            k += 1.0;
        }
    }
    out.dedup_by(|b, a| (b.station_m - a.station_m).abs() < 0.05 && b.drop_m == 0.0);
    out
}

fn on_grade(s: &DrainStation, spacing_m: f64) -> bool {
    let k = (s.station_m / spacing_m).round();
    (s.station_m - k * spacing_m).abs() < 0.05
}

/// Whether the line turns by more than a degree, or the bed changes its grade by more than 0.01 %.
fn bends(three: &[DrainStation]) -> bool {
    let [a, b, c] = three else { return false };
    let (u, v) = (b.at - a.at, c.at - b.at);
    let turn = (u.x * v.y - u.y * v.x).atan2(u.x * v.x + u.y * v.y).to_degrees();
    let grade = |p: &DrainStation, q: &DrainStation| {
        (p.invert_m - p.drop_m - q.invert_m) / (q.station_m - p.station_m).max(0.001)
    };
    turn.abs() > 1.0 || (grade(a, b) - grade(b, c)).abs() > 1e-4
}

const LEFT: f64 = 150.0;
const TOP: f64 = 130.0;
const TALL: f64 = 300.0;
/// Width a station needs in the table, drawing units.
const STEP: f64 = 17.0;

/// One sheet a drain: ground and bed over the stations, levels below, heights drawn larger than lengths.
fn section(
    results: &Results<'_>,
    heading: &Heading<'_>,
    drain: &Drain,
    name: &str,
    stations: &[DrainStation],
) -> String {
    let first = stations[0].station_m;
    let length_m = (stations[stations.len() - 1].station_m - first).max(1.0);
    let wide = (stations.len() as f64 * STEP).max(900.0);
    let low = stations.iter().map(|s| s.invert_m - s.drop_m).fold(f64::INFINITY, f64::min).floor();
    let high =
        stations.iter().map(|s| s.ground_m.max(s.invert_m)).fold(f64::NEG_INFINITY, f64::max).ceil().max(low + 1.0);
    let x = |station_m: f64| LEFT + (station_m - first) / length_m * wide;
    let y = |level_m: f64| TOP + (high - level_m) / (high - low) * TALL;
    let (width, height) = (LEFT + wide + 50.0, TOP + TALL + 300.0);
    let mut d = Drawing::new();
    grid(&mut d, (low, high), wide, y);
    let mut ground = String::new();
    let mut bed = String::new();
    for (i, s) in stations.iter().enumerate() {
        let letter = if i == 0 { 'M' } else { 'L' };
        let _ = write!(ground, "{letter}{:.1} {:.1}", x(s.station_m), y(s.ground_m));
        let _ = write!(bed, "{letter}{:.1} {:.1}", x(s.station_m), y(s.invert_m));
        if s.drop_m > 0.0 {
            let _ = write!(bed, "L{:.1} {:.1}", x(s.station_m), y(s.invert_m - s.drop_m));
        }
    }
    d.path(&ground, "fill=\"none\" stroke=\"#8c510a\" stroke-width=\"1.5\" stroke-dasharray=\"7 3\"");
    d.path(&bed, "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"2.2\"");
    levels(&mut d, stations, x);
    titles(&mut d, results, heading, drain, name, (wide / length_m, TALL / (high - low)));
    if heading.concept {
        stamp(&mut d, wide);
    }
    let id = format!("section-{}", drain.id);
    let title = format!("{}Long-section of drain {name}", heading.mark());
    let size = format!("<svg {NAMESPACE} width=\"{width:.0}\" height=\"{height:.0}\" ");
    d.finish(&id, &title, width, height).replacen("<svg ", &size, 1)
}

fn grid(d: &mut Drawing, (low, high): (f64, f64), wide: f64, y: impl Fn(f64) -> f64) {
    let step = if high - low > 8.0 {
        2.0
    } else if high - low > 3.0 {
        1.0
    } else {
        0.5
    };
    let mut level = low;
    while level <= high + 1e-9 {
        let at = y(level);
        d.path(&format!("M{LEFT} {at:.1}H{:.1}", LEFT + wide), "fill=\"none\" stroke=\"#ccc\" stroke-width=\"0.6\"");
        d.label((LEFT - 8.0, at + 4.0), &format!("{level:.1}"), 11.0, "text-anchor=\"end\"");
        level += step;
    }
}

/// Table below the section: one upright column of figures a station, set apart where stations lie close.
fn levels(d: &mut Drawing, stations: &[DrainStation], x: impl Fn(f64) -> f64) {
    const ROWS: [(&str, f64); 4] = [("Station m", 60.0), ("Ground", 125.0), ("Bed", 190.0), ("Depth m", 245.0)];
    for (title, down) in ROWS {
        d.label((LEFT - 20.0, TOP + TALL + down - 14.0), title, 12.0, "text-anchor=\"end\"");
    }
    let mut free = f64::NEG_INFINITY;
    for s in stations {
        let at = x(s.station_m).max(free);
        free = at + STEP - 3.0;
        let bottom = TOP + TALL;
        d.path(
            &format!("M{:.1} {bottom}L{at:.1} {:.1}", x(s.station_m), bottom + 14.0),
            "fill=\"none\" stroke=\"#888\" stroke-width=\"0.6\"",
        );
        let figures = [
            format!("{:.1}", s.station_m),
            level(s.ground_m),
            level(s.invert_m),
            format!("{:.2}", s.ground_m - s.invert_m),
        ];
        for (figure, (_, down)) in figures.iter().zip(ROWS) {
            let (cx, cy) = (at + 4.0, bottom + down);
            d.label((cx, cy), figure, 11.0, &format!("transform=\"rotate(-90 {cx:.1} {cy:.1})\""));
        }
    }
}

fn level(level_m: f64) -> String {
    format!("{level_m:.3}")
}

fn titles(
    d: &mut Drawing,
    results: &Results<'_>,
    heading: &Heading<'_>,
    drain: &Drain,
    name: &str,
    (across, up): (f64, f64),
) {
    let title = format!("{}Long-section of drain {name}, head to mouth", heading.mark());
    d.label((20.0, 32.0), &title, 20.0, "font-weight=\"600\"");
    let section = format!(
        "{}; bed at most {:.2} m wide, batters 1 in {:.1}, mean fall {}; heights drawn {:.0} times larger than lengths",
        clip(&results.site.name, 60),
        drain.section.bottom_m,
        drain.section.batter_h_per_v,
        drain.grade.label(),
        up / across
    );
    d.label((20.0, 54.0), &section, 12.0, "");
    let about = heading.lines();
    d.label((20.0, 74.0), &clip(&about[..2].join("; "), 160), 12.0, "");
    d.label((20.0, 92.0), &clip(&about[2..].join("; "), 160), 12.0, "");
    let caution = "Build from the mouth up. Locate buried services first. Not an engineer's certificate.";
    d.label((20.0, 110.0), &format!("{}. {caution}", results.plan_id), 12.0, "");
    d.path("M640 26h34", "fill=\"none\" stroke=\"#8c510a\" stroke-width=\"1.5\" stroke-dasharray=\"7 3\"");
    d.label((680.0, 30.0), "ground as formed", 12.0, "");
    d.path("M800 26h34", "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"2.2\"");
    d.label((840.0, 30.0), "bed", 12.0, "");
}

fn clip(text: &str, most: usize) -> String {
    if text.chars().count() <= most { text.to_owned() } else { text.chars().take(most - 1).chain(['…']).collect() }
}

fn stamp(d: &mut Drawing, wide: f64) {
    let (x, y) = (LEFT + wide / 2.0, TOP + TALL / 2.0 + 40.0);
    d.raw(&format!(
        "<text x=\"{x:.0}\" y=\"{y:.0}\" font-size=\"110\" font-weight=\"700\" text-anchor=\"middle\" fill=\"#444\" \
         fill-opacity=\"0.13\">CONCEPT</text>"
    ));
}
