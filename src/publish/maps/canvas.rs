//! A map while it is drawn: layers one above the other, labels, and a legend of exactly what was drawn.

use crate::publish::drawing::{Drawing, Frame, escape};
use crate::publish::labels::Labels;

/// What can be switched on and off together, lowest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::publish) enum Layer {
    /// Ground to keep, strips along water.
    Keep,
    /// Row blocks with headlands.
    Blocks,
    /// Bands of slope, depth or cut and fill.
    Bands,
    /// Row lines.
    Rows,
    /// Contour lines.
    Contours,
    /// Waterways, ponds, lines water takes.
    Water,
    /// Tracks, wires, pipes, old tree rows.
    Standing,
    /// Debris.
    Debris,
    /// Drains, outlets and crossings.
    Drains,
    /// Arrows of fall, rows and haul.
    Arrows,
    /// Property and parcels.
    Boundary,
}

/// Every layer with its id and what the switch says, lowest first.
pub(in crate::publish) const LAYERS: [(Layer, &str, &str); 11] = [
    (Layer::Keep, "keep", "Areas kept"),
    (Layer::Blocks, "blocks", "Row blocks"),
    (Layer::Bands, "bands", "Cut and fill"),
    (Layer::Rows, "rows", "Rows"),
    (Layer::Contours, "contours", "Contours"),
    (Layer::Water, "water", "Water"),
    (Layer::Standing, "standing", "Tracks and services"),
    (Layer::Debris, "debris", "Debris plan"),
    (Layer::Drains, "drains", "Drains"),
    (Layer::Arrows, "arrows", "Arrows"),
    (Layer::Boundary, "boundary", "Boundary"),
];

/// A sample of the legend.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::publish) enum Sample {
    /// A filled box.
    Area(String),
    /// A line.
    Line(String),
    /// A symbol drawn round the origin, about 4 mm wide.
    Symbol(String),
}

/// A map under way.
#[derive(Debug)]
pub(in crate::publish) struct Canvas {
    /// Where it stands on the paper.
    pub frame: Frame,
    layers: Vec<Drawing>,
    /// Its labels.
    pub labels: Labels,
    /// What was drawn, in the order it was.
    pub key: Vec<(String, Sample)>,
}

impl Canvas {
    /// An empty map.
    pub(in crate::publish) fn new(frame: Frame) -> Self {
        Self { frame, layers: vec![Drawing::new(); LAYERS.len()], labels: Labels::new(frame), key: Vec::new() }
    }
    /// The drawing of a layer.
    pub(in crate::publish) fn on(&mut self, layer: Layer) -> &mut Drawing {
        &mut self.layers[layer as usize]
    }
    /// A line of the legend, once.
    pub(in crate::publish) fn key(&mut self, words: &str, sample: Sample) {
        if !self.key.iter().any(|(w, _)| w == words) {
            self.key.push((words.to_owned(), sample));
        }
    }
    /// A line of the legend for an area.
    pub(in crate::publish) fn key_area(&mut self, words: &str, look: &str) {
        self.key(words, Sample::Area(look.to_owned()));
    }
    /// A line of the legend for a line.
    pub(in crate::publish) fn key_line(&mut self, words: &str, look: &str) {
        self.key(words, Sample::Line(look.to_owned()));
    }
    /// A straight arrow with its middle at a place, pointing along a bearing.
    pub(in crate::publish) fn arrow(&mut self, layer: Layer, (x, y): (f64, f64), deg: f64, long: f64, look: &str) {
        let h = 0.5 * long;
        let head = (0.38 * long).min(1.6);
        self.on(layer).raw(&format!(
            "<path transform=\"translate({x:.2} {y:.2}) rotate({deg:.1})\" d=\"M0 {h:.2}V{:.2}M{:.2} {:.2}L0 {:.2}L{:.2} {:.2}\" \
             fill=\"none\" {look}/>",
            -h,
            -0.6 * head,
            head - h,
            -h,
            0.6 * head,
            head - h
        ));
    }
    /// The layers as groups that can be switched; labels stand above everything. `prefix` sets ids apart on a page.
    pub(in crate::publish) fn into_groups(self, prefix: &str) -> String {
        let mut out = String::new();
        let mut words = String::new();
        for (layer, id, _) in LAYERS {
            let body = self.layers_body(layer);
            if !body.is_empty() {
                out.push_str(&format!("<g data-layer=\"{}\">\n{body}</g>\n", escape(id)));
            }
            let mut d = Drawing::new();
            self.labels.draw(layer as usize, &mut d);
            let body = d.into_body();
            if !body.is_empty() {
                words.push_str(&format!("<g data-layer=\"{}\">\n{body}</g>\n", escape(id)));
            }
        }
        let (x, y) = self.frame.corner;
        let (w, h) = self.frame.size;
        format!(
            "<clipPath id=\"{prefix}-frame\"><rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"/></clipPath>\n\
             <g clip-path=\"url(#{prefix}-frame)\">\n{out}{words}</g>\n"
        )
    }
    fn layers_body(&self, layer: Layer) -> String {
        self.layers[layer as usize].clone().into_body()
    }
    /// The ids of the layers that hold something, lowest first.
    pub(in crate::publish) fn used(&self) -> Vec<(&'static str, &'static str)> {
        LAYERS.iter().filter(|(l, ..)| !self.layers_body(*l).is_empty()).map(|(_, id, title)| (*id, *title)).collect()
    }
}
