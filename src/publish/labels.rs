//! Words on a map that keep out of each other's way.
//!
//! Each label comes with places it may stand, best first; it takes the first where it covers nothing that stands already
//! (boxes in an R-tree), or is left off and counted. Places on a line worth reading (a boundary, a drain) come only after
//! those beside it. What is placed first wins, so what matters most is placed first.

use super::drawing::{Drawing, Frame};
use crate::land::typeface::{readable, shortened, width};
use rstar::{AABB, RTree, primitives::Rectangle};

type Box2 = Rectangle<[f64; 2]>;

/// How a label looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Type {
    /// Size, millimetres.
    pub size: f64,
    /// Heavy.
    pub bold: bool,
    /// Further attributes (trusted text).
    pub look: &'static str,
}

/// A label that has its place.
#[derive(Debug, Clone)]
struct Placed {
    layer: usize,
    lines: Vec<String>,
    kind: Type,
    middle: (f64, f64),
    /// From the label to what it names, when it stands apart from it.
    leader: Option<(f64, f64)>,
}

/// The labels of one map.
#[derive(Debug)]
pub(super) struct Labels {
    taken: RTree<Box2>,
    /// What labels may cover only when there is no other room.
    shunned: RTree<Box2>,
    placed: Vec<Placed>,
    frame: Frame,
    /// How many found no room.
    pub left_off: usize,
}

/// Widest label, millimetres: longer names are cut with three dots.
const WIDEST: f64 = 62.0;
/// Room kept between labels, millimetres.
const APART: f64 = 0.4;

fn boxed((x, y): (f64, f64), (w, h): (f64, f64)) -> Box2 {
    let (w, h) = (0.5 * w + APART, 0.5 * h + 0.5 * APART);
    Box2::from_corners([x - w, y - h], [x + w, y + h])
}

impl Labels {
    /// No labels yet.
    pub(super) fn new(frame: Frame) -> Self {
        Self { taken: RTree::new(), shunned: RTree::new(), placed: Vec::new(), frame, left_off: 0 }
    }
    /// Keeps labels off a symbol.
    pub(super) fn keep_free(&mut self, middle: (f64, f64), size: f64) {
        self.taken.insert(boxed(middle, (size, size)));
    }
    /// Keeps labels off a line as long as they find room elsewhere.
    pub(super) fn shun(&mut self, line: &[(f64, f64)]) {
        for pair in line.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let steps = ((b.0 - a.0).hypot(b.1 - a.1) / 1.5).ceil().clamp(1.0, 500.0);
            let place = |k: f64| (a.0 + (b.0 - a.0) * k / steps, a.1 + (b.1 - a.1) * k / steps);
            let mut k = 0.0;
            while k < steps {
                let (p, q) = (place(k), place(k + 1.0));
                self.shunned.insert(Box2::from_corners([p.0, p.1], [q.0, q.1]));
                k += 1.0;
            }
        }
    }
    fn on_a_line(&self, b: &Box2) -> bool {
        let inside = AABB::from_corners(b.lower(), b.upper());
        self.shunned.locate_in_envelope_intersecting(&inside).next().is_some()
    }
    fn free(&self, b: &Box2) -> bool {
        let (low, high) = (b.lower(), b.upper());
        self.frame.holds((low[0], low[1]))
            && self.frame.holds((high[0], high[1]))
            && self.taken.locate_in_envelope_intersecting(&AABB::from_corners(low, high)).next().is_none()
    }
    /// Stands the label at the first free of the places (middles); `of` is what it names.
    fn stand(
        &mut self,
        layer: usize,
        lines: &[&str],
        kind: Type,
        places: impl Iterator<Item = ((f64, f64), Option<(f64, f64)>)>,
    ) -> bool {
        let lines: Vec<String> = lines.iter().map(|l| shortened(l, kind.bold, kind.size, WIDEST)).collect();
        let size = extent(&lines, kind);
        let mut second = None;
        let mut found = None;
        for (middle, leader) in places {
            let b = boxed(middle, size);
            if self.free(&b) {
                if !self.on_a_line(&b) {
                    found = Some((middle, leader, b));
                    break;
                }
                second = second.or(Some((middle, leader, b)));
            }
        }
        let Some((middle, leader, b)) = found.or(second) else {
            self.left_off += 1;
            return false;
        };
        self.taken.insert(b);
        self.placed.push(Placed { layer, lines, kind, middle, leader });
        true
    }
    /// Beside a point: round it, then further away with a thin line to it.
    pub(super) fn beside(&mut self, layer: usize, lines: &[&str], kind: Type, at: (f64, f64), clear: f64) -> bool {
        if !self.frame.holds(at) {
            return false;
        }
        let (w, h) =
            extent(&lines.iter().map(|l| shortened(l, kind.bold, kind.size, WIDEST)).collect::<Vec<_>>(), kind);
        let sides =
            [(1.0, -0.3), (-1.0, -0.3), (1.0, 0.6), (-1.0, 0.6), (0.0, -1.0), (0.0, 1.0), (0.7, -1.0), (-0.7, -1.0)];
        let places = [0.0, 3.5, 7.0, 11.0].into_iter().flat_map(move |out| {
            sides.into_iter().map(move |(sx, sy): (f64, f64)| {
                let x = at.0 + sx * (0.5 * w + clear + out);
                let y = at.1 + sy * (0.5 * h + clear + out);
                ((x, y), (out > 0.0).then_some(at))
            })
        });
        self.stand(layer, lines, kind, places)
    }
    /// On a place: there, or on widening rings round it.
    pub(super) fn on(&mut self, layer: usize, lines: &[&str], kind: Type, at: (f64, f64), spread: f64) -> bool {
        if !self.frame.holds(at) {
            return false;
        }
        let rings = (0..6).flat_map(move |ring| {
            let r = spread * f64::from(ring) / 5.0;
            let n = if ring == 0 { 1 } else { 12 };
            (0..n).map(move |k| {
                let turn = std::f64::consts::TAU * f64::from(k) / 12.0;
                ((at.0 + 1.4 * r * turn.cos(), at.1 + r * turn.sin()), None)
            })
        });
        self.stand(layer, lines, kind, rings)
    }
    /// Along a line: beside its middle, then towards its ends, on either side.
    pub(super) fn along(&mut self, layer: usize, lines: &[&str], kind: Type, line: &[(f64, f64)], clear: f64) -> bool {
        let (w, h) =
            extent(&lines.iter().map(|l| shortened(l, kind.bold, kind.size, WIDEST)).collect::<Vec<_>>(), kind);
        let shares = [0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.0, 1.0];
        let places: Vec<_> = [0.0, 4.0]
            .into_iter()
            .flat_map(|out| shares.iter().map(move |s| (out, *s)))
            .filter_map(|(out, share)| Some((out, point_at(line, share)?)))
            .flat_map(|(out, (p, (nx, ny)))| {
                [1.0, -1.0].map(|side| {
                    // As far out as the box reaches in that direction.
                    let reach = 0.5 * (w * nx.abs() + h * ny.abs()) + clear + out;
                    ((p.0 + side * nx * reach, p.1 + side * ny * reach), (out > 0.0).then_some(p))
                })
            })
            .collect();
        self.stand(layer, lines, kind, places.into_iter())
    }
    /// The labels of one layer.
    pub(super) fn draw(&self, layer: usize, d: &mut Drawing) {
        for label in self.placed.iter().filter(|l| l.layer == layer) {
            let (w, h) = extent(&label.lines, label.kind);
            let (x, y) = label.middle;
            if let Some((tx, ty)) = label.leader {
                let start = (tx.clamp(x - 0.5 * w, x + 0.5 * w), ty.clamp(y - 0.5 * h, y + 0.5 * h));
                d.path(
                    &format!("M{:.2} {:.2}L{tx:.2} {ty:.2}", start.0, start.1),
                    "fill=\"none\" stroke=\"#555\" stroke-width=\"0.15\"",
                );
            }
            let weight = if label.kind.bold { " font-weight=\"700\"" } else { "" };
            let look = format!("text-anchor=\"middle\"{weight} {}", label.kind.look);
            for (i, line) in label.lines.iter().enumerate() {
                let down = y - 0.5 * h + label.kind.size * (0.85 + 1.12 * i as f64);
                d.label((x, down), line, label.kind.size, &look);
            }
        }
    }
    /// Boxes of the placed labels: west, north, east, south.
    #[cfg(test)]
    pub(super) fn boxes(&self) -> Vec<[f64; 4]> {
        self.placed
            .iter()
            .map(|p| {
                let (w, h) = extent(&p.lines, p.kind);
                [p.middle.0 - w / 2.0, p.middle.1 - h / 2.0, p.middle.0 + w / 2.0, p.middle.1 + h / 2.0]
            })
            .collect()
    }
}

fn extent(lines: &[String], kind: Type) -> (f64, f64) {
    let widest = lines.iter().map(|l| width(&readable(l), kind.bold, kind.size)).fold(0.0, f64::max);
    (widest, kind.size * (1.12 * lines.len() as f64 - 0.02))
}

/// A point at a share of a line's length, and the direction across the line there.
fn point_at(line: &[(f64, f64)], share: f64) -> Option<((f64, f64), (f64, f64))> {
    let step = |i: usize| (line[i + 1].0 - line[i].0, line[i + 1].1 - line[i].1);
    let total: f64 = (0..line.len().saturating_sub(1)).map(|i| step(i).0.hypot(step(i).1)).sum();
    let mut left = share * total;
    for i in 0..line.len().saturating_sub(1) {
        let (dx, dy) = step(i);
        let long = dx.hypot(dy);
        if long > 0.0 && (left <= long || i + 2 == line.len()) {
            let t = (left / long).clamp(0.0, 1.0);
            return Some(((line[i].0 + t * dx, line[i].1 + t * dy), (-dy / long, dx / long)));
        }
        left -= long;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Coord, Rect};

    const KIND: Type = Type { size: 2.5, bold: false, look: "" };

    fn labels() -> Labels {
        let land = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 100.0, y: 100.0 });
        Labels::new(Frame::fitted(land, (0.0, 0.0), (100.0, 100.0)))
    }

    #[test]
    fn no_two_labels_touch_and_none_leaves_the_frame() {
        let mut labels = labels();
        for i in 0..400_u32 {
            let at = (f64::from(i * 37 % 100), f64::from(i * 61 % 100));
            labels.beside(0, &[&format!("DR-{i:03}")], KIND, at, 1.0);
            labels.along(0, &["Long Name Creek"], KIND, &[at, (at.1, at.0)], 0.5);
        }
        let boxes = labels.boxes();
        assert!(boxes.len() > 60 && labels.left_off > 0, "{} {}", boxes.len(), labels.left_off);
        for (i, a) in boxes.iter().enumerate() {
            assert!(a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= 100.0 && a[3] <= 100.0, "{a:?}");
            for b in &boxes[i + 1..] {
                assert!(a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1], "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn a_line_is_covered_only_for_want_of_room() {
        let mut labels = labels();
        labels.shun(&[(0.0, 50.0), (100.0, 50.0)]);
        labels.beside(0, &["MF2 7.531 m"], KIND, (50.0, 51.0), 1.0);
        let clear = labels.boxes()[0];
        assert!(clear[1] > 50.0 || clear[3] < 50.0, "{clear:?}");
        // Walls above and below leave the line alone.
        for x in 0..50 {
            labels.keep_free((2.0 * f64::from(x), 25.0), 46.0);
            labels.keep_free((2.0 * f64::from(x), 75.0), 46.0);
        }
        assert!(labels.on(0, &["x"], KIND, (20.0, 50.0), 5.0), "on the line rather than not at all");
    }

    #[test]
    fn a_name_of_300_letters_is_cut() {
        let mut labels = labels();
        assert!(labels.on(0, &["x".repeat(300).as_str()], KIND, (50.0, 50.0), 5.0));
        let [b] = labels.boxes()[..] else { panic!("one label") };
        assert!(b[2] - b[0] <= WIDEST);
    }
}
