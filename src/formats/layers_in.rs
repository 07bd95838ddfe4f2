//! The optional layers of a site, from attributes as people name them.

use super::points_in::control_points;
use super::vector_in::{RawFeature, move_layer, read_layer};
use crate::finding::{Problem, Problems};
use crate::land::site::{
    BuriedService, ExistingTrack, GivenBlock, KeepArea, KeepKind, LevelLimit, NeighbourDrain, OutletPoint, PowerLine,
    SiteLayers, TopsoilZone, Waterway,
};
use crate::land::site_table::SiteTable;
use gdal::spatial_ref::SpatialRef;
use geo::{Area, Coord, Euclidean, Length, LineString, MinimumRotatedRect, MultiPolygon};
use std::path::Path;

const NAME: [&str; 3] = ["name", "label", "id"];

/// Reads every optional layer that is given; all problems are collected.
pub(super) fn read_layers(
    base: &Path,
    site: &SiteTable,
    working: &SpatialRef,
    problems: &mut Problems,
) -> (SiteLayers, Vec<String>) {
    let mut layers = SiteLayers::default();
    let mut not_given = Vec::new();
    for (key, source) in site.optional_layers() {
        let Some(source) = source else {
            not_given.push(key.to_owned());
            continue;
        };
        let features = read_layer(base, key, source, site.crs.as_deref());
        let result = if key == "control_point" {
            features.and_then(|raw| control_points(raw, working)).map(|points| layers.control_points = points)
        } else {
            features
                .and_then(|raw| move_layer(raw, working, key))
                .and_then(|features| take(&mut layers, key, source, &features))
        };
        if let Err(problem) = result {
            problems.push(problem);
        }
    }
    (layers, not_given)
}

fn take(layers: &mut SiteLayers, key: &str, source: &str, features: &[RawFeature]) -> Result<(), Problem> {
    let wrong_kind = |wanted: &str| {
        Problem::data("wrong_geometry", format!("`site.{key}`: `{source}` holds no {wanted}"))
            .hint(format!("this input takes {wanted}"))
    };
    match key {
        "waterway" => layers.waterways = waterways(features),
        "keep_area" => layers.keep_areas = keep_areas(features),
        "power_line" => layers.power_lines = power_lines(features),
        "track" => layers.tracks = tracks(features),
        "old_tree_row" => layers.old_tree_rows = features.iter().flat_map(RawFeature::lines).collect(),
        "outlet" => layers.outlets = outlets(features),
        "topsoil" => layers.topsoil = topsoil(features)?,
        "level_limit" => layers.level_limits = level_limits(features)?,
        "buried_service" => layers.buried_services = buried_services(features),
        "neighbour_drain" => layers.neighbour_drains = neighbour_drains(features),
        "loading_place" => layers.loading_place = first_place(features),
        "water_supply" => layers.water_supply = first_place(features),
        _ => {}
    }
    let empty = match key {
        "waterway" => layers.waterways.is_empty().then_some("lines or polygons"),
        "keep_area" => layers.keep_areas.is_empty().then_some("polygons"),
        "power_line" => layers.power_lines.is_empty().then_some("lines"),
        "track" => layers.tracks.is_empty().then_some("lines"),
        "old_tree_row" => layers.old_tree_rows.is_empty().then_some("lines"),
        "outlet" => layers.outlets.is_empty().then_some("points"),
        "topsoil" => layers.topsoil.is_empty().then_some("polygons"),
        "level_limit" => layers.level_limits.is_empty().then_some("polygons"),
        "buried_service" => layers.buried_services.is_empty().then_some("lines"),
        "neighbour_drain" => layers.neighbour_drains.is_empty().then_some("lines"),
        "loading_place" => layers.loading_place.is_none().then_some("points"),
        "water_supply" => layers.water_supply.is_none().then_some("points"),
        _ => None,
    };
    empty.map_or(Ok(()), |wanted| Err(wrong_kind(wanted)))
}

fn waterways(features: &[RawFeature]) -> Vec<Waterway> {
    let mut list: Vec<Waterway> = Vec::new();
    for feature in features {
        let order = feature.number(&["order", "strahler", "stream_order"]).filter(|o| (1.0..=12.0).contains(o));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within 1 to 12")]
        let order = order.map(|o| o.round() as u8);
        let width_m = feature.number(&["width_m", "width"]).filter(|w| *w > 0.0);
        let banks = feature.areas();
        let lines =
            banks.as_ref().map_or_else(|| feature.lines(), |banks| banks.0.iter().filter_map(long_axis).collect());
        for line in lines {
            let id = u32::try_from(list.len() + 1).unwrap_or(u32::MAX);
            let name = feature.text(&NAME).unwrap_or_else(|| format!("waterway {id}"));
            list.push(Waterway { id, name, line, banks: banks.clone(), order, width_m });
        }
    }
    list
}

/// A stand-in centre line of a bank-to-bank polygon: the long axis of its smallest rectangle, bent to the middle of the
/// polygon at twenty stations.
fn long_axis(polygon: &geo::Polygon<f64>) -> Option<LineString<f64>> {
    use geo::{BooleanOps, Centroid, MultiLineString};
    let rect = polygon.minimum_rotated_rect()?;
    let c: Vec<Coord<f64>> = rect.exterior().0.clone();
    let (a, b) = (Euclidean.length(&geo::Line::new(c[0], c[1])), Euclidean.length(&geo::Line::new(c[1], c[2])));
    let (p, q, r, s) = if a >= b { (c[0], c[1], c[3], c[2]) } else { (c[1], c[2], c[0], c[3]) };
    let between = |from: Coord<f64>, to: Coord<f64>, f: f64| from + (to - from) * f;
    let middles: Vec<Coord<f64>> = (0..=20)
        .filter_map(|i| {
            let f = (f64::from(i) / 20.0).clamp(0.005, 0.995);
            let across = LineString(vec![between(p, q, f), between(r, s, f)]);
            let inside = polygon.clip(&MultiLineString(vec![across]), false);
            inside
                .0
                .iter()
                .max_by(|x, y| Euclidean.length(*x).total_cmp(&Euclidean.length(*y)))?
                .centroid()
                .map(|m| m.0)
        })
        .collect();
    (middles.len() >= 2).then_some(LineString(middles))
}

fn keep_areas(features: &[RawFeature]) -> Vec<KeepArea> {
    features
        .iter()
        .filter_map(|f| {
            let reason = f.text(&["reason", "kind", "type", "name"]).unwrap_or_else(|| "reason not given".to_owned());
            Some(KeepArea { outline: f.areas()?, kind: keep_kind(&reason), reason })
        })
        .collect()
}

fn keep_kind(reason: &str) -> KeepKind {
    let reason = reason.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|w| reason.contains(w));
    if has(&["wetland", "lagoon", "swamp", "marsh"]) {
        KeepKind::Wetland
    } else if has(&["heritage", "cultural", "burial", "archaeolog"]) {
        KeepKind::Heritage
    } else if has(&["veget", "tree", "scrub", "forest", "habitat", "shelter", "wood"]) {
        KeepKind::Vegetation
    } else if has(&["building", "house", "shed", "yard", "dam", "pad", "structure"]) {
        KeepKind::Structure
    } else {
        KeepKind::Other
    }
}

fn power_lines(features: &[RawFeature]) -> Vec<PowerLine> {
    each_line(features, |f, line| PowerLine {
        line,
        clearance_m: f.number(&["clearance_m", "clearance_height_m", "clearance"]),
        easement_m: f.number(&["easement_m", "easement_width_m", "easement"]),
    })
}

fn tracks(features: &[RawFeature]) -> Vec<ExistingTrack> {
    each_line(features, |f, line| ExistingTrack {
        name: f.text(&["name", "kind"]).unwrap_or_default(),
        line,
        width_m: f.number(&["width_m", "width"]),
    })
}

fn each_line<T>(features: &[RawFeature], make: impl Fn(&RawFeature, LineString<f64>) -> T) -> Vec<T> {
    features.iter().flat_map(|f| f.lines().into_iter().map(|line| make(f, line)).collect::<Vec<_>>()).collect()
}

fn outlets(features: &[RawFeature]) -> Vec<OutletPoint> {
    features
        .iter()
        .enumerate()
        .filter_map(|(i, f)| {
            Some(OutletPoint {
                name: f.text(&NAME).unwrap_or_else(|| format!("outlet {}", i + 1)),
                at: *f.points().first()?,
                level_m: f.number(&["level_m", "level", "invert_m", "rl"]).or(f.z),
                tailwater_m: f.number(&["tailwater_m", "tailwater"]),
            })
        })
        .collect()
}

fn topsoil(features: &[RawFeature]) -> Result<Vec<TopsoilZone>, Problem> {
    features
        .iter()
        .filter_map(|f| f.areas().map(|outline| (f, outline)))
        .map(|(f, outline)| {
            let depth_m = f.number(&["depth_m"]).or_else(|| f.number(&["depth_mm"]).map(|mm| mm / 1_000.0));
            depth_m.filter(|d| (0.0..=5.0).contains(d)).map(|depth_m| TopsoilZone { outline, depth_m }).ok_or_else(
                || {
                    Problem::data(
                        "attribute_missing",
                        "`site.topsoil`: a zone has no `depth_mm` (or `depth_m`) between 0 and 5 m",
                    )
                },
            )
        })
        .collect()
}

fn level_limits(features: &[RawFeature]) -> Result<Vec<LevelLimit>, Problem> {
    features
        .iter()
        .filter_map(|f| f.areas().map(|outline| (f, outline)))
        .map(|(f, outline)| {
            let level_m = f
                .number(&["level_m", "level"])
                .ok_or_else(|| Problem::data("attribute_missing", "`site.level_limit`: an area has no `level_m`"))?;
            Ok(LevelLimit { outline, level_m, reason: f.text(&["reason", "kind", "name"]).unwrap_or_default() })
        })
        .collect()
}

fn buried_services(features: &[RawFeature]) -> Vec<BuriedService> {
    each_line(features, |f, line| BuriedService {
        kind: f.text(&["kind", "name", "type"]).unwrap_or_else(|| "buried service".to_owned()),
        line,
        cover_m: f.number(&["cover_m", "cover"]),
    })
}

fn neighbour_drains(features: &[RawFeature]) -> Vec<NeighbourDrain> {
    each_line(features, |f, line| NeighbourDrain {
        name: f.text(&NAME).unwrap_or_default(),
        line,
        level_m: f.number(&["level_m", "level"]),
    })
}

fn first_place(features: &[RawFeature]) -> Option<Coord<f64>> {
    features.iter().find_map(|f| f.points().first().copied())
}

/// Blocks a surveyor drew.
pub(super) fn given_blocks(features: &[RawFeature]) -> Vec<GivenBlock> {
    let mut blocks = Vec::new();
    for feature in features {
        for outline in feature.areas().unwrap_or_else(|| MultiPolygon(Vec::new())) {
            if outline.unsigned_area() <= 0.0 {
                continue;
            }
            let name =
                feature.text(&["name", "block", "label"]).unwrap_or_else(|| format!("block {}", blocks.len() + 1));
            blocks.push(GivenBlock { name, outline, bearing_deg: feature.number(&["bearing_deg", "bearing"]) });
        }
    }
    blocks
}
