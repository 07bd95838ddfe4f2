//! A small SVG writer: a frame from working metres to millimetres on paper, and escaped text.

use crate::land::typeface::{FAMILY, pieces, readable, width};
use geo::{Coord, LineString, MultiPolygon, Polygon, Rect};
use std::fmt::Write as _;

/// Scales maps are drawn at, as the figure after `1:`; beyond the last, whole multiples of it.
const SCALES: [f64; 19] = [
    500.0, 750.0, 1000.0, 1250.0, 1500.0, 2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 6000.0, 7500.0, 10_000.0, 12_500.0,
    15_000.0, 20_000.0, 25_000.0, 40_000.0, 50_000.0,
];

/// From working metres to millimetres on paper, north up, one scale both ways.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// Upper left corner on the paper, millimetres.
    pub corner: (f64, f64),
    /// Width and height on the paper, millimetres.
    pub size: (f64, f64),
    /// Middle of the land shown.
    centre: Coord<f64>,
    /// Millimetres on paper a metre of land.
    pub scale: f64,
}

impl Frame {
    /// The largest round scale at which a rectangle fits with 3 % to spare on each side.
    pub(super) fn round_scale(land: Rect<f64>, corner: (f64, f64), size: (f64, f64)) -> Self {
        let needed = Self::least_one_in(land, size);
        let last = SCALES[SCALES.len() - 1];
        let one_in =
            SCALES.iter().copied().find(|s| *s >= needed).unwrap_or_else(|| (needed / last).ceil().max(1.0) * last);
        Self { corner, size, centre: land.center(), scale: 1000.0 / one_in }
    }
    /// The scale at which a rectangle just fits with 3 % to spare on each side.
    pub(super) fn fitted(land: Rect<f64>, corner: (f64, f64), size: (f64, f64)) -> Self {
        Self { corner, size, centre: land.center(), scale: 1000.0 / Self::least_one_in(land, size) }
    }
    /// A frame of a given width from the upper left corner of the paper, as high as the land needs.
    pub(super) fn around(land: Rect<f64>, width: f64) -> Self {
        let up = (land.height().max(1.0) / land.width().max(1.0) * width).clamp(0.2 * width, 1.1 * width);
        Self::fitted(land, (0.0, 0.0), (width, up))
    }
    fn least_one_in(land: Rect<f64>, size: (f64, f64)) -> f64 {
        let across = land.width().max(1.0) * 1000.0 / (0.94 * size.0);
        let up = land.height().max(1.0) * 1000.0 / (0.94 * size.1);
        across.max(up)
    }
    /// The figure after `1:` of the scale.
    pub(super) fn one_in(&self) -> f64 {
        1000.0 / self.scale
    }
    /// The land inside the frame.
    pub(super) fn land(&self) -> Rect<f64> {
        let half = Coord { x: 0.5 * self.size.0 / self.scale, y: 0.5 * self.size.1 / self.scale };
        Rect::new(self.centre - half, self.centre + half)
    }
    /// A place on the paper.
    pub(super) fn at(&self, p: Coord<f64>) -> (f64, f64) {
        (
            self.corner.0 + 0.5 * self.size.0 + (p.x - self.centre.x) * self.scale,
            self.corner.1 + 0.5 * self.size.1 - (p.y - self.centre.y) * self.scale,
        )
    }
    /// The place on the land of a place on the paper.
    pub(super) fn land_at(&self, (x, y): (f64, f64)) -> Coord<f64> {
        Coord {
            x: self.centre.x + (x - self.corner.0 - 0.5 * self.size.0) / self.scale,
            y: self.centre.y - (y - self.corner.1 - 0.5 * self.size.1) / self.scale,
        }
    }
    /// Whether a place on the paper lies inside the frame.
    pub(super) fn holds(&self, (x, y): (f64, f64)) -> bool {
        x >= self.corner.0 && y >= self.corner.1 && x <= self.corner.0 + self.size.0 && y <= self.corner.1 + self.size.1
    }
    fn trace(&self, out: &mut String, points: &[Coord<f64>], closed: bool) {
        let mut last = None;
        for (i, p) in points.iter().enumerate() {
            let (x, y) = self.at(*p);
            let here = format!("{x:.2} {y:.2}");
            // Points that fall on one another at this scale are left out, but a line keeps its two ends.
            if last.as_ref() != Some(&here) || (i == 1 && points.len() == 2) {
                let _ = write!(out, "{}{here}", if i == 0 { "M" } else { "L" });
                last = Some(here);
            }
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
    // Control characters are not allowed in XML at all, and a name must not turn its neighbours.
    for c in super::sheet::one_line(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// One drawing as text.
#[derive(Debug, Clone, Default)]
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
    /// Plain text.
    pub(super) fn text(&mut self, (x, y): (f64, f64), text: &str, size: f64, look: &str) {
        let text = readable(text);
        let bold = look.contains("font-weight=\"700\"");
        let row = pieces(&text, bold);
        if row.iter().all(|p| p.face.other_family().is_none()) {
            self.element((x, y), &text, size, look);
            return;
        }
        // Other scripts stand in a font of their own, each piece at its place: a renderer that has to look for fonts and
        // to turn the order itself may lose letters that are joined.
        let share =
            [("\"middle\"", 0.5), ("\"end\"", 1.0)].into_iter().find(|(a, _)| look.contains(a)).map_or(0.0, |a| a.1);
        let mut at = x - share * width(&text, bold, size);
        let look = look.replace("text-anchor=\"middle\"", "").replace("text-anchor=\"end\"", "");
        for piece in row {
            match piece.face.other_family() {
                Some(family) => {
                    let look = look.replace("font-weight=\"700\"", "");
                    self.element((at, y), piece.text, size, &format!("{look} font-family=\"{family}\""));
                }
                None => self.element((at, y), piece.text, size, &format!("{look} xml:space=\"preserve\"")),
            }
            at += width(piece.text, bold, size);
        }
    }
    fn element(&mut self, (x, y): (f64, f64), text: &str, size: f64, look: &str) {
        let text = escape(text);
        let _ = writeln!(self.body, "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{size}\" {look}>{text}</text>");
    }
    /// Text with a pale halo, so it reads over lines.
    pub(super) fn label(&mut self, at: (f64, f64), text: &str, size: f64, look: &str) {
        let halo = format!(
            "stroke=\"#fff\" stroke-width=\"{:.2}\" stroke-linejoin=\"round\" paint-order=\"stroke\" {look}",
            0.28 * size
        );
        self.text(at, text, size, &halo);
    }
    /// What was drawn so far.
    pub(super) fn into_body(self) -> String {
        self.body
    }
    /// The finished drawing: `id` sets its title and patterns apart from other drawings on the page.
    pub(super) fn finish(self, id: &str, title: &str, width: f64, height: f64) -> String {
        format!(
            "<svg viewBox=\"0 0 {width:.2} {height:.2}\" role=\"img\" aria-labelledby=\"{id}-t\" \
             font-family=\"{FAMILY}\" fill=\"#222\">\n<title id=\"{id}-t\">{}</title>\n\
             <rect width=\"{width:.2}\" height=\"{height:.2}\" fill=\"#fff\"/>\n{}</svg>\n",
            escape(&readable(title)),
            self.body,
        )
    }
}

/// What makes a drawing a file of its own.
pub(super) const NAMESPACE: &str = "xmlns=\"http://www.w3.org/2000/svg\"";

/// A drawing as a file of its own: with the name space, and its size on paper in millimetres.
pub(super) fn standing_alone(svg: &str, width: f64, height: f64) -> String {
    let head = format!("<svg {NAMESPACE} width=\"{width}mm\" height=\"{height}mm\" ");
    svg.replacen("<svg ", &head, 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_map_takes_the_largest_round_scale_that_fits() {
        let land = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 1000.0, y: 500.0 });
        let frame = Frame::round_scale(land, (10.0, 10.0), (300.0, 250.0));
        // 1000 m on 282 mm needs 1:3546, so 1:4000 (arithmetic).
        assert!((frame.one_in() - 4000.0).abs() < 1e-9);
        assert_eq!(frame.at(land.center()), (160.0, 135.0));
        let (west, _) = frame.at(land.min());
        let (east, _) = frame.at(land.max());
        assert!((east - west - 250.0).abs() < 1e-9, "1000 m at 1:4000 are 250 mm");
        let huge = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 90_000.0, y: 500.0 });
        assert!(Frame::round_scale(huge, (0.0, 0.0), (300.0, 250.0)).one_in() >= 333_333.0);
    }

    #[test]
    fn markup_in_text_is_words() {
        let mut d = Drawing::new();
        d.label((1.0, 2.0), "<script>\"a\" & \u{202e}b\u{0}</script>", 3.0, "");
        let svg = d.finish("x", "</title><b>", 10.0, 10.0);
        assert!(
            !svg.contains("<script") && !svg.contains("<b>") && !svg.contains('\u{202e}') && !svg.contains('\u{0}')
        );
        assert!(svg.contains("&lt;script&gt;&quot;a&quot; &amp; b"));
        let mut d = Drawing::new();
        d.text((1.0, 2.0), "A \u{645}\u{632} \u{1f33e}", 3.0, "");
        let body = d.into_body();
        assert!(body.contains(">A </text>") && body.contains("font-family=\"Rowfall Arabic, "), "{body}");
    }
}
