//! A small SVG writer: a frame from working metres to paper, and escaped text.

use geo::{Coord, LineString, MultiPolygon, Polygon, Rect};
use std::fmt::Write as _;

/// From working metres to drawing units, north up, one scale both ways.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    west: f64,
    north: f64,
    /// Drawing units a metre.
    pub scale: f64,
    /// Size of the drawing.
    pub height: f64,
}

impl Frame {
    /// A frame of the given width that holds a rectangle with a margin of a twentieth all round.
    pub(super) fn around(rect: Rect<f64>, width: f64) -> Self {
        let margin = 0.05 * rect.width().max(rect.height()).max(1.0);
        let across = rect.width() + 2.0 * margin;
        let up = rect.height() + 2.0 * margin;
        // A long north-south property must not become a page-long strip.
        let scale = (width / across).min(1.1 * width / up);
        let west = rect.min().x - margin - 0.5 * (width / scale - across);
        Self { west, north: rect.max().y + margin, scale, height: up * scale }
    }
    /// A place on the drawing.
    pub(super) fn at(&self, p: Coord<f64>) -> (f64, f64) {
        ((p.x - self.west) * self.scale, (self.north - p.y) * self.scale)
    }
    fn trace(&self, out: &mut String, points: &[Coord<f64>], closed: bool) {
        for (i, p) in points.iter().enumerate() {
            let (x, y) = self.at(*p);
            let _ = write!(out, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
        }
        if closed {
            out.push('Z');
        }
    }
    /// Path data of a line.
    pub(super) fn line(&self, line: &LineString<f64>) -> String {
        let mut out = String::new();
        self.trace(&mut out, &line.0, false);
        out
    }
    /// Path data of an area with its holes.
    pub(super) fn area(&self, area: &Polygon<f64>) -> String {
        let mut out = String::new();
        for ring in std::iter::once(area.exterior()).chain(area.interiors()) {
            self.trace(&mut out, &ring.0, true);
        }
        out
    }
    /// Path data of several areas.
    pub(super) fn areas(&self, areas: &MultiPolygon<f64>) -> String {
        areas.iter().map(|a| self.area(a)).collect()
    }
}

/// Text made safe for markup.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Control characters are not allowed in XML at all.
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// One drawing as text.
pub(super) struct Drawing {
    body: String,
}

impl Drawing {
    /// An empty drawing.
    pub(super) const fn new() -> Self {
        Self { body: String::new() }
    }
    /// A path with presentation attributes (trusted text).
    pub(super) fn path(&mut self, d: &str, look: &str) {
        if !d.is_empty() {
            let _ = writeln!(self.body, "<path d=\"{d}\" {look}/>");
        }
    }
    /// Markup we wrote ourselves.
    pub(super) fn raw(&mut self, markup: &str) {
        self.body.push_str(markup);
        self.body.push('\n');
    }
    /// A label with a pale halo, so it reads over lines.
    pub(super) fn label(&mut self, (x, y): (f64, f64), text: &str, size: f64, look: &str) {
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\" stroke=\"#fff\" stroke-width=\"3\" \
             stroke-linejoin=\"round\" paint-order=\"stroke\" {look}>{}</text>",
            escape(text)
        );
    }
    /// The finished drawing: `id` sets its title and patterns apart from other drawings on the page.
    pub(super) fn finish(self, id: &str, title: &str, width: f64, height: f64) -> String {
        format!(
            "<svg viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" aria-labelledby=\"{id}-t\" \
             font-family=\"system-ui, sans-serif\" fill=\"#222\">\n<title id=\"{id}-t\">{}</title>\n\
             <rect width=\"{width:.0}\" height=\"{height:.0}\" fill=\"#fff\"/>\n{}</svg>\n",
            escape(title),
            self.body,
        )
    }
}

/// The SVG name space: needed in a file of its own, not inside a page.
pub(super) const NAMESPACE: &str = "xmlns=\"http://www.w3.org/2000/svg\"";
