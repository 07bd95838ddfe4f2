//! Earth balance of the property: what blocks lack and have over, what places and drains give.

use super::earth_tables::pairs;
use super::{Results, sheet};
use crate::land::blocks::BlockId;
use crate::land::document::{FieldKind, Table, Value};
use crate::land::levelling::{BlockEarth, PlaceHaul};
use crate::land::site::EarthPlaceKind;

use FieldKind::{Integer, Real, Text};

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
pub(super) fn table(results: &Results<'_>) -> Table {
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

/// One haul from or to a place, in words.
pub(super) fn place_words(haul: &PlaceHaul) -> String {
    let way = if haul.kind == EarthPlaceKind::Borrow { "from" } else { "to" };
    let (volume_m3, distance_m) = (haul.volume_m3, haul.distance_m);
    format!("{volume_m3:.0} m3 {way} {} over {distance_m:.0} m, {:.2} a m3 there", haul.place, haul.price_per_m3)
}
