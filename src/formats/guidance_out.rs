//! The guidance folder: lines, fields and kept areas in every form a steering system may take, all from one set of
//! longitudes and latitudes, with true bearings measured along the geodesic between the written points.

use super::safe_text::{cell, clean};
use super::scratch::fault;
use super::taskdata_out::{Version, taskdata};
use super::transform::Mapper;
use super::{layers_out, safe_text};
use crate::finding::Problem;
use crate::land::document::{Feature, Field as Column, FieldKind, GeometryKind, Layer, LayerStyle, Pattern, Value};
use crate::land::geodesy::CrsTag;
use crate::land::guidance::GuidancePlan;
use crate::land::store::RenderedFile;
use crate::wording::counted;
use geo::{Coord, Geometry, LineString, MultiPolygon, Polygon};
use geographiclib_rs::{Geodesic, InverseGeodesic};

/// A guidance line in degrees.
pub struct Line {
    /// Name.
    pub name: String,
    /// Number of the block.
    pub block: u32,
    /// Number of the row it is for alone.
    pub row: Option<u32>,
    /// Longitude and latitude of its points.
    pub points: Vec<(f64, f64)>,
    /// Bearing on the grid, degrees.
    pub grid_bearing_deg: f64,
    /// Azimuth at A of the geodesic from A to B, degrees.
    pub true_bearing_deg: f64,
    /// Length from point to point along the ellipsoid, metres.
    pub length_m: f64,
    /// Pass width, metres.
    pub width_m: f64,
    /// Passes to the left and right.
    pub passes: (u32, u32),
}

/// Closed rings of an area, degrees: the outer one first.
pub type Rings = Vec<Vec<(f64, f64)>>;

/// A field in degrees.
pub struct Field {
    /// Number of the block.
    pub block: u32,
    /// Name as given.
    pub name: String,
    /// Area on the ground, square metres.
    pub area_m2: f64,
    /// Outer ring, then holes; closed.
    pub rings: Rings,
    /// Kept areas with the reason, each as rings.
    pub keep_outs: Vec<(String, Rings)>,
}

/// Everything the folder holds, in degrees.
pub struct Sheet {
    /// Customer, may be empty.
    pub customer: String,
    /// Farm.
    pub farm: String,
    /// What the degrees are on.
    pub datum: String,
    /// Code of the working grid.
    pub epsg: Option<u32>,
    /// Fields.
    pub fields: Vec<Field>,
    /// Lines.
    pub lines: Vec<Line>,
}

/// Every file of the folder; `folder` is its path in the run folder.
///
/// # Errors
/// `not_written`, or a place that has no longitude and latitude.
pub fn write(folder: &str, plan: &GuidancePlan, run_id: &str, tag: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
    let mapper = layers_out::to_degrees(tag)?;
    let sheet = sheet(plan, &mapper, tag).ok_or_else(|| fault(folder, "a place has no longitude and latitude"))?;
    let mut files = Vec::new();
    for layer in [lines(plan, &sheet), fields(plan, &sheet), keep_outs(plan, &sheet)].into_iter().flatten() {
        let name = &layer.name;
        files.extend(layers_out::geojson(&format!("{folder}/geojson/{name}.geojson"), &layer, 8, tag)?);
        files.extend(layers_out::shapefile(&format!("{folder}/shapefile/{name}.shp"), &layer, tag)?);
        files.extend(layers_out::kml(&format!("{folder}/kml/{name}.kml"), &layer, tag)?);
        if layer.kind == GeometryKind::Line {
            files.push(file(folder, "guidance_lines.csv", csv_text(&layer)?.into_bytes()));
        }
    }
    let failed = |e: std::io::Error| fault(folder, &e.to_string());
    files.push(file(folder, "TASKDATA/TASKDATA.XML", taskdata(&sheet, Version::Four).map_err(failed)?));
    files.push(file(folder, "TASKDATA_v3/TASKDATA/TASKDATA.XML", taskdata(&sheet, Version::Three).map_err(failed)?));
    files.push(file(folder, "READ_ME.txt", read_me(&sheet, tag, run_id).into_bytes()));
    Ok(files)
}

fn file(folder: &str, name: &str, bytes: Vec<u8>) -> RenderedFile {
    RenderedFile { path: format!("{folder}/{name}"), bytes }
}

fn sheet(plan: &GuidancePlan, mapper: &Mapper, tag: &CrsTag) -> Option<Sheet> {
    let place = |c: &Coord<f64>| mapper.point(*c).map(|p| (p.x, p.y));
    let ring = |r: &LineString<f64>| r.0.iter().map(place).collect::<Option<Vec<_>>>();
    let rings =
        |p: &Polygon<f64>| std::iter::once(p.exterior()).chain(p.interiors()).map(ring).collect::<Option<Vec<_>>>();
    let ellipsoid = Geodesic::wgs84();
    let mut lines = Vec::new();
    for line in &plan.lines {
        let points = ring(&line.line)?;
        let ((lon1, lat1), (lon2, lat2)) = (*points.first()?, *points.last()?);
        let (_, azimuth, _, _): (f64, f64, f64, f64) = ellipsoid.inverse(lat1, lon1, lat2, lon2);
        let length_m =
            points.windows(2).map(|p| InverseGeodesic::<f64>::inverse(&ellipsoid, p[0].1, p[0].0, p[1].1, p[1].0));
        lines.push(Line {
            name: line.name.clone(),
            block: line.block.0,
            row: line.row,
            length_m: length_m.sum(),
            points,
            grid_bearing_deg: line.grid_bearing.degrees(),
            true_bearing_deg: azimuth.rem_euclid(360.0),
            width_m: line.width_m,
            passes: line.passes,
        });
    }
    let mut fields = Vec::new();
    for field in &plan.fields {
        let parts = field.keep_outs.iter().flat_map(|(reason, areas)| areas.iter().map(move |a| (reason, a)));
        fields.push(Field {
            block: field.block.0,
            name: field.name.clone(),
            area_m2: field.area_m2,
            rings: rings(&field.outline)?,
            keep_outs: parts.map(|(reason, a)| Some((reason.clone(), rings(a)?))).collect::<Option<_>>()?,
        });
    }
    Some(Sheet {
        customer: plan.customer.clone(),
        farm: plan.farm.clone(),
        datum: degrees_datum(&plan.datum, mapper),
        epsg: tag.epsg,
        fields,
        lines,
    })
}

/// What the written degrees are on: files say "WGS 84", but a datum that was carried over unmoved is still itself.
fn degrees_datum(working: &str, mapper: &Mapper) -> String {
    match working {
        "GDA94" | "GDA2020" => "GDA2020".to_owned(),
        other if mapper.note.is_some() => other.to_owned(),
        _ => "WGS 84".to_owned(),
    }
}

/// A layer of plan features in working metres, which [`layers_out`] brings into degrees.
fn layer(
    name: &str,
    title: &str,
    kind: GeometryKind,
    columns: &[(&str, FieldKind)],
    features: Vec<Feature>,
) -> Option<Layer> {
    let fields = columns.iter().map(|(name, kind)| Column { name: (*name).to_owned(), kind: *kind }).collect();
    let style = LayerStyle {
        stroke: [0, 0, 0],
        stroke_mm: 0.35,
        fill: None,
        pattern: Pattern::Solid,
        label: Some("name".into()),
    };
    (!features.is_empty()).then(|| Layer {
        name: name.to_owned(),
        title: title.to_owned(),
        kind,
        fields,
        features,
        style,
    })
}

fn lines(plan: &GuidancePlan, sheet: &Sheet) -> Option<Layer> {
    use FieldKind::{Integer, Real, Text};
    let columns = &[
        ("name", Text),
        ("block", Integer),
        ("row", Integer),
        ("kind", Text),
        ("a_lat_deg", Real(8)),
        ("a_lon_deg", Real(8)),
        ("b_lat_deg", Real(8)),
        ("b_lon_deg", Real(8)),
        ("true_deg", Real(5)),
        ("grid_deg", Real(5)),
        ("length_m", Real(3)),
        ("width_m", Real(3)),
        ("left", Integer),
        ("right", Integer),
        ("datum", Text),
    ];
    let feature = |(source, line): (&crate::land::guidance::GuidanceLine, &Line)| {
        let (a, b) =
            (line.points.first().copied().unwrap_or_default(), line.points.last().copied().unwrap_or_default());
        let mut values: Vec<Value> = vec![line.name.as_str().into(), line.block.into(), line.row.into()];
        values.push(if source.is_curve() { "curve" } else { "straight" }.into());
        values.extend([a.1, a.0, b.1, b.0, line.true_bearing_deg, line.grid_bearing_deg].map(Value::from));
        values.extend([line.length_m, line.width_m].map(Value::from));
        values.extend([line.passes.0.into(), line.passes.1.into(), sheet.datum.as_str().into()]);
        Feature { geometry: Geometry::LineString(source.line.clone()), values }
    };
    let features = plan.lines.iter().zip(&sheet.lines).map(feature).collect();
    layer("guidance_lines", "Guidance lines, A to B", GeometryKind::Line, columns, features)
}

fn fields(plan: &GuidancePlan, sheet: &Sheet) -> Option<Layer> {
    use FieldKind::{Integer, Real, Text};
    let columns = &[
        ("customer", Text),
        ("farm", Text),
        ("name", Text),
        ("block", Integer),
        ("area_ha", Real(4)),
        ("datum", Text),
    ];
    let features = plan.fields.iter().map(|f| Feature {
        geometry: Geometry::Polygon(f.outline.clone()),
        values: vec![
            clean(&plan.customer).into(),
            clean(&plan.farm).into(),
            clean(&f.name).into(),
            f.block.0.into(),
            (f.area_m2 / crate::units::M2_PER_HA).into(),
            sheet.datum.as_str().into(),
        ],
    });
    layer("field_boundaries", "Fields", GeometryKind::Area, columns, features.collect())
}

/// Kept areas, each once however many fields it lies beside.
fn keep_outs(plan: &GuidancePlan, sheet: &Sheet) -> Option<Layer> {
    let mut seen: Vec<&(String, MultiPolygon<f64>)> = Vec::new();
    for area in plan.fields.iter().flat_map(|f| &f.keep_outs) {
        if !seen.contains(&area) {
            seen.push(area);
        }
    }
    let features = seen.into_iter().map(|(reason, areas)| Feature {
        geometry: Geometry::MultiPolygon(areas.clone()),
        values: vec![clean(reason).into(), sheet.datum.as_str().into()],
    });
    let columns = &[("name", FieldKind::Text), ("datum", FieldKind::Text)];
    layer("keep_outs", "Keep out", GeometryKind::Area, columns, features.collect())
}

fn csv_text(layer: &Layer) -> Result<String, Problem> {
    let failed = |e: csv::Error| fault("guidance_lines.csv", &e.to_string());
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(layer.fields.iter().map(|f| f.name.as_str())).map_err(failed)?;
    for feature in &layer.features {
        let cells = feature.values.iter().zip(&layer.fields).map(|(value, field)| match (value, field.kind) {
            (Value::Text(t), _) => cell(t),
            (Value::Integer(i), _) => i.to_string(),
            (Value::Real(x), FieldKind::Real(d)) => format!("{x:.*}", usize::from(d)),
            (Value::Real(x), _) => x.to_string(),
            (Value::Nothing, _) => String::new(),
        });
        writer.write_record(cells).map_err(failed)?;
    }
    let bytes = writer.into_inner().map_err(|e| fault("guidance_lines.csv", &e.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn read_me(sheet: &Sheet, tag: &CrsTag, run_id: &str) -> String {
    let code = tag.epsg.map_or_else(|| "no EPSG code".to_owned(), |code| format!("EPSG:{code}"));
    format!(
        "Guidance of {farm}, {run_id}\n\
         {n_lines}, {n_fields}\n\n\
         DATUM. Longitudes and latitudes are on {datum}. The formats in this folder can only say \"WGS 84\".\n\
         Grid bearings are in {grid} ({code}).\n\
         Set the correction service to the same datum and epoch and drive to one known point before work:\n\
         a datum left over from earlier work can move every line by more than a metre.\n\n\
         BEARINGS. `true_deg` is the azimuth at A of the geodesic from A to B; `grid_deg` the bearing on the grid.\n\n\
         TASKDATA/      ISO 11783-10 version 4.3: fields, keep-out areas, AB and curve patterns. Copy the whole folder.\n\
         TASKDATA_v3/   the same for terminals that take version 3 only: lines without patterns.\n\
         geojson/ shapefile/ kml/ guidance_lines.csv   for everything else.\n\n\
         Keep-out areas warn, they do not stop a machine. Walk the headlands, look up for wires and down for drains.\n",
        farm = safe_text::clean(&sheet.farm),
        n_lines = counted(sheet.lines.len(), "line"),
        n_fields = counted(sheet.fields.len(), "field"),
        datum = sheet.datum,
        grid = tag.name,
    )
}
