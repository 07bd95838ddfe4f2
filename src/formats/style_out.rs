//! Layer styles for the style table many viewers read (`layer_styles`), as QML and as Styled Layer Descriptor 1.1.

use crate::land::document::{GeometryKind, Layer, LayerStyle, Pattern};
use std::fmt::Write as _;

/// SQL that adds the style table with one default style a layer.
#[must_use]
pub fn statements(layers: &[Layer]) -> Vec<String> {
    let date = super::FIXED_DATE;
    let mut all = vec![
        "CREATE TABLE layer_styles(id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,f_table_catalog TEXT(256),\
         f_table_schema TEXT(256),f_table_name TEXT(256),f_geometry_column TEXT(256),styleName TEXT(30),styleQML TEXT,\
         styleSLD TEXT,useAsDefault BOOLEAN,description TEXT,owner TEXT(30),ui TEXT(30),\
         update_time DATETIME DEFAULT(strftime('%Y-%m-%dT%H:%M:%fZ','now')))"
            .to_owned(),
        format!(
            "INSERT INTO gpkg_contents(table_name,data_type,identifier,description,last_change,srs_id) \
             VALUES('layer_styles','attributes','layer_styles','','{date}',0)"
        ),
    ];
    for layer in layers {
        all.push(format!(
            "INSERT INTO layer_styles(f_table_catalog,f_table_schema,f_table_name,f_geometry_column,styleName,styleQML,\
             styleSLD,useAsDefault,description,owner,ui,update_time) \
             VALUES('','',{name},'geom',{name},{qml},{sld},1,{title},'',NULL,'{date}')",
            name = quoted(&layer.name),
            qml = quoted(&qml(layer)),
            sld = quoted(&sld(layer)),
            title = quoted(&layer.title),
        ));
    }
    all
}

fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', "''"))
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;").replace('\'', "&apos;")
}

fn hex(rgb: &[u8]) -> String {
    rgb.iter().take(3).fold("#".to_owned(), |mut s, v| {
        // Writing into a string cannot fail.
        let _ = write!(s, "{v:02x}");
        s
    })
}

/// Names of the hatchings: (brush in QML, mark in SLD), by the nearest eighth of a turn.
fn hatching(degrees: i16) -> (&'static str, &'static str) {
    match (degrees.rem_euclid(180) + 22) / 45 {
        1 => ("b_diagonal", "slash"),
        2 => ("vertical", "vertline"),
        3 => ("f_diagonal", "backslash"),
        _ => ("horizontal", "horline"),
    }
}

/// Features from which a layer is a crowd.
const CROWD: usize = 500;

/// Layer style as QML.
#[must_use]
pub fn qml(layer: &Layer) -> String {
    let style = &layer.style;
    let pen = match style.pattern {
        Pattern::Dashed => "dash",
        Pattern::Dotted => "dot",
        Pattern::Solid | Pattern::Hatched(_) => "solid",
    };
    let [r, g, b] = style.stroke;
    let stroke = format!("{r},{g},{b},255");
    let width = style.stroke_mm.to_string();
    let fill = style.fill.map_or_else(|| "0,0,0,0".to_owned(), |[r, g, b, a]| format!("{r},{g},{b},{a}"));
    let (kind, class, options) = match layer.kind {
        GeometryKind::Point => (
            "marker",
            "SimpleMarker",
            vec![
                ("name", "circle".to_owned()),
                ("size", "2".to_owned()),
                ("size_unit", "MM".to_owned()),
                ("color", if style.fill.is_some() { fill } else { stroke.clone() }),
                ("outline_color", stroke),
                ("outline_width", width),
                ("outline_width_unit", "MM".to_owned()),
            ],
        ),
        GeometryKind::Line => (
            "line",
            "SimpleLine",
            vec![
                ("line_color", stroke),
                ("line_width", width),
                ("line_width_unit", "MM".to_owned()),
                ("line_style", pen.to_owned()),
            ],
        ),
        GeometryKind::Area => (
            "fill",
            "SimpleFill",
            vec![
                ("color", fill),
                ("style", brush(style).to_owned()),
                ("outline_color", stroke),
                ("outline_width", width),
                ("outline_width_unit", "MM".to_owned()),
                ("outline_style", pen.to_owned()),
            ],
        ),
    };
    let options: String = options
        .iter()
        .map(|(n, v)| format!("<Option type=\"QString\" name=\"{n}\" value=\"{}\"/>", escaped(v)))
        .collect();
    let labels = style.label.as_ref().map_or_else(String::new, |field| {
        format!(
            "<labeling type=\"simple\"><settings calloutType=\"simple\"><text-style fieldName=\"{}\" fontSize=\"8\" \
             isExpression=\"0\" textColor=\"0,0,0,255\"/></settings></labeling>",
            escaped(field)
        )
    });
    format!(
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n\
         <qgis version=\"3.22.0\" styleCategories=\"Symbology|Labeling|Rendering\" labelsEnabled=\"{}\"{}>\
         <renderer-v2 type=\"singleSymbol\" symbollevels=\"0\" forceraster=\"0\" enableorderby=\"0\"><symbols>\
         <symbol type=\"{kind}\" name=\"0\" alpha=\"1\" clip_to_extent=\"1\" force_rhr=\"0\">\
         <layer class=\"{class}\" enabled=\"1\" locked=\"0\" pass=\"0\"><Option type=\"Map\">{options}</Option></layer>\
         </symbol></symbols></renderer-v2>{labels}</qgis>",
        u8::from(style.label.is_some()),
        from_scale(layer),
    )
}

/// A layer of very many points or lines covers the map under it unless one looks closely: it appears from a scale on.
fn from_scale(layer: &Layer) -> String {
    let one_in = match layer.kind {
        GeometryKind::Point if layer.features.len() > CROWD => 2_500,
        GeometryKind::Line if layer.features.len() > CROWD => 10_000,
        _ => return String::new(),
    };
    format!(" hasScaleBasedVisibilityFlag=\"1\" minScale=\"{one_in}\" maxScale=\"0\"")
}

fn brush(style: &LayerStyle) -> &'static str {
    match (style.fill, style.pattern) {
        (None, _) => "no",
        (_, Pattern::Solid) => "solid",
        (_, Pattern::Dotted) => "dense6",
        (_, Pattern::Dashed) => "horizontal",
        (_, Pattern::Hatched(degrees)) => hatching(degrees).0,
    }
}

/// Layer style as SLD 1.1 (OGC 05-078r4 and 05-077r4).
#[must_use]
pub fn sld(layer: &Layer) -> String {
    let style = &layer.style;
    let parameter = |name: &str, value: String| format!("<se:SvgParameter name=\"{name}\">{value}</se:SvgParameter>");
    let width = (style.stroke_mm / 0.28 * 100.0).round() / 100.0;
    let dashes = match style.pattern {
        Pattern::Dashed => parameter("stroke-dasharray", "8 4".to_owned()),
        Pattern::Dotted => parameter("stroke-dasharray", "1 3".to_owned()),
        Pattern::Solid | Pattern::Hatched(_) => String::new(),
    };
    let stroke = format!(
        "<se:Stroke>{}{}{dashes}</se:Stroke>",
        parameter("stroke", hex(&style.stroke)),
        parameter("stroke-width", width.to_string())
    );
    let fill = style.fill.map_or_else(String::new, |rgba| filling(rgba, style.pattern));
    let symbol = match layer.kind {
        GeometryKind::Point => format!(
            "<se:PointSymbolizer><se:Graphic><se:Mark><se:WellKnownName>circle</se:WellKnownName>\
             <se:Fill>{}</se:Fill>{stroke}</se:Mark><se:Size>7</se:Size></se:Graphic></se:PointSymbolizer>",
            parameter("fill", hex(style.fill.as_ref().map_or(&style.stroke[..], |f| &f[..3])))
        ),
        GeometryKind::Line => format!("<se:LineSymbolizer>{stroke}</se:LineSymbolizer>"),
        GeometryKind::Area => format!("<se:PolygonSymbolizer>{fill}{stroke}</se:PolygonSymbolizer>"),
    };
    let label = style.label.as_ref().map_or_else(String::new, |field| {
        format!(
            "<se:TextSymbolizer><se:Label><ogc:PropertyName>{}</ogc:PropertyName></se:Label></se:TextSymbolizer>",
            escaped(field)
        )
    });
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><StyledLayerDescriptor version=\"1.1.0\" \
         xmlns=\"http://www.opengis.net/sld\" xmlns:se=\"http://www.opengis.net/se\" \
         xmlns:ogc=\"http://www.opengis.net/ogc\"><NamedLayer><se:Name>{name}</se:Name><UserStyle><se:Name>{name}</se:Name>\
         <se:FeatureTypeStyle><se:Rule>{symbol}{label}</se:Rule></se:FeatureTypeStyle></UserStyle></NamedLayer>\
         </StyledLayerDescriptor>",
        name = escaped(&layer.name)
    )
}

fn filling(rgba: [u8; 4], pattern: Pattern) -> String {
    let colour = format!("<se:SvgParameter name=\"fill\">{}</se:SvgParameter>", hex(&rgba));
    let mark = match pattern {
        Pattern::Solid => {
            let opacity = (f64::from(rgba[3]) / 2.55).round() / 100.0;
            return format!(
                "<se:Fill>{colour}<se:SvgParameter name=\"fill-opacity\">{opacity}</se:SvgParameter></se:Fill>"
            );
        }
        Pattern::Dashed => "horline",
        Pattern::Dotted => "circle",
        Pattern::Hatched(degrees) => hatching(degrees).1,
    };
    format!(
        "<se:Fill><se:GraphicFill><se:Graphic><se:Mark><se:WellKnownName>{mark}</se:WellKnownName><se:Stroke>\
         <se:SvgParameter name=\"stroke\">{}</se:SvgParameter></se:Stroke></se:Mark></se:Graphic></se:GraphicFill></se:Fill>",
        hex(&rgba)
    )
}
