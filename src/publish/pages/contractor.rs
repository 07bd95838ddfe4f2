//! Work orders: one page a block for the clearing, the earthmoving and the drain contractor.
//!
//! What a work order says: common practice, no source; limits that come from the plan are printed from it.

use super::flow::Flow;
use crate::land::blocks::RowBlock;
use crate::land::clearing::ClearingPlan;
use crate::land::document::{FieldKind, Value};
use crate::land::paper::Paper;
use crate::publish::maps::{self, Trade};
use crate::publish::{OptionResult, Results, earth_balance, earth_words, sheet, view};
use geo::{Area, Centroid, Contains, Coord, Intersects};

use FieldKind::{Real, Text};

/// Heaps listed on a page.
const MOST_HEAPS: usize = 18;
/// What holds for every contractor.
const ALWAYS: &[&str] = &[
    "Services: locate buried pipes and cables before digging, whatever the map shows; keep the distance the owner sets from overhead wires, with a spotter.",
    "No-go: areas kept and strips along water, as on the map. Flag the keep line 2 m outside what is kept before the first machine arrives.",
    "Wet weather: stop when a ball of soil from working depth smears or ribbons, or when tracks sink; leave water a way out every evening.",
    "Wash machines down before they come and before they go: soil carries disease and weeds.",
    "Variations: in writing, with price, before the work. Safety: two machines at least 50 m apart, no one on foot near them, nobody alone.",
];

/// The work orders with their file names.
pub(in crate::publish) fn all(results: &Results<'_>) -> Vec<(&'static str, Paper)> {
    let Some(option) = results.plan() else { return Vec::new() };
    let blocks = option.blocks.map_or(&[][..], |b| &b.blocks);
    let orders: [(&str, &str, bool, Order); 3] = [
        ("clearing", "Clearing work order", option.clearing.is_some(), clearing),
        ("earthmoving", "Earthmoving work order", option.levelling.is_some(), earthmoving),
        ("drains", "Drain work order", option.drains.is_some(), drains),
    ];
    orders
        .into_iter()
        .filter(|o| o.2 && !blocks.is_empty())
        .map(|(file, title, _, order)| {
            let whole = format!("{}: {}", results.site.name, title.to_lowercase());
            let foot = super::foot(results, results.plan_id);
            let mut f = Flow::new(&whole, "Work orders, one page a block", &foot);
            for (i, block) in blocks.iter().enumerate() {
                if i > 0 {
                    f.new_page();
                }
                let page = |f: &mut Flow, map: Room| {
                    f.heading(1, &format!("{title}, block {}", block.name));
                    f.small(&format!("{}. {}", results.site.name, super::made(results)));
                    order(results, option, block, f, map);
                    f.small_list(ALWAYS);
                };
                // Once without the map, to see how high it may be for all to stay on one page.
                let mut trial = Flow::new(&whole, "", &foot);
                page(&mut trial, Room { height: LOWEST, drawn: false });
                let spare = if trial.pages() == 1 { (trial.left() - 2.0).max(0.0) } else { 0.0 };
                page(&mut f, Room { height: (LOWEST + spare).min(HIGHEST), drawn: true });
            }
            (file, f.finish())
        })
        .collect()
}

/// Least and greatest height of a block's map, millimetres.
const LOWEST: f64 = 44.0;
const HIGHEST: f64 = 125.0;

/// The place of the map on a page.
#[derive(Debug, Clone, Copy)]
struct Room {
    height: f64,
    /// Whether it is drawn, or its place only kept.
    drawn: bool,
}

type Order = fn(&Results<'_>, &OptionResult<'_>, &RowBlock, &mut Flow, Room);

/// The block's map with its legend.
fn map(results: &Results<'_>, block: &RowBlock, f: &mut Flow, trade: Trade, room: Room) {
    let size = (Flow::across(), room.height);
    if room.drawn {
        let Some(svg) = maps::block_map(results, block, "b", size, trade) else { return };
        f.figure(
            &svg,
            size,
            &format!("Map of block {} with what is to be done, what is kept and where water runs.", block.name),
        );
    } else {
        f.space(size.1);
    }
    f.small(match trade {
        Trade::Clearing => "Brown: windrows. Circles: heaps with their number. Green hatch: kept. Blue dots: strip kept free along water. Thin orange lines: drains to come.",
        Trade::Earth => "Orange, hatched: cut. Purple, dotted: fill; the deeper the darker. White: within 0.02 m. Black arrow: main haul, its number where it starts. Thin orange lines: drains to come. Green hatch: kept.",
        Trade::Drains => "Orange lines: drains, the arrow the way they run, IL = bed level in metres (those of this block are named). Cross: crossing. Blue ring: outlet. Green hatch: kept. Blue dots: strip kept free along water. Thin brown lines: contours.",
    });
}

fn budget_only(results: &Results<'_>, f: &mut Flow) {
    if results.ground.is_some_and(|g| g.accuracy.budget_only()) {
        f.caution("For pricing only, do not build: the ground is not surveyed well enough. Set out after the survey of the cleared ground.");
    }
}

fn hectares(results: &Results<'_>, block: &RowBlock) -> f64 {
    let centre = block.outline.centroid().map_or_else(Coord::default, Into::into);
    results.site.geodesy.ground_area_m2(centre, block.outline.unsigned_area()) / 1e4
}

/// Steps of the calendar whose name or note speaks of a thing, with their months and hold points.
fn dates(option: &OptionResult<'_>, words: &[&str]) -> Vec<String> {
    let tasks = option.program.map_or(&[][..], |p| &p.tasks);
    let speaks = |t: &str| words.iter().any(|w| t.to_lowercase().contains(w));
    tasks
        .iter()
        .filter(|t| speaks(&t.name))
        .map(|t| {
            let hold = if t.hold_point.is_empty() {
                String::new()
            } else {
                format!(" Hold point: {}.", t.hold_point.trim_end_matches('.'))
            };
            // Any first letter, also one of two bytes or a name in another script.
            let mut letters = t.name.chars();
            let name: String = letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect();
            format!("{name}: {} to {}.{hold}", t.start_month, t.end_month)
        })
        .collect()
}

fn clearing(results: &Results<'_>, option: &OptionResult<'_>, block: &RowBlock, f: &mut Flow, room: Room) {
    let Some(plan) = option.clearing else { return };
    map(results, block, f, Trade::Clearing, room);
    let metres: f64 = plan
        .windrows
        .iter()
        .filter(|w| block.outline.intersects(&w.line))
        .map(|w| geo::Length::length(&geo::Euclidean, &w.line))
        .sum();
    let heaps: Vec<_> = plan.heaps.iter().filter(|h| block.outline.contains(&geo::Point::from(h.at))).collect();
    let mut items = vec![
        format!("Scope: knock down, rake, heap and burn on {:.1} ha; {} m of windrow, {}.", hectares(results, block), sheet::grouped(metres), sheet::counted(heaps.len(), "heap")),
        laid(plan, block),
        "Soil in the windrows: less than one part in ten by volume. Leave the gaps on the map open for water and machines. Stump holes: fill and firm in layers; tell the earthmoving contractor where they are.".to_owned(),
    ];
    items.extend(dates(option, &["knock", "rake", "burn", "clear", "pick"]));
    items.push("Burn only with the permit and on the days the fire authority allows; never unattended.".to_owned());
    items.push(
        "Payment: by hectare cleared to the agreed finish, walked by both parties before machines leave.".to_owned(),
    );
    f.small_list(&items);
    if !heaps.is_empty() {
        let each: Vec<String> = heaps
            .iter()
            .take(MOST_HEAPS)
            .map(|h| format!("H{} {:.0} / {:.0}, {:.0} t", h.id, h.at.x, h.at.y, h.load_t))
            .collect();
        let more = heaps.len().saturating_sub(MOST_HEAPS);
        let more = if more > 0 { format!("; {more} more in geojson/heap.geojson") } else { String::new() };
        f.small(&format!("Heaps, east / north, dry load: {}{more}.", each.join("; ")));
    }
}

/// How the trees of the block are laid and raked: along its windrows and across them.
fn laid(plan: &ClearingPlan, block: &RowBlock) -> String {
    let way = view::windrow_bearing(plan, block).map_or_else(
        || "No windrow lies in this block: push its trees to the nearest on the map.".to_owned(),
        |deg| {
            if block.bent.is_some() {
                return "Lay the trees along the windrows, which bend with the rows; rake square across them everywhere."
                    .to_owned();
            }
            let across = (deg + 90.0).rem_euclid(180.0);
            format!(
                "Lay the trees along the windrows, {deg:.0}\u{b0}; rake across them, {across:.0}\u{b0} (grid bearings)."
            )
        },
    );
    format!("{way} Mean push {:.0} m. Trees: count them on the ground before pricing.", plan.mean_push_m)
}

/// The nearest points of known height.
fn benchmarks(results: &Results<'_>, block: &RowBlock) -> String {
    let centre: Coord<f64> = block.outline.centroid().map_or_else(Coord::default, Into::into);
    let mut points: Vec<_> = results.site.layers.control_points.iter().collect();
    let far = |p: Coord<f64>| (p.x - centre.x).hypot(p.y - centre.y);
    points.sort_by(|a, b| far(a.at).total_cmp(&far(b.at)));
    let each: Vec<String> = points
        .iter()
        .take(2)
        .map(|p| format!("{} RL {:.3} m at {:.1} E {:.1} N", p.name, p.height_m, p.at.x, p.at.y))
        .collect();
    let heights = match &results.site.crs.vertical_name {
        Some(name) => format!("Heights are {}", name.trim_end_matches(" height")),
        None => "The height datum is not stated: ask before starting".to_owned(),
    };
    if each.is_empty() {
        format!("Benchmark: none given. The surveyor places one before work starts. {heights}.")
    } else {
        format!("Benchmark: {}. {heights}. Check one against the other before starting.", each.join("; "))
    }
}

fn earthmoving(results: &Results<'_>, option: &OptionResult<'_>, block: &RowBlock, f: &mut Flow, room: Room) {
    let Some(e) = view::earth(option, block.id) else {
        f.para("No earth is moved in this block beyond smoothing of beds and stump holes.");
        return;
    };
    budget_only(results, f);
    map(results, block, f, Trade::Earth, room);
    let rows: Vec<Vec<Value>> = vec![vec![
        hectares(results, block).into(),
        e.cut_m3.into(),
        e.fill_m3.into(),
        e.strip_m3.into(),
        e.borrow_m3.into(),
        e.cut_fill_ratio.into(),
        e.max_cut_m.into(),
        e.max_fill_m.into(),
        e.haul_mean_m.into(),
    ]];
    let columns = &[
        ("area_ha", Real(2)),
        ("cut_m3", Real(0)),
        ("fill_m3", Real(0)),
        ("topsoil_m3", Real(0)),
        ("borrow_m3", Real(0)),
        ("cut_to_fill", Real(2)),
        ("deepest_cut_m", Real(2)),
        ("highest_fill_m", Real(2)),
        ("mean_haul_m", Real(0)),
    ];
    f.table(
        &sheet::table(
            "volumes",
            &format!("LV-{}: volumes, cut and topsoil in bank m\u{b3}", block.name),
            columns,
            rows,
        ),
        &[],
    );
    let mut items = vec![
        benchmarks(results, block),
        format!("Set-out: pegs on the grid and along the edge with cut or fill on them (set_out/pegs.csv); finished fall {} down the rows, {} {:.1}\u{b0}.", sheet::one_in(e.row_fall), if block.bent.is_some() { "which bend, mean bearing" } else { "bearing" }, block.bearing.degrees()),
        "Order: strip topsoil where marked and stack it clear of water; bulk cut to fill, longest hauls first; first plane; hold point: check before topsoil is spread; spread topsoil; last plane.".to_owned(),
        "Tolerance: within 25 mm of the design on nine checks in ten, all within 50 mm, no reverse fall along a row. Measured by survey difference in bank m\u{b3}, not by counting loads.".to_owned(),
    ];
    items.splice(2..2, earth_words::orders(&results.site_table.currency, e));
    items.extend(option.drains.and_then(|d| earth_balance::soil_to_come(d, block.id)));
    items.extend(dates(option, &["level", "earth", "form", "strip"]));
    items.push(
        "As-built survey: the contractor calls for it within two weeks of the last plane, before drains and hills."
            .to_owned(),
    );
    f.small_list(&items);
}

fn drains(results: &Results<'_>, option: &OptionResult<'_>, block: &RowBlock, f: &mut Flow, room: Room) {
    let Some(plan) = option.drains else { return };
    let mine: Vec<_> = plan.drains.iter().filter(|d| view::digs(d, block)).collect();
    budget_only(results, f);
    map(results, block, f, Trade::Drains, room);
    if mine.is_empty() {
        f.para("No drain is dug for this block: its rows run out to water or to a neighbouring block's drain.");
    }
    let rows = mine
        .iter()
        .map(|d| {
            let (head, mouth) = (d.stations.first(), d.stations.last());
            vec![
                view::drain_name(d.id).into(),
                mouth.map(|s| s.station_m).into(),
                d.section.bottom_m.into(),
                d.section.batter_h_per_v.into(),
                d.section.depth_m.into(),
                sheet::one_in(d.grade).into(),
                head.map(|s| s.invert_m).into(),
                mouth.map(|s| s.invert_m).into(),
                d.excavation_m3.into(),
                view::drains_to(results, &d.to).into(),
            ]
        })
        .collect();
    let columns = &[
        ("id", Text),
        ("length_m", Real(0)),
        ("widest_bed_m", Real(2)),
        ("batter_h_per_v", Real(1)),
        ("depth_m", Real(2)),
        ("fall_1_in_n", Text),
        ("head_bed_level_m", Real(2)),
        ("mouth_bed_level_m", Real(2)),
        ("dig_m3", Real(0)),
        ("runs_to", Text),
    ];
    if !mine.is_empty() {
        f.table(&sheet::table("drains", "Drains of this block", columns, rows), &[]);
    }
    let crossings: Vec<String> = plan
        .crossings
        .iter()
        .filter(|x| mine.iter().any(|d| d.id == x.drain))
        .map(|x| format!("{} on {}: {}, {}", view::crossing_name(x.id), view::drain_name(x.drain), x.crosses, x.needs))
        .collect();
    let spoil = earth_balance::spoil_orders(results, plan, |id| mine.iter().any(|d| d.id == id));
    let mut items = vec![
        benchmarks(results, block),
        "Set-out: bed levels every 20 m in set_out/drain_inverts.csv; dig from the outlet upstream, so that every metre drains the day it is dug.".to_owned(),
        format!(
            "Soil dug out, bank m\u{b3}, how thick it lies loose and how far it goes: {}. Beside a drain on the side away from row ends; never in water, on keep areas, or as a bank that shuts rows in. Over a block: evenly, only where the subsoil has been tested, after its as-built survey.",
            if spoil.is_empty() { "none".to_owned() } else { spoil.join("; ") }
        ),
        "Protect beds that run faster than the soil stands: rock at drops and mouths, grass at once. Silt trap at each mouth before the first rain.".to_owned(),
        "Tolerance: bed within 25 mm, no back-fall. Hold point: bed levels checked before the banks are trimmed. Payment: by bank m\u{b3} from the long section.".to_owned(),
    ];
    if !crossings.is_empty() {
        items.insert(1, format!("Crossings: {}.", crossings.join("; ")));
    }
    let fast = mine.iter().filter(|d| d.velocity_m_s > d.velocity_limit_m_s);
    let fast: Vec<String> = fast.map(|d| format!("{} {:.2} m/s", view::drain_name(d.id), d.velocity_m_s)).collect();
    if let (Some(first), false) = (mine.first(), fast.is_empty()) {
        items.push(format!(
            "Faster when new than the {:.2} m/s a bare bed stands: {}. Grass or line these, or break their fall with drops, before the first rain.",
            first.velocity_limit_m_s,
            fast.join(", ")
        ));
    }
    items.extend(dates(option, &["drain"]));
    items.push(
        "Nobody in a trench deeper than 1.5 m without batters or shoring a competent person has approved.".to_owned(),
    );
    f.small_list(&items);
}
