//! The boundary and the optional layers of the site table.

use super::centre_line::between_banks;
use super::open::Source;
use super::vector_in::{RawFeature, RawLayer};
use crate::finding::{Problem, Problems};
use crate::land::site::{
    BuriedService, ControlPoint, Culvert, EarthPlace, EarthPlaceKind, ExistingTrack, GivenBlock, KeepArea, KeepKind,
    LevelLimit, NeighbourDrain, OutletPoint, PowerLine, SiteLayers, TopsoilZone, Waterway,
};
use crate::land::site_table::SiteTable;
use crate::land::store::Wanted;
use gdal::spatial_ref::SpatialRef;
use geo::{Coord, LineString, MultiPolygon};
use std::path::Path;

/// Attribute names that hold a name.
const NAMES: [&str; 5] = ["name", "label", "title", "id", "block"];
/// Attribute names that hold a level.
const LEVELS: [&str; 8] = ["level_m", "level", "height_m", "height", "elevation", "elev", "rl", "z"];

/// Where layers come from and what they are brought into.
pub struct Context<'a> {
    /// Folder of the pipeline file.
    pub base: &'a Path,
    /// The site table.
    pub site: &'a SiteTable,
    /// `site.crs`, understood.
    pub fallback: Option<&'a SpatialRef>,
    /// Working system.
    pub working: &'a SpatialRef,
}

impl Context<'_> {
    /// Reads one layer into the working system.
    ///
    /// # Errors
    /// Whatever is wrong with the file.
    pub fn read(&self, key: &str, path: &str, notes: &mut Vec<String>) -> Result<RawLayer, Problem> {
        let source = Source::find(self.base, key, path)?;
        RawLayer::read(source, self.fallback)?.into_crs(self.working, self.site.allow_null_datum_shift, notes)
    }
}

/// The parcels of a boundary layer: name and outline.
///
/// # Errors
/// `not_polygons` when a feature is no area, `attribute_missing` when the chosen name attribute is not there.
pub fn parcels(layer: &RawLayer, chosen: Option<&str>) -> Result<Vec<(String, MultiPolygon<f64>)>, Problem> {
    let mut parcels = Vec::new();
    let wanted = chosen.map(str::to_lowercase);
    for (i, feature) in layer.features.iter().enumerate() {
        let outline = areas(feature, layer, i)?;
        let name = match &wanted {
            Some(attribute) => {
                if !feature.fields.contains_key(attribute)
                    && !layer.features.iter().any(|f| f.fields.contains_key(attribute))
                {
                    return Err(missing_attribute(layer, chosen.unwrap_or_default()));
                }
                feature.text(&[attribute])
            }
            None => feature.text(&["name"]),
        };
        parcels.push((name.map_or_else(|| format!("Parcel {}", i + 1), str::to_owned), outline));
    }
    Ok(parcels)
}

fn missing_attribute(layer: &RawLayer, name: &str) -> Problem {
    let known: Vec<String> = layer.features.iter().flat_map(|f| f.fields.keys()).map(|k| format!("`{k}`")).collect();
    let known: std::collections::BTreeSet<String> = known.into_iter().collect();
    Problem::request("attribute_missing", format!("{} has no attribute `{name}`", layer.source.label())).hint(
        if known.is_empty() {
            "it has no attributes; leave `parcel_name` out".to_owned()
        } else {
            format!("it has {}", known.into_iter().collect::<Vec<_>>().join(", "))
        },
    )
}

fn areas(feature: &RawFeature, layer: &RawLayer, i: usize) -> Result<MultiPolygon<f64>, Problem> {
    feature.areas().ok_or_else(|| wrong_kind(layer, i, "not_polygons", "an area"))
}

fn wrong_kind(layer: &RawLayer, i: usize, code: &str, wanted: &str) -> Problem {
    Problem::data(code, format!("feature {} of {} is not {wanted}", i + 1, layer.source.label()))
        .hint("check that the right layer was saved; close lines into areas in a GIS")
}

/// Reads every optional layer; returns the layers and the keys that were not given.
///
/// # Errors
/// Everything wrong with any of them.
pub fn optional(
    context: &Context,
    wanted: &Wanted,
    notes: &mut Vec<String>,
) -> Result<(SiteLayers, Vec<String>), Problems> {
    let mut layers = SiteLayers::default();
    let mut not_given = Vec::new();
    let mut problems = Problems::default();
    let given = context.site.optional_layers().into_iter().chain([
        ("given_blocks", wanted.given_blocks.as_deref()),
        ("previous_blocks", wanted.previous_blocks.as_deref()),
    ]);
    for (key, path) in given {
        match path {
            None if !key.ends_with("_blocks") => not_given.push(key.to_owned()),
            None => {}
            Some(path) => {
                let outcome = context.read(key, path, notes).and_then(|layer| take(key, &layer, &mut layers));
                if let Err(problem) = outcome {
                    problems.push(problem);
                }
            }
        }
    }
    problems.into_result((layers, not_given))
}

fn take(key: &str, layer: &RawLayer, into: &mut SiteLayers) -> Result<(), Problem> {
    for (i, feature) in layer.features.iter().enumerate() {
        match key {
            "waterway" => waterway(feature, layer, i, into)?,
            "keep_area" => {
                let reason = feature.text(&["reason", "kind", "type", "name"]).unwrap_or("kept").to_owned();
                into.keep_areas.push(KeepArea { outline: areas(feature, layer, i)?, kind: kind_of(&reason), reason });
            }
            "topsoil" => into
                .topsoil
                .push(TopsoilZone { outline: areas(feature, layer, i)?, depth_m: depth(feature, layer, i)? }),
            "level_limit" => into.level_limits.push(LevelLimit {
                outline: areas(feature, layer, i)?,
                level_m: needed(feature, layer, i, &LEVELS)?,
                reason: feature.text(&["reason", "kind", "name"]).unwrap_or("level limit").to_owned(),
            }),
            "outlet" | "earth_place" | "control_point" | "loading_place" | "water_supply" => {
                points(key, feature, layer, i, into)?
            }
            "given_blocks" => blocks(feature, layer, i, &mut into.given_blocks)?,
            "previous_blocks" => blocks(feature, layer, i, &mut into.previous_blocks)?,
            _ => lines(key, feature, layer, i, into)?,
        }
    }
    Ok(())
}

fn lines(key: &str, feature: &RawFeature, layer: &RawLayer, i: usize, into: &mut SiteLayers) -> Result<(), Problem> {
    let lines = feature.lines();
    if lines.is_empty() {
        return Err(wrong_kind(layer, i, "not_lines", "a line"));
    }
    let name = feature.text(&NAMES).unwrap_or_default().to_owned();
    for line in lines {
        match key {
            "power_line" => into.power_lines.push(PowerLine {
                line,
                clearance_m: feature.number(&["clearance_m", "clearance_height_m", "clearance", "height_m"]),
                easement_m: feature.number(&["easement_m", "easement_width_m", "easement", "width_m"]),
            }),
            "track" => into.tracks.push(ExistingTrack {
                name: name.clone(),
                line,
                width_m: feature.number(&["width_m", "width"]),
            }),
            "old_tree_row" => into.old_tree_rows.push(line),
            "buried_service" => into.buried_services.push(BuriedService {
                kind: feature.text(&["kind", "type", "service", "name"]).unwrap_or("buried service").to_owned(),
                line,
                cover_m: feature.number(&["cover_m", "cover", "depth_m", "depth"]),
            }),
            "culvert" => {
                let culvert = culvert(feature, line, into.culverts.len() + 1);
                into.culverts.push(culvert);
            }
            _ => into.neighbour_drains.push(NeighbourDrain {
                name: name.clone(),
                line,
                level_m: feature.number(&LEVELS),
            }),
        }
    }
    Ok(())
}

fn culvert(feature: &RawFeature, line: LineString<f64>, number: usize) -> Culvert {
    let diameter_mm = feature.number(&["diameter_mm", "diameter"]).map(|mm| mm / 1000.0);
    Culvert {
        name: feature.text(&NAMES).map_or_else(|| format!("culvert {number}"), str::to_owned),
        line,
        diameter_m: feature.number(&["diameter_m"]).or(diameter_mm),
        upper_level_m: feature.number(&["upper_level_m", "inlet_level_m"]),
        lower_level_m: feature.number(&["lower_level_m", "outlet_level_m"]),
    }
}

fn points(key: &str, feature: &RawFeature, layer: &RawLayer, i: usize, into: &mut SiteLayers) -> Result<(), Problem> {
    let at: Coord<f64> = *feature.points().first().ok_or_else(|| wrong_kind(layer, i, "not_points", "a point"))?;
    match key {
        "outlet" => {
            let name = feature.text(&NAMES).map_or_else(|| format!("outlet {}", i + 1), str::to_owned);
            let tailwater_m = feature.number(&["tailwater_m", "tailwater"]);
            into.outlets.push(OutletPoint { name, at, level_m: feature.number(&LEVELS), tailwater_m });
        }
        "earth_place" => into.earth_places.push(earth_place(feature, layer, i, at)?),
        "control_point" => {
            let height_m = match (feature.number(&LEVELS), feature.z) {
                (Some(h), _) | (None, Some(h)) => h,
                (None, None) => return Err(missing_number(layer, i, &LEVELS)),
            };
            let name = feature.text(&NAMES).map_or_else(|| format!("control point {}", i + 1), str::to_owned);
            into.control_points.push(ControlPoint { name, at, height_m });
        }
        // Only the first feature counts for the two single places.
        "loading_place" => drop(into.loading_place.get_or_insert(at)),
        _ => drop(into.water_supply.get_or_insert(at)),
    }
    Ok(())
}

fn earth_place(feature: &RawFeature, layer: &RawLayer, i: usize, at: Coord<f64>) -> Result<EarthPlace, Problem> {
    let said = feature.text(&["kind", "type", "use"]).unwrap_or_default().to_lowercase();
    let kind = match said.as_str() {
        "borrow" => EarthPlaceKind::Borrow,
        "spoil" => EarthPlaceKind::Spoil,
        _ => {
            let where_ = layer.source.label();
            return Err(Problem::data(
                "earth_place_kind",
                format!("feature {} of {where_} has the kind `{said}`", i + 1),
            )
            .hint("set the attribute `kind` to `borrow` (gives soil) or `spoil` (takes soil)"));
        }
    };
    let capacity_m3 = feature.number(&["capacity_m3", "capacity"]);
    let price_per_m3 = feature.number(&["price_per_m3", "price"]).unwrap_or(0.0);
    for (what, value) in [("capacity_m3", capacity_m3), ("price_per_m3", Some(price_per_m3))] {
        if let Some(value) = value.filter(|v| !(0.0..=1e6).contains(v)) {
            let where_ = layer.source.label();
            return Err(Problem::data(
                "earth_place_number",
                format!("feature {} of {where_} has `{what}` = {value}; it must lie from 0 to 1,000,000", i + 1),
            ));
        }
    }
    let name = feature.text(&NAMES).map_or_else(|| format!("{} {}", kind.word(), i + 1), str::to_owned);
    Ok(EarthPlace { name, kind, at, capacity_m3, price_per_m3 })
}

fn waterway(feature: &RawFeature, layer: &RawLayer, i: usize, into: &mut SiteLayers) -> Result<(), Problem> {
    let name = feature.text(&NAMES).map(str::to_owned);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..12")]
    let order = feature.number(&["order", "strahler", "stream_order"]).map(|o| o.clamp(1.0, 12.0) as u8);
    let width_m = feature.number(&["width_m", "width"]);
    let mut add = |line, banks| {
        let id = u32::try_from(into.waterways.len() + 1).unwrap_or(u32::MAX);
        let name = name.clone().unwrap_or_else(|| format!("waterway {id}"));
        into.waterways.push(Waterway { id, name, line, banks, order, width_m });
    };
    if let Some(areas) = feature.areas() {
        for area in areas.0 {
            let line = between_banks(&area).ok_or_else(|| wrong_kind(layer, i, "not_polygons", "a usable area"))?;
            add(line, Some(MultiPolygon(vec![area])));
        }
        return Ok(());
    }
    let lines = feature.lines();
    if lines.is_empty() {
        return Err(wrong_kind(layer, i, "not_lines", "a line or an area"));
    }
    for line in lines {
        add(line, None);
    }
    Ok(())
}

fn blocks(feature: &RawFeature, layer: &RawLayer, i: usize, into: &mut Vec<GivenBlock>) -> Result<(), Problem> {
    for outline in areas(feature, layer, i)?.0 {
        let number = into.len() + 1;
        let name =
            feature.text(&["name", "block", "label", "id"]).map_or_else(|| format!("block {number}"), str::to_owned);
        let bearing_deg = feature.number(&["bearing_deg", "bearing", "row_bearing"]);
        into.push(GivenBlock { name, outline, bearing_deg });
    }
    Ok(())
}

fn depth(feature: &RawFeature, layer: &RawLayer, i: usize) -> Result<f64, Problem> {
    if let Some(mm) = feature.number(&["depth_mm"]) {
        return Ok(mm / 1000.0);
    }
    needed(feature, layer, i, &["depth_m"])
}

fn needed(feature: &RawFeature, layer: &RawLayer, i: usize, names: &[&str]) -> Result<f64, Problem> {
    feature.number(names).ok_or_else(|| missing_number(layer, i, names))
}

fn missing_number(layer: &RawLayer, i: usize, names: &[&str]) -> Problem {
    let first = names.first().copied().unwrap_or_default();
    Problem::data("attribute_missing", format!("feature {} of {} has no number `{first}`", i + 1, layer.source.label()))
        .hint(format!("fill in the attribute `{first}`"))
}

/// What kind of kept area the words of a reason mean.
fn kind_of(reason: &str) -> KeepKind {
    let reason = reason.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|w| reason.contains(w));
    if has(&["wetland", "lagoon", "swamp", "marsh", "billabong", "melaleuca"]) {
        KeepKind::Wetland
    } else if has(&["heritage", "cultural", "burial", "grave", "artefact", "midden", "sacred"]) {
        KeepKind::Heritage
    } else if has(&["building", "house", "shed", "yard", "dam", "pad", "structure", "tank", "bore", "pump"]) {
        KeepKind::Structure
    } else if has(&["vegetation", "forest", "tree", "scrub", "shelter", "native", "habitat", "rainforest", "bush"]) {
        KeepKind::Vegetation
    } else {
        KeepKind::Other
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_tell_the_kind() {
        assert_eq!(kind_of("Remnant vegetation"), KeepKind::Vegetation);
        assert_eq!(kind_of("Lagoon"), KeepKind::Wetland);
        assert_eq!(kind_of("Old machinery shed"), KeepKind::Structure);
        assert_eq!(kind_of("Cultural site"), KeepKind::Heritage);
        assert_eq!(kind_of("neighbour asked"), KeepKind::Other);
    }
}
