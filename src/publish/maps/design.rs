//! The plan on the map: blocks and rows, earth, drains, debris.

use super::bands;
use super::canvas::{Canvas, Layer, Sample};
use super::ground::{NAME, on_paper, symbol};
use super::ink;
use crate::land::blocks::RowBlock;
use crate::land::drains::{Drain, GroundState};
use crate::land::typeface::width;
use crate::publish::labels::Type;
use crate::publish::{OptionResult, Results, sheet, view};
use crate::units::Bearing;
use geo::{Centroid, Contains, Coord, Distance, Euclidean, Line, Simplify};

/// Names of blocks.
const BLOCK_NAME: Type = Type { size: 3.4, bold: true, look: "fill=\"#222\"" };
/// Numbers of hauls.
const HAUL_NUMBER: Type = Type { size: 2.8, bold: true, look: "fill=\"#111\"" };
/// Numbers of drains.
const DRAIN_NAME: Type = Type { size: 2.3, bold: true, look: "fill=\"#8a3500\"" };

fn option<'a>(results: &Results<'a>) -> OptionResult<'a> {
    results.plan().copied().unwrap_or_default()
}

fn blocks<'a>(results: &Results<'a>) -> &'a [RowBlock] {
    option(results).blocks.map_or(&[], |b| &b.blocks)
}

/// The middle of a block on the paper.
fn middle(c: &Canvas, block: &RowBlock) -> (f64, f64) {
    c.frame.at(block.outline.centroid().map_or_else(Coord::default, Into::into))
}

/// Blocks with headlands and rows, new tracks and what got no rows.
pub(super) fn layout(c: &mut Canvas, results: &Results<'_>) {
    let Some(plan) = option(results).blocks else { return };
    for b in &plan.blocks {
        let path = c.frame.area(&b.outline);
        let shape = format!("{} data-block=\"{}\"", ink::BLOCK, b.id);
        c.on(Layer::Blocks).path(&path, &shape);
        for h in &b.headlands {
            let path = c.frame.area(&h.outline);
            c.on(Layer::Blocks).path(&path, ink::HEADLAND);
        }
        rows(c, b);
    }
    for left in &plan.left_out {
        let path = c.frame.area(&left.outline);
        c.on(Layer::Blocks).path(&path, ink::LEFT_OUT);
    }
    for t in &plan.tracks {
        let path = c.frame.line(&t.line);
        c.on(Layer::Standing).path(&path, ink::NEW_TRACK);
    }
    if !plan.blocks.is_empty() {
        c.key_area("row block", ink::BLOCK);
        c.key_area("headland", ink::HEADLAND);
        c.key_line("row (not every row is drawn)", ink::ROW);
    }
    if !plan.left_out.is_empty() {
        c.key_area("could be planted, but left without rows", ink::LEFT_OUT);
    }
    if !plan.tracks.is_empty() {
        c.key_line("new track", ink::NEW_TRACK);
    }
}

/// Rows so far apart that they do not run into a tint.
fn rows(c: &mut Canvas, block: &RowBlock) {
    let step = (1.5 / (block.row_spacing_m * c.frame.scale).max(0.003)).ceil().clamp(1.0, 500.0);
    let drawn = block.rows.iter().zip(lanes(block)).filter(|(_, lane)| lane % step == 0.0);
    // Finer than the pen is not seen.
    let pen_m = 0.1 / c.frame.scale;
    let path: String = drawn.map(|(r, _)| c.frame.line(&r.line.simplify(pen_m))).collect();
    c.on(Layer::Rows).path(&path, ink::ROW);
}

/// The lane of each row, counted across the block: rows in line with one another, as on both sides of a drain, share one,
/// so that a choice of lanes leaves no side bare.
fn lanes(block: &RowBlock) -> Vec<f64> {
    let mut lane = 0.0;
    let mut out = Vec::with_capacity(block.rows.len());
    for (i, row) in block.rows.iter().enumerate() {
        let along = row.low_end() - row.high_end();
        if let Some(last) = i.checked_sub(1).map(|i| row.middle() - block.rows[i].middle()) {
            let aside_m = (along.x * last.y - along.y * last.x).abs() / along.x.hypot(along.y).max(f64::EPSILON);
            lane += (aside_m / block.row_spacing_m).round();
        }
        out.push(lane);
    }
    out
}

/// Outlines of the blocks, and new tracks, under another subject.
pub(super) fn outlines(c: &mut Canvas, results: &Results<'_>) {
    for b in blocks(results) {
        let path = c.frame.area(&b.outline);
        c.on(Layer::Blocks).path(&path, ink::BLOCK_EDGE);
    }
    if !blocks(results).is_empty() {
        c.key_line("row block", ink::BLOCK_EDGE);
    }
}

/// What a block's label says under its name.
pub(super) type Words = fn(&OptionResult<'_>, &RowBlock) -> Vec<String>;

fn bearing_word(b: &RowBlock) -> &'static str {
    if b.bent.is_some() { "rows bend, mean bearing" } else { "bearing" }
}

/// Row direction and lengths.
pub(super) fn row_words(option: &OptionResult<'_>, b: &RowBlock) -> Vec<String> {
    let fall = view::earth(option, b.id).map(|e| format!(", fall {}", sheet::one_in(e.row_fall)));
    vec![
        format!("{}, {:.0} m middle length", sheet::counted(b.rows.len(), "row"), b.length_quantile_m(0.5)),
        format!("{} {:.1}\u{b0}{}", bearing_word(b), b.bearing.degrees(), fall.unwrap_or_default()),
    ]
}

/// Earth to move.
pub(super) fn earth_words(option: &OptionResult<'_>, b: &RowBlock) -> Vec<String> {
    view::earth(option, b.id).map_or_else(Vec::new, |e| {
        vec![
            format!("cut {} m\u{b3}, fill {} m\u{b3}", sheet::grouped(e.cut_m3), sheet::grouped(e.fill_m3)),
            format!("deepest cut {:.2} m, mean haul {:.0} m", e.max_cut_m, e.haul_mean_m),
        ]
    })
}

/// Nothing but the name.
pub(super) fn no_words(_: &OptionResult<'_>, _: &RowBlock) -> Vec<String> {
    Vec::new()
}

/// Names of blocks with words under them.
pub(super) fn block_names(c: &mut Canvas, results: &Results<'_>, words: Words) {
    let option = option(results);
    for b in blocks(results) {
        let at = middle(c, b);
        let more = words(&option, b);
        if !c.labels.on(Layer::Blocks as usize, &[&b.name], BLOCK_NAME, at, 16.0) {
            continue;
        }
        let below = (at.0, at.1 + 4.6);
        let kind = Type { size: 2.2, ..NAME };
        if has_room(c, b, &more, kind, below) {
            let lines: Vec<&str> = more.iter().map(String::as_str).collect();
            c.labels.on(Layer::Blocks as usize, &lines, kind, below, 6.0);
        }
    }
}

/// Whether words stand inside their block; a small block keeps its name only, its figures are in the tables.
fn has_room(c: &Canvas, block: &RowBlock, words: &[String], kind: Type, at: (f64, f64)) -> bool {
    let half = 0.5 * words.iter().map(|w| width(w, kind.bold, kind.size)).fold(0.0, f64::max);
    let tall = 0.6 * kind.size * words.len() as f64;
    let corners = [(-half, -tall), (half, -tall), (half, tall), (-half, tall)];
    !words.is_empty()
        && corners.iter().all(|k| block.outline.contains(&geo::Point::from(c.frame.land_at((at.0 + k.0, at.1 + k.1)))))
}

/// Direction of the rows near a place.
fn bearing_near(block: &RowBlock, at: Coord<f64>) -> Bearing {
    if block.bent.is_none() {
        return block.bearing;
    }
    let away = |l: &Line<f64>| Euclidean.distance(&geo::Point(at), l);
    let pieces = block.rows.iter().flat_map(|r| r.line.lines());
    let nearest = pieces.min_by(|a, b| away(a).total_cmp(&away(b)));
    nearest.map_or(block.bearing, |l| Bearing::from_east_north(l.dx(), l.dy()))
}

/// Arrows down the rows.
pub(super) fn row_arrows(c: &mut Canvas, results: &Results<'_>) {
    let look = "stroke=\"#222\" stroke-width=\"0.55\"";
    for b in blocks(results) {
        let (x, y) = middle(c, b);
        let at = (x, y - 5.5);
        c.labels.keep_free(at, 4.5);
        c.arrow(Layer::Arrows, at, bearing_near(b, c.frame.land_at(at)).degrees(), 7.5, look);
    }
    if !blocks(results).is_empty() {
        c.key(
            "down the rows",
            Sample::Symbol(format!("<path d=\"M-2 0H2M0.7 -0.8L2 0L0.7 0.8\" fill=\"none\" {look}/>")),
        );
    }
}

/// Cut and fill.
pub(super) fn earth(c: &mut Canvas, results: &Results<'_>, prefix: &str) {
    let Some(levelling) = option(results).levelling else { return };
    let raster = &levelling.cut_fill.0;
    if raster.count_valid() == 0 {
        return;
    }
    bands::draw(c, raster, 1.0, &ink::CUT, prefix);
    bands::draw(c, raster, -1.0, &ink::FILL, prefix);
}

/// The main hauls of each block, heavier where more is carried; those of one block can be numbered. Hauls that would be a
/// dot on the paper are left out.
pub(super) fn haul(c: &mut Canvas, results: &Results<'_>, numbered: Option<&RowBlock>) {
    let option = option(results);
    let mut any = false;
    for block in blocks(results) {
        let Some(earth) = view::earth(&option, block.id) else { continue };
        let most = earth.hauls.iter().map(|h| h.volume_m3).fold(0.0, f64::max);
        for (i, haul) in view::main_hauls(earth).enumerate() {
            let (a, z) = (c.frame.at(haul.from), c.frame.at(haul.to));
            let long = (z.0 - a.0).hypot(z.1 - a.1);
            if numbered.is_some_and(|b| b.id == block.id) {
                c.labels.beside(Layer::Arrows as usize, &[&(i + 1).to_string()], HAUL_NUMBER, a, 0.6);
            }
            if long < 2.5 {
                continue;
            }
            let mid = (0.5 * (a.0 + z.0), 0.5 * (a.1 + z.1));
            let look = format!("stroke=\"#111\" stroke-width=\"{:.2}\"", 0.25 + 0.55 * haul.volume_m3 / most);
            c.arrow(Layer::Arrows, mid, (z.0 - a.0).atan2(a.1 - z.1).to_degrees(), long, &look);
            c.labels.keep_free(mid, 2.0);
            c.labels.shun(&[a, z]);
            any = true;
        }
    }
    if any {
        c.key(
            "main hauls, cut to fill; heavier carries more",
            Sample::Symbol(
                "<path d=\"M-2 0H2M0.7 -0.8L2 0L0.7 0.8\" fill=\"none\" stroke=\"#111\" stroke-width=\"0.6\"/>"
                    .to_owned(),
            ),
        );
    }
}

/// Drains with an arrow the way the water runs; `subject` draws them heavy.
pub(super) fn drains(c: &mut Canvas, results: &Results<'_>, subject: bool) {
    let Some(plan) = option(results).drains else { return };
    let look = if subject { ink::DRAIN } else { ink::DRAIN_THIN };
    for d in &plan.drains {
        let path = c.frame.line(&d.line);
        c.on(Layer::Drains).path(&path, &format!("{look} data-drain=\"{}\"", d.id));
        let line = on_paper(c, &d.line);
        c.labels.shun(&line);
    }
    if !plan.drains.is_empty() {
        c.key_line("drain", look);
    }
    if !subject {
        return;
    }
    let arrow = "stroke=\"#8a3500\" stroke-width=\"0.5\"";
    for d in &plan.drains {
        if let Some((at, deg)) = direction(d) {
            let p = c.frame.at(at);
            c.arrow(Layer::Drains, p, deg, 3.6, arrow);
            c.labels.keep_free(p, 1.6);
        }
    }
    c.key(
        "the way a drain runs",
        Sample::Symbol(format!("<path d=\"M-2 0H2M0.7 -0.8L2 0L0.7 0.8\" fill=\"none\" {arrow}/>")),
    );
}

/// Where water still stands in furrows and goes over ridges once the land is formed and drained.
pub(super) fn among_rows(c: &mut Canvas, results: &Results<'_>) {
    let Some(plan) = option(results).drains else { return };
    let after = |state: &GroundState| *state == GroundState::After;
    let ponds: String = plan
        .row_ponds
        .iter()
        .filter(|p| after(&p.state))
        .flat_map(|p| &p.furrows.0)
        .map(|furrow| c.frame.line(furrow))
        .collect();
    if !ponds.is_empty() {
        c.on(Layer::Rows).path(&ponds, ink::ROW_POND);
        c.key_line("water stands in a furrow, after the works", ink::ROW_POND);
    }
    let spills: Vec<(f64, f64)> =
        plan.row_spills.iter().filter(|s| after(&s.state)).map(|s| c.frame.at(s.at)).collect();
    for (x, y) in &spills {
        c.on(Layer::Rows).path(&format!("M{x:.2} {y:.2}l1.2 2.1h-2.4Z"), ink::ROW_SPILL);
    }
    if !spills.is_empty() {
        let sign = format!("<path d=\"M0 -1.1L1.2 1H-1.2Z\" {}/>", ink::ROW_SPILL);
        c.key("water goes over the ridge between two rows, after the works", Sample::Symbol(sign));
    }
}

/// The middle of a drain and the bearing of its water there.
fn direction(d: &Drain) -> Option<(Coord<f64>, f64)> {
    let i = d.line.0.len().checked_sub(2)? / 2;
    let (a, b) = (d.line.0.get(i)?, d.line.0.get(i + 1)?);
    Some(((*a + *b) / 2.0, (b.x - a.x).atan2(b.y - a.y).to_degrees()))
}

/// Which drains a map names.
pub(super) type Named<'a> = &'a dyn Fn(&Drain) -> bool;

/// Numbers of drains; with levels: the bed at head and mouth.
pub(super) fn drain_names(c: &mut Canvas, results: &Results<'_>, levels: bool, named: Named<'_>) {
    let drains: Vec<&Drain> =
        option(results).drains.map_or(&[][..], |p| &p.drains).iter().filter(|d| named(d)).collect();
    for d in &drains {
        let line = on_paper(c, &d.line);
        c.labels.along(Layer::Drains as usize, &[&view::drain_name(d.id)], DRAIN_NAME, &line, 0.5);
    }
    if levels {
        bed_levels(c, &drains);
    }
}

/// Bed levels at heads and mouths: where drains meet, one label for all of them, highest first.
fn bed_levels(c: &mut Canvas, drains: &[&Drain]) {
    let mut places: Vec<((f64, f64), Vec<String>)> = Vec::new();
    let mut ends: Vec<_> = drains.iter().flat_map(|d| [d.stations.first(), d.stations.last()]).flatten().collect();
    ends.sort_by(|a, b| b.invert_m.total_cmp(&a.invert_m).then(a.at.x.total_cmp(&b.at.x)));
    for station in ends {
        let p = c.frame.at(station.at);
        let level = format!("{:.2}", station.invert_m);
        match places.iter_mut().find(|(q, _)| (q.0 - p.0).hypot(q.1 - p.1) < 1.2) {
            Some((_, levels)) if levels.contains(&level) => {}
            Some((_, levels)) => levels.push(level),
            None => places.push((p, vec![level])),
        }
    }
    for (p, levels) in &places {
        c.on(Layer::Drains).raw(&format!(
            "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"0.6\" fill=\"#fff\" stroke=\"#8a3500\" stroke-width=\"0.3\"/>",
            p.0, p.1
        ));
        let words = format!("IL {}", levels.join(" / "));
        let kind = Type { size: 1.9, bold: false, look: "fill=\"#5c2400\"" };
        c.labels.beside(Layer::Drains as usize, &[&words], kind, *p, 0.8);
    }
    c.key(
        "bed level at head or mouth (IL, metres)",
        Sample::Symbol("<circle r=\"0.9\" fill=\"#fff\" stroke=\"#8a3500\" stroke-width=\"0.35\"/>".to_owned()),
    );
}

/// Places where a drain meets something.
pub(super) fn crossings(c: &mut Canvas, results: &Results<'_>) {
    let drawn = "<path d=\"M-1.1 -1.1L1.1 1.1M1.1 -1.1L-1.1 1.1\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.6\"/>";
    for x in option(results).drains.map_or(&[][..], |p| &p.crossings) {
        let name = view::crossing_name(x.id);
        symbol(
            c,
            Layer::Drains,
            x.at,
            drawn,
            "crossing",
            &[&name],
            Type { size: 2.0, bold: true, look: "fill=\"#000\"" },
        );
    }
}

/// Windrows and heaps; heaps are numbered everywhere, or in one block only.
pub(super) fn debris(c: &mut Canvas, results: &Results<'_>, only: Option<&RowBlock>) {
    let Some(plan) = option(results).clearing else { return };
    for w in &plan.windrows {
        let look = if w.stays { ink::WINDROW_STAYS } else { ink::WINDROW };
        let path = c.frame.line(&w.line);
        c.on(Layer::Debris).path(&path, look);
        c.key_line(
            if w.stays { "windrow that may stay along a bank" } else { "windrow, gaps left for water and machines" },
            look,
        );
    }
    let drawn = "<circle r=\"1.1\" fill=\"#e69f00\" stroke=\"#5b3a1e\" stroke-width=\"0.4\"/>";
    for h in &plan.heaps {
        let label = format!("H{}", h.id);
        let words = label.as_str();
        let named = only.is_none_or(|b| b.outline.contains(&geo::Point::from(h.at)));
        symbol(
            c,
            Layer::Debris,
            h.at,
            drawn,
            "heap to be burnt, with its number",
            if named { std::slice::from_ref(&words) } else { &[] },
            Type { size: 1.9, ..NAME },
        );
    }
}

/// Blocks coloured by soil loss, before (`0`), bare (`1`) or after (`2`), the figure in each.
pub(super) fn soil(c: &mut Canvas, results: &Results<'_>, state: usize, prefix: &str) {
    let Some(report) = option(results).erosion else { return };
    for b in blocks(results) {
        let Some(loss) = report.blocks.iter().find(|l| l.block == b.id) else { continue };
        let value = [loss.before_t_ha, loss.bare_t_ha, loss.after_t_ha][state];
        let Some(class) = ink::SOIL.iter().rev().find(|k| value >= k.from) else { continue };
        let path = c.frame.area(&b.outline);
        c.on(Layer::Blocks).path(&path, &format!("fill=\"{}\" stroke=\"#5d4310\" stroke-width=\"0.25\"", class.colour));
        if !class.pattern.is_empty() {
            c.on(Layer::Blocks).path(&path, &format!("fill=\"url(#{prefix}-{})\"", class.pattern));
        }
        let at = middle(c, b);
        c.labels.on(
            Layer::Blocks as usize,
            &[&b.name, &format!("{value:.1}")],
            Type { size: 2.6, bold: true, look: "fill=\"#222\"" },
            at,
            8.0,
        );
    }
    // The legend holds the classes of the map before and of the map after, which share it.
    let on_a_map = |class: &ink::Class| {
        let of = |v: f64| ink::SOIL.iter().rev().find(|k| v >= k.from).is_some_and(|k| k.words == class.words);
        report.blocks.iter().any(|l| of(l.before_t_ha) || of(l.after_t_ha))
    };
    for class in ink::SOIL.iter().filter(|k| on_a_map(k)) {
        let over = if class.pattern.is_empty() {
            String::new()
        } else {
            format!(" data-over=\"url(#{prefix}-{})\"", class.pattern)
        };
        c.key_area(class.words, &format!("fill=\"{}\" stroke=\"#777\" stroke-width=\"0.15\"{over}", class.colour));
    }
}

/// Blocks under the id their earthworks have in the budget.
pub(super) fn item_names(c: &mut Canvas, results: &Results<'_>) {
    for b in blocks(results) {
        let at = middle(c, b);
        c.labels.on(Layer::Blocks as usize, &[&format!("LV-{}", b.name)], BLOCK_NAME, at, 16.0);
    }
}
