//! Layer styles inside a GeoPackage, in the two open ways viewers read them: a `layer_styles` table with QML and SLD.

use crate::land::document::{GeometryKind, Layer, LayerStyle, Pattern};

const TABLE: &str = "CREATE TABLE layer_styles(id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,f_table_catalog TEXT(256),\
f_table_schema TEXT(256),f_table_name TEXT(256),f_geometry_column TEXT(256),styleName TEXT(30),styleQML TEXT,styleSLD TEXT,\
useAsDefault BOOLEAN,description TEXT,owner TEXT(30),ui TEXT(30),\
update_time DATETIME DEFAULT(strftime('%Y-%m-%dT%H:%M:%fZ','now')))";
const STAMP: &str = "2026-01-01T00:00:00.000Z";

/// The statements that add the table and one default style a layer.
pub(super) fn statements(layers: &[Layer]) -> Vec<String> {
    let mut list = vec![
        TABLE.to_owned(),
        format!(
            "INSERT INTO gpkg_contents(table_name,data_type,identifier,description,last_change,srs_id) \
             VALUES('layer_styles','attributes','layer_styles','','{STAMP}',0)"
        ),
    ];
    list.extend(layers.iter().map(|layer| {
        format!(
            "INSERT INTO layer_styles(f_table_catalog,f_table_schema,f_table_name,f_geometry_column,styleName,styleQML,styleSLD,\
             useAsDefault,description,owner,ui,update_time) VALUES('','','{}','geom','{}','{}','{}',1,'{}','','','{STAMP}')",
            quoted(&layer.name),
            quoted(&layer.name),
            quoted(&qml(layer)),
            quoted(&sld(layer)),
            quoted(&layer.title),
        )
    }));
    list
}

fn quoted(text: &str) -> String {
    text.replace('\'', "''")
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn rgba([r, g, b]: [u8; 3], a: u8) -> String {
    format!("{r},{g},{b},{a}")
}

fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn qml(layer: &Layer) -> String {
    let style = &layer.style;
    let symbol = match layer.kind {
        GeometryKind::Point => format!(
            "<symbol type=\"marker\" name=\"0\"><layer class=\"SimpleMarker\"><prop k=\"name\" v=\"circle\"/><prop k=\"color\" v=\"{}\"/>\
             <prop k=\"outline_color\" v=\"{}\"/><prop k=\"size\" v=\"2.4\"/></layer></symbol>",
            style.fill.map_or_else(|| rgba(style.stroke, 255), |[r, g, b, a]| rgba([r, g, b], a)),
            rgba(style.stroke, 255)
        ),
        GeometryKind::Line => format!(
            "<symbol type=\"line\" name=\"0\"><layer class=\"SimpleLine\"><prop k=\"line_color\" v=\"{}\"/><prop k=\"line_width\" v=\"{}\"/>\
             <prop k=\"line_style\" v=\"{}\"/></layer></symbol>",
            rgba(style.stroke, 255),
            style.stroke_mm,
            dash_name(style.pattern)
        ),
        GeometryKind::Area => format!(
            "<symbol type=\"fill\" name=\"0\"><layer class=\"SimpleFill\"><prop k=\"color\" v=\"{}\"/><prop k=\"outline_color\" v=\"{}\"/>\
             <prop k=\"outline_width\" v=\"{}\"/><prop k=\"style\" v=\"{}\"/></layer></symbol>",
            style.fill.map_or_else(|| rgba(style.stroke, 0), |[r, g, b, a]| rgba([r, g, b], a)),
            rgba(style.stroke, 255),
            style.stroke_mm,
            fill_name(style)
        ),
    };
    let labels = style.label.as_ref().map_or_else(String::new, |field| {
        format!(
            "<labeling type=\"simple\"><settings><text-style fieldName=\"{}\" fontSize=\"8\" textColor=\"0,0,0,255\"/></settings></labeling>",
            escaped(field)
        )
    });
    format!(
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'><qgis version=\"3.22\" styleCategories=\"Symbology|Labeling\" labelsEnabled=\"{}\">\
         <renderer-v2 type=\"singleSymbol\"><symbols>{symbol}</symbols></renderer-v2>{labels}</qgis>",
        u8::from(style.label.is_some())
    )
}

fn dash_name(pattern: Pattern) -> &'static str {
    match pattern {
        Pattern::Dashed => "dash",
        Pattern::Dotted => "dot",
        Pattern::Solid | Pattern::Hatched(_) => "solid",
    }
}

fn fill_name(style: &LayerStyle) -> &'static str {
    match (style.fill, style.pattern) {
        (None, _) => "no",
        (_, Pattern::Solid) => "solid",
        (_, Pattern::Dotted) => "dense6",
        (_, Pattern::Dashed) => "horizontal",
        (_, Pattern::Hatched(degrees)) if degrees >= 0 => "b_diagonal",
        (_, Pattern::Hatched(_)) => "f_diagonal",
    }
}

fn sld(layer: &Layer) -> String {
    let style = &layer.style;
    // SLD measures in pixels of 0.28 mm.
    let width_px = style.stroke_mm / 0.28;
    let dashes = match style.pattern {
        Pattern::Dashed => "<CssParameter name=\"stroke-dasharray\">5 3</CssParameter>",
        Pattern::Dotted => "<CssParameter name=\"stroke-dasharray\">1 3</CssParameter>",
        Pattern::Solid | Pattern::Hatched(_) => "",
    };
    let stroke = format!(
        "<Stroke><CssParameter name=\"stroke\">{}</CssParameter><CssParameter name=\"stroke-width\">{width_px:.2}</CssParameter>{dashes}</Stroke>",
        hex(style.stroke)
    );
    let fill = style.fill.map_or_else(String::new, |[r, g, b, a]| {
        format!(
            "<Fill><CssParameter name=\"fill\">{}</CssParameter><CssParameter name=\"fill-opacity\">{:.2}</CssParameter></Fill>",
            hex([r, g, b]),
            f64::from(a) / 255.0
        )
    });
    let symbolizer = match layer.kind {
        GeometryKind::Point => format!(
            "<PointSymbolizer><Graphic><Mark><WellKnownName>circle</WellKnownName>{fill}{stroke}</Mark><Size>8</Size></Graphic></PointSymbolizer>"
        ),
        GeometryKind::Line => format!("<LineSymbolizer>{stroke}</LineSymbolizer>"),
        GeometryKind::Area => format!("<PolygonSymbolizer>{fill}{stroke}</PolygonSymbolizer>"),
    };
    format!(
        "<StyledLayerDescriptor version=\"1.0.0\" xmlns=\"http://www.opengis.net/sld\"><NamedLayer><Name>{}</Name><UserStyle><FeatureTypeStyle>\
         <Rule>{symbolizer}</Rule></FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>",
        escaped(&layer.name)
    )
}
