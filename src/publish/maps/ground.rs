//! The place as it is: boundary, water, what stands there, how the ground lies.

use super::bands;
use super::canvas::{Canvas, Layer, Sample};
use super::ink;
use crate::land::site::{KeepArea, KeepKind};
use crate::publish::Results;
use crate::publish::labels::Type;
use geo::{Centroid, Coord, LineString, MultiPolygon};

/// Names of water.
pub(super) const WATER_NAME: Type = Type { size: 2.6, bold: false, look: "fill=\"#004c78\" font-style=\"italic\"" };
/// Names of other things.
pub(super) const NAME: Type = Type { size: 2.3, bold: false, look: "fill=\"#333\"" };
/// Names of what is kept.
const KEPT: Type = Type { size: 2.3, bold: false, look: "fill=\"#00553f\"" };
/// Heights of contours.
const HEIGHT: Type = Type { size: 1.8, bold: false, look: "fill=\"#6d5a38\"" };

/// Points of a line on the paper, inside the frame.
pub(super) fn on_paper(c: &Canvas, line: &LineString<f64>) -> Vec<(f64, f64)> {
    line.0.iter().map(|p| c.frame.at(*p)).filter(|p| c.frame.holds(*p)).collect()
}

/// The boundary and parcel lines; parcel names when there are several.
pub(super) fn boundary(c: &mut Canvas, results: &Results<'_>, names: bool) {
    let site = results.site;
    if site.parcels.len() > 1 {
        for parcel in &site.parcels {
            let path = c.frame.areas(&parcel.outline);
            c.on(Layer::Boundary).path(&path, ink::PARCEL);
        }
        c.key_line("parcel line", ink::PARCEL);
    }
    let path = c.frame.areas(&site.boundary);
    c.on(Layer::Boundary).path(&path, ink::BOUNDARY);
    c.key_line("property boundary", ink::BOUNDARY);
    if names {
        for parcel in &site.parcels {
            if let Some(at) = middle(&parcel.outline) {
                let at = c.frame.at(at);
                let kind = Type { size: 3.0, bold: true, look: "fill=\"#222\"" };
                c.labels.on(Layer::Boundary as usize, &[&parcel.name], kind, at, 18.0);
            }
        }
    }
}

fn middle(area: &MultiPolygon<f64>) -> Option<Coord<f64>> {
    area.centroid().map(Into::into)
}

/// Mapped waterways with their names.
pub(super) fn waterways(c: &mut Canvas, results: &Results<'_>, names: bool) {
    let waterways = &results.site.layers.waterways;
    for w in waterways {
        if let Some(banks) = &w.banks {
            let path = c.frame.areas(banks);
            c.on(Layer::Water).path(&path, ink::BANKS);
        }
        let path = c.frame.line(&w.line);
        c.on(Layer::Water).path(&path, ink::WATERWAY);
    }
    if !waterways.is_empty() {
        c.key_line("mapped waterway", ink::WATERWAY);
    }
    for w in waterways.iter().filter(|_| names) {
        let line = on_paper(c, &w.line);
        c.labels.along(Layer::Water as usize, &[&w.name], WATER_NAME, &line, 0.9);
    }
}

fn kept_as(area: &KeepArea) -> String {
    let kind = match area.kind {
        KeepKind::Vegetation => "vegetation kept",
        KeepKind::Wetland => "wetland",
        KeepKind::Heritage => "heritage place",
        KeepKind::Structure => "structure",
        KeepKind::Other => "kept",
    };
    if area.reason.is_empty() { kind.to_owned() } else { area.reason.clone() }
}

/// Areas kept and strips along water.
pub(super) fn keep(c: &mut Canvas, results: &Results<'_>, prefix: &str, names: bool) {
    if let Some(water) = results.water.filter(|w| !w.buffers.is_empty()) {
        let look = ink::buffer(prefix);
        for b in &water.buffers {
            let path = c.frame.areas(&b.outline);
            c.on(Layer::Keep).path(&path, &look);
        }
        c.key_area("strip kept free along water", &look);
    }
    let areas = &results.site.layers.keep_areas;
    let look = ink::keep(prefix);
    for k in areas {
        let path = c.frame.areas(&k.outline);
        c.on(Layer::Keep).path(&path, &look);
    }
    if !areas.is_empty() {
        c.key_area("area kept", &look);
    }
    for k in areas.iter().filter(|_| names) {
        if let Some(at) = middle(&k.outline) {
            let at = c.frame.at(at);
            c.labels.on(Layer::Keep as usize, &[&kept_as(k)], KEPT, at, 8.0);
        }
    }
}

/// Widths of the strips along water, written at them.
pub(super) fn strip_widths(c: &mut Canvas, results: &Results<'_>) {
    for b in results.water.map_or(&[][..], |w| &w.buffers) {
        let from = if b.from_bank { "bank" } else { "centre line" };
        let words = [b.protects.clone(), format!("{:.0} m from {from}", b.width_m)];
        let lines: Vec<&str> = words.iter().map(String::as_str).collect();
        if let Some(ring) = b.outline.0.first() {
            let line = on_paper(c, ring.exterior());
            c.labels.along(Layer::Keep as usize, &lines, Type { size: 2.0, ..KEPT }, &line, 0.8);
        }
    }
}

/// Contours, the heavy ones with their height.
pub(super) fn contours(c: &mut Canvas, results: &Results<'_>, heights: bool) {
    let Some(terrain) = results.terrain.filter(|t| !t.contours.is_empty()) else { return };
    for contour in &terrain.contours {
        let look = if contour.major { ink::CONTOUR_MAJOR } else { ink::CONTOUR };
        let path: String = contour.lines.0.iter().map(|l| c.frame.line(l)).collect();
        c.on(Layer::Contours).path(&path, look);
    }
    c.key_line(&format!("contour, every {} m", terrain.contour_interval_m), ink::CONTOUR);
    if terrain.contours.iter().any(|l| l.major) {
        c.key_line(&format!("contour, every {} m", 5.0 * terrain.contour_interval_m), ink::CONTOUR_MAJOR);
    }
    for contour in terrain.contours.iter().filter(|l| l.major && heights) {
        let mut long: Vec<Vec<(f64, f64)>> = contour.lines.0.iter().map(|l| on_paper(c, l)).collect();
        long.retain(|l| l.len() > 30);
        long.sort_by_key(|l| std::cmp::Reverse(l.len()));
        for line in long.iter().take(2) {
            let decimals = usize::from(terrain.contour_interval_m.fract() > 1e-9);
            let words = format!("{:.*} m", decimals, contour.level_m);
            c.labels.along(Layer::Contours as usize, &[&words], HEIGHT, line, -0.9);
        }
    }
}

/// Lines of one kind: what the legend says, how they look, each line with its name.
type LineGroup<'a> = (&'static str, &'static str, Vec<(&'a LineString<f64>, String)>);

/// Tracks, wires, pipes, neighbours' drains.
pub(super) fn standing(c: &mut Canvas, results: &Results<'_>, names: bool) {
    let layers = &results.site.layers;
    let groups: [LineGroup<'_>; 4] = [
        ("road or track", ink::TRACK, layers.tracks.iter().map(|t| (&t.line, t.name.clone())).collect()),
        (
            "overhead power line",
            ink::POWER,
            layers.power_lines.iter().map(|p| (&p.line, clearance(p.clearance_m))).collect(),
        ),
        (
            "buried pipe or cable",
            ink::BURIED,
            layers.buried_services.iter().map(|b| (&b.line, b.kind.clone())).collect(),
        ),
        (
            "neighbour's drain",
            ink::NEIGHBOUR,
            layers.neighbour_drains.iter().map(|n| (&n.line, n.name.clone())).collect(),
        ),
    ];
    for (words, look, lines) in &groups {
        for (line, _) in lines {
            let path = c.frame.line(line);
            c.on(Layer::Standing).path(&path, look);
        }
        if !lines.is_empty() {
            c.key_line(words, look);
        }
    }
    for (line, name) in groups.iter().flat_map(|g| &g.2).filter(|(_, n)| names && !n.is_empty()) {
        let line = on_paper(c, line);
        c.labels.along(Layer::Standing as usize, &[name], NAME, &line, 0.7);
    }
}

fn clearance(m: Option<f64>) -> String {
    m.map_or_else(|| "power line, height not known".to_owned(), |m| format!("power line, wires {m} m up"))
}

/// Lines of the old trees, old control points, where the crop is loaded and the water comes from.
pub(super) fn found_there(c: &mut Canvas, results: &Results<'_>) {
    let layers = &results.site.layers;
    for line in &layers.old_tree_rows {
        let path = c.frame.line(line);
        c.on(Layer::Standing).path(&path, ink::OLD_ROW);
    }
    if !layers.old_tree_rows.is_empty() {
        c.key_line("old tree row", ink::OLD_ROW);
    }
    for p in &layers.control_points {
        let words = format!("{} {:.3} m", p.name, p.height_m);
        symbol(c, Layer::Standing, p.at, CONTROL, "point of known height", &[&words], NAME);
    }
    if let Some(at) = layers.loading_place {
        symbol(c, Layer::Standing, at, LOADING, "loading place", &["loading place"], NAME);
    }
    if let Some(at) = layers.water_supply {
        symbol(c, Layer::Standing, at, SUPPLY, "water supply", &["water supply"], NAME);
    }
}

/// Point of known height.
const CONTROL: &str = "<path d=\"M0 -1.5L1.3 0.9H-1.3Z\" fill=\"#fff\" stroke=\"#222\" stroke-width=\"0.3\"/>";
/// Loading place.
const LOADING: &str = "<path d=\"M-1.3 -1.3H1.3V1.3H-1.3Z\" fill=\"#f0e442\" stroke=\"#222\" stroke-width=\"0.3\"/>";
/// Water supply.
const SUPPLY: &str = "<path d=\"M0 -1.6L1.6 0L0 1.6L-1.6 0Z\" fill=\"#56b4e9\" stroke=\"#222\" stroke-width=\"0.3\"/>";
/// Outlet.
pub(super) const OUTLET: &str = "<circle r=\"1.7\" fill=\"#fff\" stroke=\"#0072b2\" stroke-width=\"0.7\"/>";

/// A symbol with its label and legend line.
pub(super) fn symbol(
    c: &mut Canvas,
    layer: Layer,
    at: Coord<f64>,
    drawn: &str,
    words: &str,
    label: &[&str],
    kind: Type,
) {
    let (x, y) = c.frame.at(at);
    if !c.frame.holds((x, y)) {
        return;
    }
    c.on(layer).raw(&format!("<g transform=\"translate({x:.2} {y:.2})\">{drawn}</g>"));
    c.key(words, Sample::Symbol(drawn.to_owned()));
    c.labels.keep_free((x, y), 3.0);
    if !label.is_empty() {
        c.labels.beside(layer as usize, label, kind, (x, y), 1.9);
    }
}

/// Outlets with their level.
pub(super) fn outlets(c: &mut Canvas, results: &Results<'_>) {
    for o in results.water.map_or(&[][..], |w| &w.outlets) {
        let (x, y) = c.frame.at(o.at);
        c.labels.keep_free((x, y), 3.4);
        let level = format!("bed not below {:.2} m{}", o.level_m, if o.assumed { ", assumed" } else { "" });
        symbol(c, Layer::Drains, o.at, OUTLET, "outlet", &[], NAME);
        c.labels.beside(
            Layer::Drains as usize,
            &[&o.name, &level],
            Type { size: 2.3, bold: true, look: "fill=\"#004c78\"" },
            (x, y),
            2.2,
        );
    }
}

/// Slope in classes.
pub(super) fn slope(c: &mut Canvas, results: &Results<'_>, prefix: &str) {
    if let Some(terrain) = results.terrain {
        bands::draw(c, &terrain.slope.0, 1.0, &ink::SLOPE, prefix);
    }
}

/// Arrows the way the ground falls, one in every square of the paper.
pub(super) fn fall_arrows(c: &mut Canvas, results: &Results<'_>) {
    let Some(terrain) = results.terrain else { return };
    let land = c.frame.land();
    let step_m = 11.0 / c.frame.scale;
    let look = "stroke=\"#24466b\" stroke-width=\"0.3\"";
    let mut y = land.max().y - 0.5 * step_m;
    let mut drawn = false;
    while y > land.min().y {
        let mut x = land.min().x + 0.5 * step_m;
        while x < land.max().x {
            let at = Coord { x, y };
            if let Some(deg) = broad_fall(results, at, step_m) {
                let p = c.frame.at(at);
                c.arrow(Layer::Arrows, p, deg, 4.2, look);
                drawn = true;
            }
            x += step_m;
        }
        y -= step_m;
    }
    if drawn && !terrain.contours.is_empty() {
        c.key(
            "the way the ground falls",
            Sample::Symbol(format!("<path d=\"M0 2V-2M-0.8 -0.7L0 -2L0.8 -0.7\" fill=\"none\" {look}/>")),
        );
    }
}

/// Bearing of the broad fall round a place, from heights a step apart; `None` off the property or on the level.
fn broad_fall(results: &Results<'_>, at: Coord<f64>, step_m: f64) -> Option<f64> {
    use geo::Contains;
    if !results.site.boundary.contains(&geo::Point::from(at)) {
        return None;
    }
    let heights = &results.ground?.concept.0;
    let h = |dx: f64, dy: f64| heights.bilinear(Coord { x: at.x + dx * step_m, y: at.y + dy * step_m });
    let (east, north) = (h(0.5, 0.0)? - h(-0.5, 0.0)?, h(0.0, 0.5)? - h(0.0, -0.5)?);
    (east.hypot(north) / step_m > 2e-4).then(|| (-east).atan2(-north).to_degrees())
}

/// Standing water, the lines water takes, and where it enters and leaves.
pub(super) fn standing_water(c: &mut Canvas, results: &Results<'_>, prefix: &str) {
    let Some(water) = results.water else { return };
    bands::draw(c, &water.pond_depth, 1.0, &ink::POND, prefix);
    for line in &water.drainage_lines {
        let path = c.frame.line(&line.line);
        c.on(Layer::Water).path(&path, ink::DRAINAGE);
    }
    if !water.drainage_lines.is_empty() {
        c.key_line("line where water gathers", ink::DRAINAGE);
    }
    for pond in water.ponds.iter().take(12) {
        if let Some(at) = middle(&pond.outline) {
            let at = c.frame.at(at);
            let words =
                [format!("pond {}", pond.id), format!("{:.2} m deep, {:.0} m\u{b3}", pond.max_depth_m, pond.volume_m3)];
            let lines: Vec<&str> = words.iter().map(String::as_str).collect();
            c.labels.beside(Layer::Bands as usize, &lines, Type { size: 2.1, ..WATER_NAME }, at, 1.5);
        }
    }
    let crossings =
        [("water comes in", "in", "#0072b2", &water.inflows), ("water leaves", "out", "#d55e00", &water.outflows)];
    for (words, short, colour, list) in crossings {
        for x in list.iter().filter(|x| x.catchment_ha >= 0.5).take(12) {
            let drawn = format!("<circle r=\"1\" fill=\"{colour}\" stroke=\"#fff\" stroke-width=\"0.3\"/>");
            let label = format!("{short} {:.1} ha", x.catchment_ha);
            symbol(c, Layer::Water, x.at, &drawn, words, &[&label], Type { size: 2.0, ..NAME });
        }
    }
}
