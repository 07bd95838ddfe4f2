//! Earth balance of the property: what blocks lack and have over, what places and drains give.

use super::earth_tables::pairs;
use super::{Results, sheet, view};
use crate::land::blocks::BlockId;
use crate::land::document::{FieldKind, Table, Value};
use crate::land::drains::{DrainPlan, Spoil, SpoilTo};
use crate::land::levelling::{BlockEarth, HaulMachine, PlaceHaul};
use crate::land::site::EarthPlaceKind;
use crate::units::Range;

use FieldKind::{Integer, Real, Text};

/// Volumes below this are not told, cubic metres.
const LEAST_TOLD_M3: f64 = 0.5;

/// Soil of one block, of the drains or of the property; bank cubic metres, but fill.
#[derive(Default)]
struct Soil {
    cut: f64,
    fill: f64,
    ratio: f64,
    lacks: f64,
    over: f64,
    from_places: f64,
    to_places: f64,
    drain_dug: f64,
    from_drains: f64,
    drain_spread: f64,
    no_source: f64,
    no_place: f64,
    cost: Range,
}

impl Soil {
    /// A block; soil that drains bring is no longer without a source.
    fn of_block(earth: &BlockEarth, drains: Option<&DrainPlan>) -> Self {
        let places =
            |kind: EarthPlaceKind| earth.places.iter().filter(|p| p.kind == kind).map(|p| p.volume_m3).sum::<f64>();
        let from_drains = drains.map_or(0.0, |d| d.spoil_m3(|to| *to == SpoilTo::Block(earth.block)));
        let spares = drains.map_or(Range::exact(0.0), |d| d.spares(earth.block));
        Self {
            cut: earth.cut_m3,
            fill: earth.fill_m3,
            ratio: earth.cut_fill_ratio,
            lacks: earth.borrow_m3.max(0.0),
            over: (-earth.borrow_m3).max(0.0),
            from_places: places(EarthPlaceKind::Borrow),
            to_places: places(EarthPlaceKind::Spoil),
            from_drains,
            no_source: earth.unplaced_m3.max(0.0) - from_drains,
            no_place: (-earth.unplaced_m3).max(0.0),
            cost: earth.cost.zip(spares, |cost, spares| (cost - spares).max(0.0)),
            ..Self::default()
        }
    }

    /// The drains; digging itself is not in the price.
    fn of_drains(plan: &DrainPlan) -> Self {
        Self {
            drain_dug: plan.spoil_m3(|_| true),
            drain_spread: plan.spoil_m3(|to| matches!(to, SpoilTo::Beside | SpoilTo::Along | SpoilTo::Over(_))),
            to_places: plan.spoil_m3(|to| matches!(to, SpoilTo::Place(_))),
            no_place: plan.spoil_m3(|to| *to == SpoilTo::Nowhere),
            cost: plan.spoil.iter().fold(Range::exact(0.0), |sum, s| sum.zip(s.cost, |a, b| a + b)),
            ..Self::default()
        }
    }

    fn and(self, other: &Self) -> Self {
        Self {
            cut: self.cut + other.cut,
            fill: self.fill + other.fill,
            ratio: 0.0,
            lacks: self.lacks + other.lacks,
            over: self.over + other.over,
            from_places: self.from_places + other.from_places,
            to_places: self.to_places + other.to_places,
            drain_dug: self.drain_dug + other.drain_dug,
            from_drains: self.from_drains + other.from_drains,
            drain_spread: self.drain_spread + other.drain_spread,
            no_source: self.no_source + other.no_source,
            no_place: self.no_place + other.no_place,
            cost: self.cost.zip(other.cost, |a, b| a + b),
        }
    }

    fn row(&self, number: Option<u32>, name: &str, places: &str) -> Vec<Value> {
        vec![
            number.into(),
            name.into(),
            self.cut.into(),
            self.fill.into(),
            (self.ratio > 0.0).then_some(self.ratio).into(),
            self.lacks.into(),
            self.over.into(),
            self.from_places.into(),
            self.to_places.into(),
            self.drain_dug.into(),
            self.from_drains.into(),
            self.drain_spread.into(),
            self.no_source.into(),
            self.no_place.into(),
            self.cost.low.into(),
            self.cost.likely.into(),
            self.cost.high.into(),
            places.into(),
        ]
    }
}

const COLUMNS: &[(&str, FieldKind)] = &[
    ("block", Integer),
    ("name", Text),
    ("cut_bank_m3", Real(0)),
    ("fill_compacted_m3", Real(0)),
    ("cut_fill_ratio", Real(3)),
    ("lacks_bank_m3", Real(0)),
    ("over_bank_m3", Real(0)),
    ("from_places_m3", Real(0)),
    ("to_places_m3", Real(0)),
    ("drain_dug_m3", Real(0)),
    ("from_drains_m3", Real(0)),
    ("drain_spread_m3", Real(0)),
    ("no_source_m3", Real(0)),
    ("no_place_m3", Real(0)),
    ("cost_low", Real(0)),
    ("cost_likely", Real(0)),
    ("cost_high", Real(0)),
    ("remarks", Text),
];

/// Earth balance of the property: cut, fill and what blocks lack and have over, what places and drains give and take, what
/// finds no source and no place, and its price. Drains are dug after the blocks are designed; what they give a block is
/// taken off what it has no source for, and off its price.
pub(super) fn table(results: &Results<'_>) -> Table {
    let drains = results.plan().and_then(|p| p.drains);
    let mut rows = Vec::new();
    let mut all = Soil::default();
    for (block, earth) in pairs(results) {
        let soil = Soil::of_block(earth, drains);
        let places: Vec<String> = earth.places.iter().map(place_words).collect();
        rows.push(soil.row(Some(block.id.0), &block.name, &places.join("; ")));
        all = all.and(&soil);
    }
    if let Some(plan) = drains.filter(|d| !d.spoil.is_empty()) {
        let soil = Soil::of_drains(plan);
        rows.push(soil.row(None, "drains", "hauling and places of spoil; digging is in the budget"));
        all = all.and(&soil);
    }
    if !rows.is_empty() {
        rows.push(all.row(None, "property", ""));
    }
    sheet::table("earth_balance", "Earth balance of the property", COLUMNS, rows)
}

/// What the contractor of some drains is told of their soil, a drain an entry: bank cubic metres, where to, how thick loose,
/// how far.
pub(super) fn spoil_orders(results: &Results<'_>, plan: &DrainPlan, is_mine: impl Fn(u32) -> bool) -> Vec<String> {
    let part = |s: &Spoil| {
        let thick = if s.depth_m > 0.0 { format!(", {:.0} mm", 1_000.0 * s.depth_m) } else { String::new() };
        let way = if s.distance_m >= 1.0 { format!(" ({:.0} m)", s.distance_m) } else { String::new() };
        format!("{} {}{thick}{way}", sheet::grouped(s.volume_m3), goes(results, &s.to))
    };
    let of_drain = |id: u32| {
        let told = plan.spoil.iter().filter(|s| s.drain == id && s.volume_m3 >= LEAST_TOLD_M3);
        let parts: Vec<String> = told.map(part).collect();
        (!parts.is_empty()).then(|| format!("{} {}", view::drain_name(id), parts.join(", ")))
    };
    plan.drains.iter().filter(|d| is_mine(d.id)).filter_map(|d| of_drain(d.id)).collect()
}

/// What the earthmoving contractor is told of soil that drains bring onto a block; `None` when they bring none.
pub(super) fn soil_to_come(plan: &DrainPlan, block: BlockId) -> Option<String> {
    let whole_m3 = |to: &SpoilTo| plan.spoil_m3(|t| t == to);
    let (fill_m3, over_m3) = (whole_m3(&SpoilTo::Block(block)), whole_m3(&SpoilTo::Over(block)));
    let thick_mm = plan.spoil.iter().filter(|s| s.to == SpoilTo::Over(block)).map(|s| 1_000.0 * s.depth_m);
    let mut parts = Vec::new();
    if fill_m3 >= LEAST_TOLD_M3 {
        parts.push(format!("{} m\u{b3} fill this block, part of the fill above", sheet::grouped(fill_m3)));
    }
    if over_m3 >= LEAST_TOLD_M3 {
        parts.push(format!(
            "{} m\u{b3} come evenly over it after the as-built survey, {:.0} mm thick and loose, falls unchanged",
            sheet::grouped(over_m3),
            thick_mm.fold(0.0, f64::max)
        ));
    }
    (!parts.is_empty()).then(|| format!("Soil dug out of drains, by their contractor: {}.", parts.join("; ")))
}

/// Where the soil dug out of each drain goes.
pub(super) fn spoil(results: &Results<'_>) -> Table {
    let columns = &[
        ("drain", Text),
        ("goes", Text),
        ("volume_bank_m3", Real(0)),
        ("distance_m", Real(0)),
        ("depth_loose_mm", Real(0)),
        ("machine", Text),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("spares_likely", Real(0)),
    ];
    let list = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.spoil);
    let row = |s: &Spoil| {
        let depth_mm = (s.depth_m > 0.0).then_some(1_000.0 * s.depth_m);
        vec![
            view::drain_name(s.drain).into(),
            goes(results, &s.to).into(),
            s.volume_m3.into(),
            s.distance_m.into(),
            depth_mm.into(),
            s.machine.map_or("", HaulMachine::words).into(),
            s.cost.low.into(),
            s.cost.likely.into(),
            s.cost.high.into(),
            s.spares.likely.into(),
        ]
    };
    sheet::table("drain_spoil", "Where the soil dug out of drains goes", columns, list.iter().map(row).collect())
}

/// Where spoil goes, in words.
fn goes(results: &Results<'_>, to: &SpoilTo) -> String {
    let name = |id: &BlockId| {
        let blocks = results.plan().and_then(|p| p.blocks).map_or(&[][..], |b| &b.blocks);
        blocks.iter().find(|b| b.id == *id).map_or_else(|| id.0.to_string(), |b| b.name.clone())
    };
    match to {
        SpoilTo::Beside => "beside it".to_owned(),
        SpoilTo::Along => "beside another stretch".to_owned(),
        SpoilTo::Block(id) => format!("fill of block {}", name(id)),
        SpoilTo::Over(id) => format!("over block {}", name(id)),
        SpoilTo::Place(name) => format!("to {name}"),
        SpoilTo::Nowhere => "no place yet".to_owned(),
    }
}

/// One haul from or to a place, in words.
pub(super) fn place_words(haul: &PlaceHaul) -> String {
    let way = if haul.kind == EarthPlaceKind::Borrow { "from" } else { "to" };
    let (volume_m3, distance_m) = (haul.volume_m3, haul.distance_m);
    format!(
        "{volume_m3:.0} m\u{b3} {way} {} over {distance_m:.0} m, {:.2} a m\u{b3} there",
        haul.place, haul.price_per_m3
    )
}

#[cfg(test)]
mod tests {
    use crate::publish::tests::{farm, made, text};
    use std::collections::BTreeMap;

    fn rows(csv: &str) -> Vec<BTreeMap<String, String>> {
        let mut lines =
            csv.lines().map(|l| l.trim_start_matches('\u{feff}').split(',').map(str::to_owned).collect::<Vec<_>>());
        let heads = lines.next().unwrap();
        lines.map(|values| heads.iter().cloned().zip(values).collect()).collect()
    }

    /// What comes in is what goes out, in every row and for the property: cut, borrow, drain spoil and what has no source
    /// against fill in bank measure, spoil places, spread soil and what has no place.
    #[test]
    fn every_row_balances() {
        let mut f = farm();
        for earth in &mut f.levelling.blocks {
            (earth.cut_m3, earth.fill_m3, earth.cut_fill_ratio) = (4_320.0, 3_600.0, 1.2);
        }
        // Block 2 lacks 3,850 x 1.2 - 4,320 = 300 m3; drains give 250 of them.
        let lacking = &mut f.levelling.blocks[1];
        (lacking.fill_m3, lacking.borrow_m3, lacking.unplaced_m3) = (3_850.0, 300.0, 300.0);
        let documents = made(&f);
        let table = rows(text(&documents, "tables/earth_balance.csv"));
        let value = |row: &BTreeMap<String, String>, name: &str| row[name].parse::<f64>().unwrap_or(0.0);
        let mut fill_bank_m3 = 0.0;
        for row in &table {
            let of = |name: &str| value(row, name);
            let fill = of("fill_compacted_m3") * if row["name"] == "property" { 0.0 } else { of("cut_fill_ratio") };
            fill_bank_m3 += fill;
            let given_inside = if row["name"] == "drains" { 250.0 } else { 0.0 };
            let from_drains = if row["name"] == "property" { 0.0 } else { of("from_drains_m3") };
            let fill = if row["name"] == "property" { fill_bank_m3 } else { fill };
            let into = of("cut_bank_m3") + of("from_places_m3") + of("drain_dug_m3") + from_drains + of("no_source_m3");
            let out = fill + of("to_places_m3") + of("drain_spread_m3") + of("no_place_m3") + given_inside;
            assert!((into - out).abs() < 1e-6, "{}: {into} against {out}", row["name"]);
        }
        let all = table.last().unwrap();
        let of = |name: &str| value(all, name);
        assert_eq!((of("drain_dug_m3"), of("from_drains_m3"), of("no_source_m3")), (1_680.0, 250.0, 50.0));
        assert_eq!((of("drain_spread_m3"), of("to_places_m3"), of("no_place_m3")), (910.0, 420.0, 100.0));
        // Carrying of the made-up spoil: 120 x 1.20 + 250 x 2.85 + 420 x 4.90 + 100 x 7.00; spared: 250 x 7.00.
        let earth: f64 = f.levelling.blocks.iter().map(|b| b.cost.likely).sum();
        assert_eq!(of("cost_likely"), (earth + 144.0 + 712.5 + 2_058.0 + 700.0 - 1_750.0_f64).round());
    }

    /// The drain contractor reads of each drain how much goes where, how thick and how far.
    #[test]
    fn the_spoil_table_tells_all_of_it() {
        let documents = made(&farm());
        let table = rows(text(&documents, "tables/drain_spoil.csv"));
        let dug: f64 = table.iter().map(|r| r["volume_bank_m3"].parse::<f64>().unwrap()).sum();
        assert_eq!(dug, 1_680.0);
        let second: Vec<&str> = table.iter().filter(|r| r["drain"] == "DR-02").map(|r| r["goes"].as_str()).collect();
        assert_eq!(second.len(), 2);
        assert!(second[0] == "beside it" && second[1].starts_with("fill of block "), "{second:?}");
    }
}
