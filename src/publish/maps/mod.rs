//! The map set: A3 sheets of one extent and one look, drawn from one model, and the interactive map of the page.

mod bands;
mod canvas;
mod design;
mod ground;
mod ink;
mod sheet;
mod small;
mod study;

use canvas::Canvas;
pub(super) use sheet::{PAPER, Sheet};
pub(super) use small::{Trade, block_map, overview, page_map};
pub(super) use study::{by_piece, chart as study_chart, nice};

use super::drawing::{Drawing, Frame};
use super::{Results, sheet as cells, view};
use crate::land::clearing::ClearingPlan;
use crate::land::drains::GroundState;
use geo::{Area, BoundingRect, Coord, Rect};
use sheet::{MAP_AT, MAP_SIZE, Words};

/// Cautions of every sheet with works on it.
const DIG: &str = "Locate buried services before any digging; keep the distance the network owner sets from overhead wires, with a spotter.";
const ACID: &str = "Low coastal ground may hold acid sulfate soil: have it tested before cutting or draining.";
const WATER_LAW: &str = "New or larger discharge may need the consent of neighbours and the authority; works on a mapped waterway may need fish-passage approval.";
const FIRE: &str = "Burn only with the permit and in the weather the fire authority allows, never unattended.";
const TREES: &str =
    "Stems under tension whip back at cab and bystanders: keep people and other machines at least 50 m away.";
const EDGES: &str = "Machines roll over at drain edges; batters fall in. Do not enter drains in flow.";
const KEEPS: &str =
    "Buffers and areas kept follow the file given; check them against the official maps and permits before clearing.";
const NOT_ALL: &str = "What was not given was not checked: see the list in the report.";
const RUSLE: &str = "The soil-loss equation was made for hillslopes; under about 0.5 % fall read the figures as a comparison, not as a load.";
const BEDS: &str = "The ground model may still see tree beds and vegetation: survey again after clearing.";

/// The extent every sheet shows.
fn extent(results: &Results<'_>) -> Option<Rect<f64>> {
    results.site.boundary.bounding_rect()
}

/// A full-size map with the prefix its patterns go by.
fn canvas(results: &Results<'_>) -> Option<Canvas> {
    let mut c = Canvas::new(Frame::round_scale(extent(results)?, MAP_AT, MAP_SIZE));
    for ring in results.site.boundary.iter().map(geo::Polygon::exterior) {
        let line = ground::on_paper(&c, ring);
        c.labels.shun(&line);
    }
    Some(c)
}

/// A sheet before it is numbered.
struct Draft {
    maps: Vec<Canvas>,
    words: Words,
    charts: Option<Drawing>,
}

type Maker = fn(&Results<'_>) -> Option<Draft>;

/// The sheets in order; one that has nothing to show is left out.
const SHEETS: [Maker; 10] = [existing, slope, water, layout, study::sheet, earthworks, drains, debris, soil, works];

/// The whole set.
pub(super) fn set(results: &Results<'_>) -> Vec<Sheet> {
    numbered(results, &SHEETS)
}

/// The sheets a grant officer asks for, in their order.
pub(super) fn grant_set(results: &Results<'_>) -> Vec<Sheet> {
    numbered(results, &[existing, water, layout, works, soil])
}

fn numbered(results: &Results<'_>, makers: &[Maker]) -> Vec<Sheet> {
    let drafts: Vec<Draft> = makers.iter().filter_map(|make| make(results)).collect();
    let count = drafts.len();
    drafts.into_iter().enumerate().map(|(i, d)| sheet::finished(results, d, i + 1, count)).collect()
}

fn hectares(m2: f64) -> String {
    format!("{:.1} ha", m2 / 1e4)
}

fn existing(results: &Results<'_>) -> Option<Draft> {
    let mut c = canvas(results)?;
    ground::contours(&mut c, results, true);
    ground::keep(&mut c, results, "m", true);
    ground::waterways(&mut c, results, true);
    ground::found_there(&mut c, results);
    ground::standing(&mut c, results, true);
    ground::boundary(&mut c, results, true);
    let site = results.site;
    let centre = extent(results)?.center();
    let gross = site.geodesy.ground_area_m2(centre, site.boundary.unsigned_area());
    let mut facts = vec![
        format!("Property of {} in {}.", hectares(gross), cells::counted(site.parcels.len(), "parcel")),
        format!("Middle of the property: {} mE, {} mN.", cells::grouped(centre.x), cells::grouped(centre.y)),
    ];
    facts.push(corners(results));
    if !site.not_given.is_empty() {
        facts
            .push(format!("Not given, so not shown and not checked: {}.", site.not_given.join(", ").replace('_', " ")));
    }
    let words = Words {
        file: "existing",
        title: "Locality and existing condition",
        facts,
        cautions: vec![KEEPS, NOT_ALL, BEDS],
    };
    Some(Draft { maps: vec![c], words, charts: None })
}

/// The outermost corners of the property, for forms that ask for them.
fn corners(results: &Results<'_>) -> String {
    let points: Vec<Coord<f64>> = results.site.boundary.iter().flat_map(|p| p.exterior().0.iter().copied()).collect();
    let best = |f: fn(&Coord<f64>) -> f64| points.iter().max_by(|a, b| f(a).total_cmp(&f(b)));
    let named = [("N", best(|p| p.y)), ("E", best(|p| p.x)), ("S", best(|p| -p.y)), ("W", best(|p| -p.x))];
    let each: Vec<String> =
        named.iter().filter_map(|(n, p)| p.map(|p| format!("{n} {:.0} / {:.0}", p.x, p.y))).collect();
    format!("Outermost corners, east / north: {}.", each.join("; "))
}

fn slope(results: &Results<'_>) -> Option<Draft> {
    let terrain = results.terrain?;
    let mut c = canvas(results)?;
    ground::slope(&mut c, results, "m");
    ground::contours(&mut c, results, false);
    ground::waterways(&mut c, results, true);
    ground::fall_arrows(&mut c, results);
    ground::boundary(&mut c, results, false);
    let mut facts = vec![format!(
        "Median fall of the broad lie of the land: {:.2} % (1 in {:.0}).",
        100.0 * terrain.median_slope_ratio,
        1.0 / terrain.median_slope_ratio.max(1e-6)
    )];
    if let Some(ground) = results.ground {
        facts.push(format!(
            "The slope is that of the ground as smoothed over {:.0} m to take out old tree beds; banks and tracks stay.",
            ground.smoothed_over_m
        ));
    }
    facts.push(
        "Land under 0.1 % holds water between showers; rows need about 0.1 % or more along them (common practice)."
            .to_owned(),
    );
    let words = Words { file: "slope", title: "Slope and fall", facts, cautions: vec![BEDS, NOT_ALL] };
    Some(Draft { maps: vec![c], words, charts: None })
}

fn water(results: &Results<'_>) -> Option<Draft> {
    let water = results.water?;
    let mut c = canvas(results)?;
    ground::keep(&mut c, results, "m", true);
    ground::standing_water(&mut c, results, "m");
    ground::waterways(&mut c, results, true);
    ground::outlets(&mut c, results);
    ground::strip_widths(&mut c, results);
    ground::boundary(&mut c, results, false);
    let area: f64 = water.ponds.iter().map(|p| p.area_m2).sum();
    let volume: f64 = water.ponds.iter().map(|p| p.volume_m3).sum();
    let plantable: f64 = water.plantable.iter().map(|p| p.outline.unsigned_area()).sum();
    let assumed = water.outlets.iter().filter(|o| o.assumed).count();
    let mut facts = vec![
        format!(
            "Hollows that hold water on the ground as it lies: {}, {} and {} m\u{b3} in all.",
            water.ponds.len(),
            hectares(area),
            cells::grouped(volume)
        ),
        format!(
            "Land that may be planted: {} in {}.",
            hectares(plantable),
            cells::counted(water.plantable.len(), "piece")
        ),
    ];
    if assumed > 0 {
        facts.push(format!(
            "Assumed by the program: {}. Confirm place and level on the ground.",
            cells::counted(assumed, "outlet")
        ));
    }
    let words =
        Words { file: "water", title: "Water, ponds and areas kept", facts, cautions: vec![KEEPS, WATER_LAW, ACID] };
    Some(Draft { maps: vec![c], words, charts: None })
}

fn layout(results: &Results<'_>) -> Option<Draft> {
    let plan = results.plan()?.blocks?;
    let mut c = canvas(results)?;
    design::row_arrows(&mut c, results);
    design::layout(&mut c, results);
    design::block_names(&mut c, results, design::row_words);
    ground::keep(&mut c, results, "m", true);
    ground::waterways(&mut c, results, true);
    ground::standing(&mut c, results, false);
    design::drains(&mut c, results, false);
    ground::boundary(&mut c, results, false);
    let rows: usize = plan.blocks.iter().map(|b| b.rows.len()).sum();
    let metres: f64 = plan.blocks.iter().map(crate::land::blocks::RowBlock::row_metres).sum();
    let short = plan.blocks.iter().flat_map(|b| &b.rows).filter(|r| r.length_m < plan.short_row_m).count();
    let cropped: f64 = plan.blocks.iter().map(|b| b.cropped.unsigned_area()).sum();
    let gross: f64 = plan.blocks.iter().map(|b| b.outline.unsigned_area()).sum();
    let facts = vec![
        format!(
            "{}, {}, {:.1} km of row.",
            cells::counted(plan.blocks.len(), "block"),
            cells::counted(rows, "row"),
            metres / 1000.0
        ),
        format!("{} in blocks, {} of it under rows; the rest is headland.", hectares(gross), hectares(cropped)),
        format!("Rows shorter than {:.0} m: {short}.", plan.short_row_m),
    ];
    let words = Words { file: "layout", title: "Proposed layout and rows", facts, cautions: vec![KEEPS, DIG, EDGES] };
    Some(Draft { maps: vec![c], words, charts: None })
}

fn earthworks(results: &Results<'_>) -> Option<Draft> {
    let levelling = results.plan()?.levelling?;
    let mut c = canvas(results)?;
    design::haul(&mut c, results, None);
    design::earth(&mut c, results, "m");
    design::outlines(&mut c, results);
    design::block_names(&mut c, results, design::earth_words);
    ground::keep(&mut c, results, "m", false);
    ground::waterways(&mut c, results, false);
    ground::boundary(&mut c, results, false);
    let cut: f64 = levelling.blocks.iter().map(|b| b.cut_m3).sum();
    let fill: f64 = levelling.blocks.iter().map(|b| b.fill_m3).sum();
    let range = levelling.cut_range_m3;
    let strip: f64 = levelling.blocks.iter().map(|b| b.strip_m3).sum();
    let facts = vec![
        format!("Cut {} bank m\u{b3}, fill {} m\u{b3} compacted.", cells::grouped(cut), cells::grouped(fill)),
        format!(
            "With the error of the survey the cut may come to {} to {} m\u{b3} (95 %).",
            cells::grouped(range.low),
            cells::grouped(range.high)
        ),
        format!(
            "Topsoil to strip and spread again: {} m\u{b3}. Changes under 0.02 m are not coloured.",
            cells::grouped(strip)
        ),
    ];
    let words =
        Words { file: "earthworks", title: "Earthworks, cut and fill", facts, cautions: vec![ACID, DIG, EDGES, BEDS] };
    Some(Draft { maps: vec![c], words, charts: None })
}

fn drains(results: &Results<'_>) -> Option<Draft> {
    let plan = results.plan()?.drains?;
    let mut c = canvas(results)?;
    ground::outlets(&mut c, results);
    ground::contours(&mut c, results, false);
    design::outlines(&mut c, results);
    ground::keep(&mut c, results, "m", false);
    ground::waterways(&mut c, results, true);
    ground::standing(&mut c, results, false);
    design::among_rows(&mut c, results);
    design::drains(&mut c, results, true);
    design::crossings(&mut c, results);
    design::drain_names(&mut c, results, true, &|_| true);
    design::block_names(&mut c, results, design::no_words);
    ground::boundary(&mut c, results, false);
    let metres: f64 = plan.drains.iter().filter_map(|d| d.stations.last()).map(|s| s.station_m).sum();
    let dug: f64 = plan.drains.iter().map(|d| d.excavation_m3).sum();
    let dry = plan.drains.iter().filter(|d| d.deficit_m > 0.0).count();
    let mut facts = vec![
        format!(
            "{}, {:.1} km, {} bank m\u{b3} to dig, {}.",
            cells::counted(plan.drains.len(), "drain"),
            metres / 1000.0,
            cells::grouped(dug),
            cells::counted(plan.crossings.len(), "crossing")
        ),
        "Sections, falls and flows of each drain: table of drains. Bed levels every 20 m: set-out folder.".to_owned(),
    ];
    let after = |state| state == GroundState::After;
    let wet = plan.row_ponds.iter().filter(|p| after(p.state)).count();
    let over = plan.row_spills.iter().filter(|s| after(s.state)).count();
    facts.push(if wet + over == 0 {
        "Among the rows: after the works no water stands or goes over a ridge that the survey can tell.".to_owned()
    } else {
        format!(
            "Among the rows, after the works: water stands in {}, and goes over ridges at {}.",
            cells::counted(wet, "hollow"),
            cells::counted(over, "place")
        )
    });
    if dry > 0 {
        facts.push(format!("Without a low enough outlet: {}. See the findings.", cells::counted(dry, "drain")));
    }
    let words =
        Words { file: "drains", title: "Drains and bed levels", facts, cautions: vec![WATER_LAW, DIG, EDGES, ACID] };
    Some(Draft { maps: vec![c], words, charts: None })
}

fn debris(results: &Results<'_>) -> Option<Draft> {
    let plan = results.plan()?.clearing?;
    let mut c = canvas(results)?;
    ground::contours(&mut c, results, false);
    ground::keep(&mut c, results, "m", true);
    ground::standing(&mut c, results, true);
    ground::waterways(&mut c, results, true);
    design::debris(&mut c, results, None);
    ground::boundary(&mut c, results, false);
    let metres: f64 = plan.windrows.iter().map(|w| geo::Length::length(&geo::Euclidean, &w.line)).sum();
    let mut facts = vec![
        format!("{:.1} ha to clear, {} t of dry debris.", plan.cleared_ha, cells::grouped(plan.debris_t)),
        format!("{}, {:.1} km, {}; debris is pushed {:.0} m on average.", cells::counted(plan.windrows.len(), "windrow part"), metres / 1000.0, cells::counted(plan.heaps.len(), "heap"), plan.mean_push_m),
        "Keep soil out of the windrows: less than one part in ten by volume (common practice). Flag the keep lines 2 m outside what is kept.".to_owned(),
    ];
    facts.extend(laid(results, plan));
    let words = Words { file: "debris", title: "Debris plan", facts, cautions: vec![FIRE, TREES, KEEPS, DIG] };
    Some(Draft { maps: vec![c], words, charts: None })
}

/// How trees are laid and raked, blocks of one direction together.
fn laid(results: &Results<'_>, plan: &ClearingPlan) -> Option<String> {
    let blocks = &results.plan()?.blocks?.blocks;
    let mut groups: Vec<(String, Vec<&str>)> = Vec::new();
    for b in blocks {
        let Some(deg) = view::windrow_bearing(plan, b) else { continue };
        let words = if b.bent.is_some() { "with the bend of the rows".to_owned() } else { format!("{deg:.0}\u{b0}") };
        match groups.iter_mut().find(|(w, _)| *w == words) {
            Some((_, names)) => names.push(&b.name),
            None => groups.push((words, vec![&b.name])),
        }
    }
    let each: Vec<String> = groups.into_iter().map(|(w, names)| format!("{w} in {}", names.join(", "))).collect();
    (!each.is_empty()).then(|| {
        format!("Lay the trees along the windrows and rake across them; windrows run {} (grid).", each.join("; "))
    })
}

fn soil(results: &Results<'_>) -> Option<Draft> {
    let report = results.plan()?.erosion.filter(|e| !e.blocks.is_empty())?;
    let land = extent(results)?;
    let half = (MAP_SIZE.0, 0.5 * MAP_SIZE.1 - 5.0);
    let mut maps = Vec::new();
    for (i, state) in [0, 2].into_iter().enumerate() {
        let at = (MAP_AT.0, MAP_AT.1 + (half.1 + 10.0) * i as f64);
        let mut c = Canvas::new(Frame::round_scale(land, at, half));
        let (x, y) = (at.0 + 4.0, at.1 + 7.0);
        let title = if i == 0 { "Before: plantation as it stands" } else { "After: cropped to the plan" };
        c.on(canvas::Layer::Boundary).label((x, y), title, 4.0, "font-weight=\"700\"");
        c.labels.keep_free((x + 30.0, y - 1.5), 8.0);
        design::soil(&mut c, results, state, "m");
        ground::waterways(&mut c, results, i == 0);
        ground::boundary(&mut c, results, false);
        maps.push(c);
    }
    let sum = |f: fn(&crate::land::erosion::BlockSoilLoss) -> f64| {
        report.blocks.iter().map(|b| b.area_ha * f(b)).sum::<f64>()
    };
    let facts = vec![
        format!(
            "All blocks together: {} t a year before, {} t after; {} t if bare for a whole year.",
            cells::grouped(sum(|b| b.before_t_ha)),
            cells::grouped(sum(|b| b.after_t_ha)),
            cells::grouped(sum(|b| b.bare_t_ha))
        ),
        "The figure in each block is tonnes a hectare and year. Method and confidence: table of indicators.".to_owned(),
    ];
    let words = Words { file: "soil_loss", title: "Soil loss before and after", facts, cautions: vec![RUSLE] };
    Some(Draft { maps, words, charts: None })
}

/// Every item of the budget that has a place, under the id it has in the budget and the tables.
fn works(results: &Results<'_>) -> Option<Draft> {
    let option = results.plan()?;
    option.blocks.filter(|b| !b.blocks.is_empty())?;
    let mut c = canvas(results)?;
    design::layout(&mut c, results);
    ground::keep(&mut c, results, "m", false);
    ground::waterways(&mut c, results, true);
    design::among_rows(&mut c, results);
    design::drains(&mut c, results, true);
    design::crossings(&mut c, results);
    design::item_names(&mut c, results);
    design::drain_names(&mut c, results, false, &|_| true);
    ground::outlets(&mut c, results);
    ground::boundary(&mut c, results, false);
    let budget = option.costing.map_or(&[][..], |b| &b.budget);
    let placed =
        |id: &str| id.starts_with("LV-") && id != "LV-0" || id.starts_with("DR-") && id.len() == 5 && id != "DR-R";
    let others: Vec<String> =
        budget.iter().filter(|l| !placed(&l.id)).map(|l| format!("{} {}", l.id, l.item)).collect();
    let mut facts =
        vec!["LV- and DR- on the map are items of the budget and rows of the tables under the same id.".to_owned()];
    if !others.is_empty() {
        facts.push(format!("Items without one place: {}.", others.join("; ")));
    }
    let words = Words { file: "works", title: "Works by budget item", facts, cautions: vec![DIG, WATER_LAW] };
    Some(Draft { maps: vec![c], words, charts: None })
}
