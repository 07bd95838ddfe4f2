//! How things look on our maps: colours that colour-blind readers tell apart, and a pattern or dash for print in grey.
//!
//! Colours: Okabe, M., Ito, K. (2008), "Color universal design"; bands of cut and fill, slope and depth after
//! `ColorBrewer` (Harrower, M., Brewer, C. A. (2003), The Cartographic Journal 40, 27-37).

/// Property boundary.
pub(super) const BOUNDARY: &str =
    "fill=\"none\" stroke=\"#000\" stroke-width=\"0.6\" stroke-dasharray=\"4 1 0.8 1\" stroke-linejoin=\"round\"";
/// Parcel line.
pub(super) const PARCEL: &str = "fill=\"none\" stroke=\"#444\" stroke-width=\"0.3\" stroke-dasharray=\"1.6 0.8\"";
/// Contour line.
pub(super) const CONTOUR: &str = "fill=\"none\" stroke=\"#a08a64\" stroke-width=\"0.13\"";
/// Every fifth contour line.
pub(super) const CONTOUR_MAJOR: &str = "fill=\"none\" stroke=\"#86704a\" stroke-width=\"0.3\"";
/// Waterway.
pub(super) const WATERWAY: &str = "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"0.8\" stroke-linecap=\"round\"";
/// Water of a waterway mapped as an area.
pub(super) const BANKS: &str = "fill=\"#cfe6f5\" stroke=\"#0072b2\" stroke-width=\"0.25\"";
/// Line water takes over the ground.
pub(super) const DRAINAGE: &str =
    "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"0.3\" stroke-dasharray=\"2 0.7 0.4 0.7\"";
/// Track.
pub(super) const TRACK: &str = "fill=\"none\" stroke=\"#6e4628\" stroke-width=\"0.5\" stroke-dasharray=\"1.8 1\"";
/// New track.
pub(super) const NEW_TRACK: &str = "fill=\"none\" stroke=\"#6e4628\" stroke-width=\"0.5\" stroke-dasharray=\"0.8 0.5\"";
/// Overhead power line.
pub(super) const POWER: &str =
    "fill=\"none\" stroke=\"#b04a86\" stroke-width=\"0.55\" stroke-dasharray=\"0.5 1.2\" stroke-linecap=\"round\"";
/// Buried pipe or cable.
pub(super) const BURIED: &str = "fill=\"none\" stroke=\"#b04a86\" stroke-width=\"0.45\" stroke-dasharray=\"3 0.7\"";
/// Neighbour's drain.
pub(super) const NEIGHBOUR: &str =
    "fill=\"none\" stroke=\"#56b4e9\" stroke-width=\"0.55\" stroke-dasharray=\"2.4 0.8\"";
/// Old tree row.
pub(super) const OLD_ROW: &str = "fill=\"none\" stroke=\"#8fb59f\" stroke-width=\"0.2\"";
/// Row block.
pub(super) const BLOCK: &str = "fill=\"#f8efdb\" stroke=\"#7a5200\" stroke-width=\"0.35\" stroke-linejoin=\"round\"";
/// Row block where something else is shown inside.
pub(super) const BLOCK_EDGE: &str = "fill=\"none\" stroke=\"#5d4310\" stroke-width=\"0.3\" stroke-linejoin=\"round\"";
/// Headland.
pub(super) const HEADLAND: &str = "fill=\"#dedcd2\" stroke=\"none\"";
/// Row line.
pub(super) const ROW: &str = "fill=\"none\" stroke=\"#a89a55\" stroke-width=\"0.16\"";
/// Drain.
pub(super) const DRAIN: &str =
    "fill=\"none\" stroke=\"#c24e00\" stroke-width=\"0.75\" stroke-linejoin=\"round\" stroke-linecap=\"round\"";
/// Drain where it is not the subject.
pub(super) const DRAIN_THIN: &str = "fill=\"none\" stroke=\"#c24e00\" stroke-width=\"0.35\"";
/// Furrows in which water stands, and places where it goes over a ridge.
pub(super) const ROW_POND: &str = "fill=\"none\" stroke=\"#2a6fb0\" stroke-width=\"0.7\"";
pub(super) const ROW_SPILL: &str = "fill=\"#d55e00\" stroke=\"#fff\" stroke-width=\"0.2\"";
/// Windrow.
pub(super) const WINDROW: &str = "fill=\"none\" stroke=\"#5b3a1e\" stroke-width=\"0.9\"";
/// Windrow that stays along a bank.
pub(super) const WINDROW_STAYS: &str =
    "fill=\"none\" stroke=\"#00795a\" stroke-width=\"0.9\" stroke-dasharray=\"1.6 0.6\"";
/// Plantable land without rows.
pub(super) const LEFT_OUT: &str = "fill=\"#f2f2f2\" stroke=\"#999\" stroke-width=\"0.15\" stroke-dasharray=\"0.8 0.6\"";

/// Area kept, filled with a pattern; `p` is the prefix of the drawing's ids.
pub(super) fn keep(p: &str) -> String {
    format!("fill=\"url(#{p}-keep)\" stroke=\"#00795a\" stroke-width=\"0.3\"")
}
/// Strip kept free along water.
pub(super) fn buffer(p: &str) -> String {
    format!("fill=\"url(#{p}-dots)\" stroke=\"#56b4e9\" stroke-width=\"0.2\"")
}

/// A class of a band map: its lower edge, colour, pattern and words.
#[derive(Debug, Clone, Copy)]
pub(super) struct Class {
    /// Lower edge, in the unit of the raster.
    pub from: f64,
    /// Colour.
    pub colour: &'static str,
    /// Pattern laid over the colour: `cut1` to `cut3`, `fill1` to `fill3`, `wet`, or empty.
    pub pattern: &'static str,
    /// What the legend says.
    pub words: &'static str,
}

/// Cut, `ColorBrewer` `PuOr`, warm side.
pub(super) const CUT: [Class; 4] = [
    Class { from: 0.02, colour: "#fee0b6", pattern: "", words: "cut 0.02 to 0.05 m" },
    Class { from: 0.05, colour: "#fdb863", pattern: "cut1", words: "cut 0.05 to 0.10 m" },
    Class { from: 0.10, colour: "#e08214", pattern: "cut2", words: "cut 0.10 to 0.20 m" },
    Class { from: 0.20, colour: "#b35806", pattern: "cut3", words: "cut over 0.20 m" },
];
/// Fill, `ColorBrewer` `PuOr`, cold side.
pub(super) const FILL: [Class; 4] = [
    Class { from: 0.02, colour: "#d8daeb", pattern: "", words: "fill 0.02 to 0.05 m" },
    Class { from: 0.05, colour: "#b2abd2", pattern: "fill1", words: "fill 0.05 to 0.10 m" },
    Class { from: 0.10, colour: "#8073ac", pattern: "fill2", words: "fill 0.10 to 0.20 m" },
    Class { from: 0.20, colour: "#542788", pattern: "fill3", words: "fill over 0.20 m" },
];
/// Slope of the ground, `ColorBrewer` `YlOrBr`, light to dark.
pub(super) const SLOPE: [Class; 6] = [
    Class { from: 0.0, colour: "#ffffe5", pattern: "", words: "under 0.1 %: water stands" },
    Class { from: 0.001, colour: "#fff0bd", pattern: "", words: "0.1 to 0.2 %" },
    Class { from: 0.002, colour: "#fed98e", pattern: "", words: "0.2 to 0.5 %" },
    Class { from: 0.005, colour: "#fe9929", pattern: "", words: "0.5 to 1 %" },
    Class { from: 0.01, colour: "#cc6210", pattern: "", words: "1 to 3 %" },
    Class { from: 0.03, colour: "#7f2f04", pattern: "", words: "over 3 %: banks" },
];
/// Depth of standing water, `ColorBrewer` `Blues`.
pub(super) const POND: [Class; 3] = [
    Class { from: 0.01, colour: "#c6dbef", pattern: "wet", words: "water up to 0.10 m deep" },
    Class { from: 0.10, colour: "#6baed6", pattern: "wet", words: "water 0.10 to 0.30 m deep" },
    Class { from: 0.30, colour: "#2171b5", pattern: "wet", words: "water over 0.30 m deep" },
];
/// Soil loss, tonnes per hectare and year, `ColorBrewer` `YlGnBu` turned brown for soil: light to dark.
pub(super) const SOIL: [Class; 5] = [
    Class { from: 0.0, colour: "#fff7ec", pattern: "", words: "under 1 t/ha a year" },
    Class { from: 1.0, colour: "#fdd49e", pattern: "", words: "1 to 3 t/ha a year" },
    Class { from: 3.0, colour: "#fc8d59", pattern: "cut1", words: "3 to 10 t/ha a year" },
    Class { from: 10.0, colour: "#d7301f", pattern: "cut2", words: "10 to 30 t/ha a year" },
    Class { from: 30.0, colour: "#7f0000", pattern: "cut3", words: "over 30 t/ha a year" },
];

/// Patterns of a drawing.
pub(super) fn patterns(p: &str) -> String {
    let hatch = |id: &str, gap: f64, turn: f64, colour: &str, wide: f64| {
        format!(
            "<pattern id=\"{p}-{id}\" width=\"{gap}\" height=\"{gap}\" patternUnits=\"userSpaceOnUse\" \
             patternTransform=\"rotate({turn})\"><path d=\"M0 0V{gap}\" stroke=\"{colour}\" stroke-width=\"{wide}\"/></pattern>"
        )
    };
    let dots = |id: &str, gap: f64, colour: &str, r: f64| {
        format!(
            "<pattern id=\"{p}-{id}\" width=\"{gap}\" height=\"{gap}\" patternUnits=\"userSpaceOnUse\">\
             <circle cx=\"{0}\" cy=\"{0}\" r=\"{r}\" fill=\"{colour}\"/></pattern>",
            gap / 2.0
        )
    };
    format!(
        "<defs><pattern id=\"{p}-keep\" width=\"2.2\" height=\"2.2\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><rect width=\"2.2\" height=\"2.2\" fill=\"#e3f1ea\"/>\
         <path d=\"M0 0V2.2\" stroke=\"#00795a\" stroke-width=\"0.4\"/></pattern>\
         <pattern id=\"{p}-dots\" width=\"1.8\" height=\"1.8\" patternUnits=\"userSpaceOnUse\">\
         <rect width=\"1.8\" height=\"1.8\" fill=\"#e9f4fb\"/><circle cx=\"0.6\" cy=\"0.6\" r=\"0.22\" fill=\"#0072b2\"/></pattern>\
         {}{}{}{}{}{}{}</defs>\n",
        hatch("cut1", 1.8, 45.0, "#7a3c00", 0.14),
        hatch("cut2", 1.3, 45.0, "#5c2c00", 0.17),
        hatch("cut3", 0.9, 45.0, "#fff", 0.2),
        dots("fill1", 1.8, "#3b2467", 0.16),
        dots("fill2", 1.3, "#fff", 0.2),
        dots("fill3", 0.9, "#fff", 0.22),
        hatch("wet", 1.1, 90.0, "#08519c", 0.12),
    )
}
