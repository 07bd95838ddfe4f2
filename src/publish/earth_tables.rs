//! Tables and layers of the earthworks: what is moved, proven, offered, hauled and in doubt.

use super::layers::Plain;
use super::{Results, sheet, view};
use crate::land::blocks::{BlockId, RowBlock};
use crate::land::document::{FieldKind, GeometryKind, Layer, Pattern, Table, Value};
use crate::land::levelling::{BlockEarth, LevellingPlan, PlaceHaul, RiskArea, SoilRisk};
use crate::land::site::{EarthPlace, EarthPlaceKind};
use crate::land::terrain::Contour;
use geo::{Geometry, LineString, Point};

use FieldKind::{Integer, Real, Text};

/// Every table of the earthworks, in a fixed order.
pub(super) fn all(results: &Results<'_>) -> Vec<Table> {
    vec![earthworks(results), surfaces(results), hauls(results), haul_bands(results), balance(results), doubts(results)]
}

fn levelling<'a>(results: &Results<'a>) -> Option<&'a LevellingPlan> {
    results.plan().and_then(|p| p.levelling)
}

/// Blocks with their earth, in order of block.
fn pairs<'a>(results: &Results<'a>) -> Vec<(&'a RowBlock, &'a BlockEarth)> {
    let Some(plan) = results.plan() else { return Vec::new() };
    let blocks = plan.blocks.map_or(&[][..], |b| &b.blocks);
    blocks.iter().filter_map(|b| Some((b, view::earth(plan, b.id)?))).collect()
}

/// The earthworks of each block, volumes by every reckoning, with the proof.
fn earthworks(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("surface", Text),
        ("machine", Text),
        ("formed_ha", Real(2)),
        ("cut_bank_m3", Real(1)),
        ("fill_compacted_m3", Real(1)),
        ("cut_fill_ratio", Real(3)),
        ("borrow_bank_m3", Real(1)),
        ("no_place_bank_m3", Real(1)),
        ("max_cut_mm", Real(0)),
        ("max_fill_mm", Real(0)),
        ("haul_mean_m", Real(0)),
        ("haul_plan", Text),
        ("haul_by_band", Text),
        ("subsoil_ha", Real(2)),
        ("subsoil_shows_ha", Real(2)),
        ("least_topsoil_mm", Real(0)),
        ("strip_m3", Real(0)),
        ("edge_step_mm", Real(0)),
        ("moved_m3", Real(1)),
        ("least_m3", Real(1)),
        ("gap_pct", Real(3)),
        ("after_proof_pct", Real(2)),
        ("engine", Text),
        ("lattice_m", Real(1)),
        ("cut_four_point_m3", Real(1)),
        ("fill_four_point_m3", Real(1)),
        ("cut_prism_m3", Real(1)),
        ("fill_prism_m3", Real(1)),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("held_by", Text),
        ("limits_given_up", Text),
    ];
    let risks = |block: &RowBlock| -> Vec<&RiskArea> {
        levelling(results).map_or(&[][..], |l| &l.risk_areas).iter().filter(|a| a.block == block.id).collect()
    };
    let rows = pairs(results).into_iter().map(|(block, earth)| earthworks_row(block, earth, &risks(block))).collect();
    sheet::table("earthworks", "Earthworks by block", columns, rows)
}

fn earthworks_row(block: &RowBlock, earth: &BlockEarth, risks: &[&RiskArea]) -> Vec<Value> {
    let proof = earth.proof.as_ref();
    let mut from_m = 0.0;
    let mut bands = Vec::new();
    for band in &earth.bands {
        bands.push(format!("{from_m:.0}-{:.0} m: {:.0} m3", band.up_to_m, band.volume_m3));
        from_m = band.up_to_m;
    }
    vec![
        block.id.0.into(),
        block.name.as_str().into(),
        earth.surface.words().into(),
        earth.surface.machine().into(),
        (earth.formed_m2 / 1e4).into(),
        earth.cut_m3.into(),
        earth.fill_m3.into(),
        earth.cut_fill_ratio.into(),
        earth.borrow_m3.into(),
        earth.unplaced_m3.into(),
        (1_000.0 * earth.max_cut_m).into(),
        (1_000.0 * earth.max_fill_m).into(),
        earth.haul_mean_m.into(),
        haul_plan(earth).into(),
        bands.join("; ").into(),
        (earth.subsoil_m2 / 1e4).into(),
        (risks.iter().filter(|a| a.risk == SoilRisk::Bare).map(|a| a.area_m2).sum::<f64>() / 1e4).into(),
        risks.iter().map(|a| 1_000.0 * a.least_left_m).reduce(f64::min).into(),
        earth.strip_m3.into(),
        (1_000.0 * earth.edge_step_m).into(),
        proof.map(|p| p.moved_m3).into(),
        proof.map(|p| p.bound_m3).into(),
        proof.map(|p| 100.0 * p.gap_ratio()).into(),
        proof.map(|p| 100.0 * p.after_ratio).into(),
        proof.map(|p| if p.exact { "exact" } else { "fast" }).into(),
        proof.map(|p| p.lattice_m).into(),
        earth.checks.four_point_m3.0.into(),
        earth.checks.four_point_m3.1.into(),
        earth.checks.prisms_m3.0.into(),
        earth.checks.prisms_m3.1.into(),
        earth.cost.low.into(),
        earth.cost.likely.into(),
        earth.cost.high.into(),
        earth.binding.join("; ").into(),
        earth.given_up.join("; ").into(),
    ]
}

/// Every kind of surface offered for each block.
fn surfaces(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("surface", Text),
        ("machine", Text),
        ("keeps_limits", Text),
        ("cut_bank_m3", Real(0)),
        ("fill_compacted_m3", Real(0)),
        ("least_moved_m3", Real(0)),
        ("haul_mean_m", Real(0)),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("taken", Text),
        ("remarks", Text),
    ];
    let yes = |b: bool| if b { "yes" } else { "no" };
    let rows = pairs(results)
        .into_iter()
        .flat_map(|(block, earth)| earth.offers.iter().map(move |offer| (block, earth, offer)))
        .map(|(block, earth, offer)| {
            vec![
                block.id.0.into(),
                block.name.as_str().into(),
                offer.surface.words().into(),
                offer.surface.machine().into(),
                yes(offer.keeps_limits).into(),
                offer.cut_m3.into(),
                offer.fill_m3.into(),
                offer.least_moved_m3.into(),
                offer.haul_mean_m.into(),
                offer.cost.low.into(),
                offer.cost.likely.into(),
                offer.cost.high.into(),
                yes(offer.surface == earth.surface).into(),
                offer.remarks.join("; ").into(),
            ]
        })
        .collect();
    sheet::table("surfaces", "Surfaces compared, block by block", columns, rows)
}

const HAUL: &[(&str, FieldKind)] = &[
    ("block", Integer),
    ("volume_bank_m3", Real(0)),
    ("distance_m", Real(0)),
    ("from_e", Real(1)),
    ("from_n", Real(1)),
    ("to_e", Real(1)),
    ("to_n", Real(1)),
];

fn haul_rows(results: &Results<'_>) -> Vec<(Geometry<f64>, Vec<Value>)> {
    pairs(results)
        .into_iter()
        .flat_map(|(block, earth)| earth.hauls.iter().map(move |haul| (block, haul)))
        .map(|(block, h)| {
            let values = vec![
                block.id.0.into(),
                h.volume_m3.into(),
                h.distance_m.into(),
                h.from.x.into(),
                h.from.y.into(),
                h.to.x.into(),
                h.to.y.into(),
            ];
            (Geometry::LineString(LineString(h.path.clone())), values)
        })
        .collect()
}

/// The main hauls.
fn hauls(results: &Results<'_>) -> Table {
    let rows = haul_rows(results).into_iter().map(|(_, values)| values).collect();
    sheet::table("hauls", "Main hauls, cut to fill", HAUL, rows)
}

/// The main hauls as a layer.
pub(super) fn haul_layer(results: &Results<'_>) -> Option<Layer> {
    Plain {
        name: "haul",
        title: "Main hauls, cut to fill",
        kind: GeometryKind::Line,
        columns: HAUL,
        stroke: [90, 60, 30],
        fill: None,
        pattern: Pattern::Solid,
        label: None,
    }
    .with(haul_rows(results))
}

/// How the hauls were found.
fn haul_plan(earth: &BlockEarth) -> &'static str {
    if earth.hauls_cheapest { "cheapest by machine, proven" } else { "shortest, each by its cheapest machine" }
}

/// What each machine carries over each band of distance.
fn haul_bands(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("from_m", Real(0)),
        ("up_to_m", Real(0)),
        ("machine", Text),
        ("volume_bank_m3", Real(0)),
        ("share_of_band_pct", Real(0)),
        ("band_price_per_m3_low", Real(2)),
        ("band_price_per_m3_likely", Real(2)),
        ("band_price_per_m3_high", Real(2)),
        ("haul_plan", Text),
    ];
    let mut rows: Vec<Vec<Value>> = Vec::new();
    for (block, earth) in pairs(results) {
        let mut from_m = 0.0;
        for band in &earth.bands {
            for (machine, volume_m3) in &band.by_machine {
                rows.push(vec![
                    block.id.0.into(),
                    block.name.as_str().into(),
                    from_m.into(),
                    band.up_to_m.into(),
                    machine.words().into(),
                    (*volume_m3).into(),
                    (100.0 * volume_m3 / band.volume_m3).into(),
                    band.price_per_m3.low.into(),
                    band.price_per_m3.likely.into(),
                    band.price_per_m3.high.into(),
                    haul_plan(earth).into(),
                ]);
            }
            from_m = band.up_to_m;
        }
    }
    sheet::table("haul_bands", "Hauls by distance and machine", columns, rows)
}

/// Soil of one block or of the property, bank cubic metres.
#[derive(Default)]
struct Soil {
    lacks: f64,
    over: f64,
    from_places: f64,
    to_places: f64,
    no_source: f64,
    no_place: f64,
    drain_spoil: f64,
}

impl Soil {
    fn of(earth: &BlockEarth, drain_spoil: f64) -> Self {
        let places =
            |kind: EarthPlaceKind| earth.places.iter().filter(|p| p.kind == kind).map(|p| p.volume_m3).sum::<f64>();
        Self {
            lacks: earth.borrow_m3.max(0.0),
            over: (-earth.borrow_m3).max(0.0),
            from_places: places(EarthPlaceKind::Borrow),
            to_places: places(EarthPlaceKind::Spoil),
            no_source: earth.unplaced_m3.max(0.0),
            no_place: (-earth.unplaced_m3).max(0.0),
            drain_spoil,
        }
    }

    fn and(self, other: &Self) -> Self {
        Self {
            lacks: self.lacks + other.lacks,
            over: self.over + other.over,
            from_places: self.from_places + other.from_places,
            to_places: self.to_places + other.to_places,
            no_source: self.no_source + other.no_source,
            no_place: self.no_place + other.no_place,
            drain_spoil: self.drain_spoil + other.drain_spoil,
        }
    }

    /// What drain spoil cannot make up for.
    fn still_needed(&self) -> f64 {
        (self.no_source - self.drain_spoil).max(0.0)
    }

    fn row(&self, number: Option<u32>, name: &str, places: &str) -> Vec<Value> {
        vec![
            number.into(),
            name.into(),
            self.lacks.into(),
            self.over.into(),
            self.from_places.into(),
            self.to_places.into(),
            self.no_source.into(),
            self.no_place.into(),
            self.drain_spoil.into(),
            self.still_needed().into(),
            places.into(),
        ]
    }
}

/// Earth balance of the property: what blocks lack and have over, what places and drains give. Drains are dug after the
/// blocks are designed; the spoil of a block's own drains lies at its edge, that of main drains is counted for the property.
pub(super) fn balance(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Integer),
        ("name", Text),
        ("lacks_bank_m3", Real(0)),
        ("over_bank_m3", Real(0)),
        ("from_places_m3", Real(0)),
        ("to_places_m3", Real(0)),
        ("no_source_m3", Real(0)),
        ("no_place_m3", Real(0)),
        ("drain_spoil_m3", Real(0)),
        ("still_needed_m3", Real(0)),
        ("places", Text),
    ];
    let drains = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.drains);
    let spoil = |of: Option<BlockId>| drains.iter().filter(|d| d.block == of).map(|d| d.excavation_m3).sum::<f64>();
    let mut rows = Vec::new();
    let mut all = Soil::default();
    for (block, earth) in pairs(results) {
        let soil = Soil::of(earth, spoil(Some(block.id)));
        let places: Vec<String> = earth.places.iter().map(place_words).collect();
        rows.push(soil.row(Some(block.id.0), &block.name, &places.join("; ")));
        all = all.and(&soil);
    }
    if !rows.is_empty() {
        let mains = Soil { drain_spoil: spoil(None), ..Soil::default() };
        rows.push(mains.row(None, "main drains", ""));
        rows.push(all.and(&mains).row(None, "property", "drain spoil is not in the price of the earthworks"));
    }
    sheet::table("earth_balance", "Earth balance of the property", columns, rows)
}

fn place_words(haul: &PlaceHaul) -> String {
    let way = if haul.kind == EarthPlaceKind::Borrow { "from" } else { "to" };
    let (volume_m3, distance_m) = (haul.volume_m3, haul.distance_m);
    format!("{volume_m3:.0} m3 {way} {} over {distance_m:.0} m, {:.2} a m3 there", haul.place, haul.price_per_m3)
}

/// Contours of the surface to be built.
pub(super) fn contour_layer(results: &Results<'_>) -> Option<Layer> {
    let contours = levelling(results).map_or(&[][..], |l| &l.contours);
    let value = |c: &Contour| vec![c.level_m.into(), (if c.major { "yes" } else { "no" }).into()];
    Plain {
        name: "design_contour",
        title: "Contours of the surface to be built",
        kind: GeometryKind::Line,
        columns: &[("level_m", Real(2)), ("heavy", Text)],
        stroke: [0, 90, 120],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("level_m"),
    }
    .with(contours.iter().map(|c| (Geometry::MultiLineString(c.lines.clone()), value(c))).collect())
}

/// Where yield is at risk because topsoil is cut away.
pub(super) fn risk_layer(results: &Results<'_>) -> Option<Layer> {
    let areas = levelling(results).map_or(&[][..], |l| &l.risk_areas);
    let name = |id: BlockId| pairs(results).into_iter().find(|(b, _)| b.id == id).map(|(b, _)| b.name.clone());
    let row = |a: &RiskArea| {
        vec![
            a.block.0.into(),
            name(a.block).into(),
            a.risk.words().into(),
            a.area_m2.into(),
            (1_000.0 * a.least_left_m).into(),
        ]
    };
    Plain {
        name: "yield_risk",
        title: "Yield at risk: topsoil cut thin or away",
        kind: GeometryKind::Area,
        columns: &[
            ("block", Integer),
            ("name", Text),
            ("risk", Text),
            ("area_m2", Real(0)),
            ("least_topsoil_mm", Real(0)),
        ],
        stroke: [170, 60, 20],
        fill: Some([170, 60, 20, 60]),
        pattern: Pattern::Hatched(45),
        label: None,
    }
    .with(areas.iter().map(|a| (Geometry::MultiPolygon(a.outline.clone()), row(a))).collect())
}

/// Places given that give or take soil, with what is carried.
pub(super) fn place_layer(results: &Results<'_>) -> Option<Layer> {
    let moved = |place: &EarthPlace| {
        let all = pairs(results).into_iter().flat_map(|(_, earth)| &earth.places);
        all.filter(|h| h.kind == place.kind && h.place == place.name).map(|h| h.volume_m3).sum::<f64>()
    };
    let row = |p: &EarthPlace| {
        vec![p.name.as_str().into(), p.kind.word().into(), p.capacity_m3.into(), p.price_per_m3.into(), moved(p).into()]
    };
    Plain {
        name: "earth_place",
        title: "Places that give or take soil",
        kind: GeometryKind::Point,
        columns: &[
            ("name", Text),
            ("kind", Text),
            ("capacity_m3", Real(0)),
            ("price_per_m3", Real(2)),
            ("volume_bank_m3", Real(0)),
        ],
        stroke: [90, 60, 30],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("name"),
    }
    .with(results.site.layers.earth_places.iter().map(|p| (Geometry::Point(Point(p.at)), row(p))).collect())
}

/// What moves the price of the earth.
fn doubts(results: &Results<'_>) -> Table {
    let columns = &[
        ("doubt", Text),
        ("cut_low_m3", Real(0)),
        ("cut_high_m3", Real(0)),
        ("cost_low", Real(0)),
        ("cost_high", Real(0)),
    ];
    let mut rows: Vec<Vec<Value>> = Vec::new();
    if let Some(plan) = levelling(results) {
        rows.extend(plan.doubts.iter().map(|d| {
            vec![d.what.as_str().into(), d.cut_m3.0.into(), d.cut_m3.1.into(), d.cost.0.into(), d.cost.1.into()]
        }));
        rows.push(vec![
            "all together".into(),
            plan.cut_range_m3.low.into(),
            plan.cut_range_m3.high.into(),
            plan.cost_range.low.into(),
            plan.cost_range.high.into(),
        ]);
    }
    sheet::table("earth_doubts", "What moves the price of the earth, largest swing first", columns, rows)
}
