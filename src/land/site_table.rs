//! The `[site]` table of a pipeline file: what the user has.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The property and its inputs. Paths are relative to the pipeline file; `file.gpkg#layer` names one layer of a file.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SiteTable {
    /// Name of the property, printed on every sheet.
    #[serde(default)]
    pub name: String,
    /// Boundary: any polygon file OGR reads (GeoJSON, GeoPackage, Shapefile, KML).
    pub boundary: String,
    /// Attribute of the boundary file that names the parcels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parcel_name: Option<String>,
    /// Whether blocks may cross from one parcel into the next.
    #[serde(default)]
    pub parcels_worked_as_one: bool,
    /// Elevation: a raster GDAL reads, or points with heights (CSV, a vector file with Z, or a LAS or LAZ cloud).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elevation: Option<String>,
    /// Further sources of elevation of the same kinds, compared with those before them where they overlap. Where two
    /// rasters, or points and a raster, give a height, the one named first counts; points of several files make one surface.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub more_elevation: Vec<String>,
    /// Lines with heights (Z) the ground breaks along: drain edges, banks, headlands. Used with elevation points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub breakline: Option<String>,
    /// Vertical standard error of the elevation source (1 sigma), metres. Leave out when not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.001, max = 5.0))]
    pub elevation_sigma_m: Option<f64>,
    /// Unit of the heights: `m`, `ft` (international foot) or `us-ft` (US survey foot). Only needed when the file does not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elevation_unit: Option<String>,
    /// Vertical datum of the heights, as printed on sheets. Only needed when the file does not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vertical_datum: Option<String>,
    /// Coordinate system of inputs that do not say theirs (CSV points), for instance `EPSG:7856`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crs: Option<String>,
    /// Allow a datum change that is only known as "no shift" (its accuracy is printed).
    #[serde(default)]
    pub allow_null_datum_shift: bool,
    /// Mapped waterways, lines or polygons; attributes `name`, `order`, `width_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waterway: Option<String>,
    /// Areas to keep; attribute `reason`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub keep_area: Option<String>,
    /// Overhead power lines; attributes `clearance_m`, `easement_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub power_line: Option<String>,
    /// Roads and tracks that stay; attributes `name`, `width_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub track: Option<String>,
    /// Lines of the old tree rows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub old_tree_row: Option<String>,
    /// Places where water may leave; attributes `name`, `level_m`, `tailwater_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outlet: Option<String>,
    /// Topsoil depth zones; attribute `depth_mm` or `depth_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub topsoil: Option<String>,
    /// Levels no cut or drain may pass (acid-sulfate or sodic layer, watertable, rock); attributes `level_m`, `reason`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_limit: Option<String>,
    /// Buried pipes and cables; attributes `kind`, `cover_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub buried_service: Option<String>,
    /// Neighbours' drains; attributes `name`, `level_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub neighbour_drain: Option<String>,
    /// Pipes under tracks and banks, lines from end to end; attributes `name`, `diameter_mm`, `upper_level_m`, `lower_level_m`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub culvert: Option<String>,
    /// Places that give soil to blocks that lack it or take what is over; attributes `kind` (`borrow` or `spoil`), `name`,
    /// `capacity_m3` (bank; without a limit when left out), `price_per_m3` (beside the haul; 0 when left out).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earth_place: Option<String>,
    /// Points of known height the ground is checked against; attributes `name`, `height_m` (or Z).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub control_point: Option<String>,
    /// Where the crop is loaded (first point of the file).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loading_place: Option<String>,
    /// Where irrigation water comes from (first point of the file).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub water_supply: Option<String>,
    /// Currency of all money.
    #[serde(default = "currency")]
    pub currency: String,
    /// Date of the plan, as printed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan_date: Option<String>,
    /// Revision, as printed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<String>,
    /// Who prepared the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prepared_by: Option<String>,
    /// Who checked it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub checked_by: Option<String>,
    /// Dates, owners and licences of the data, as printed on every map.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub data_note: Option<String>,
}

fn currency() -> String {
    "AUD".to_owned()
}

impl SiteTable {
    /// Every source of heights: key and path, in the order of their standing, the breaklines last.
    #[must_use]
    pub fn height_sources(&self) -> Vec<(&'static str, &str)> {
        let first = self.elevation.as_deref().map(|p| ("elevation", p));
        let more = self.more_elevation.iter().map(|p| ("more_elevation", p.as_str()));
        first.into_iter().chain(more).chain(self.breakline.as_deref().map(|p| ("breakline", p))).collect()
    }
    /// The optional layers: key and path, in a fixed order.
    #[must_use]
    pub fn optional_layers(&self) -> [(&'static str, Option<&str>); 15] {
        [
            ("waterway", self.waterway.as_deref()),
            ("keep_area", self.keep_area.as_deref()),
            ("power_line", self.power_line.as_deref()),
            ("track", self.track.as_deref()),
            ("old_tree_row", self.old_tree_row.as_deref()),
            ("outlet", self.outlet.as_deref()),
            ("topsoil", self.topsoil.as_deref()),
            ("level_limit", self.level_limit.as_deref()),
            ("buried_service", self.buried_service.as_deref()),
            ("neighbour_drain", self.neighbour_drain.as_deref()),
            ("culvert", self.culvert.as_deref()),
            ("earth_place", self.earth_place.as_deref()),
            ("control_point", self.control_point.as_deref()),
            ("loading_place", self.loading_place.as_deref()),
            ("water_supply", self.water_supply.as_deref()),
        ]
    }
}
