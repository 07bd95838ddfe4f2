//! A raster as triangles: as few as its shape needs, none over holes.
//!
//! Right triangles are halved at the middle of their longest side as long as a height inside lies further than the
//! tolerance from the edge that would replace it. A triangle that meets a hole is halved down to single cells, and the
//! smallest ones with a hole at a corner are left out. Neighbours share every corner, so the surface has no cracks.
//! Corners are centres of cells with their own heights: nothing is interpolated.
//!
//! Source: Evans, Kirkpatrick, Townsend (2001), Right-triangulated irregular networks, Algorithmica 30, 264-286.

use super::{Cell, Raster};

/// Triangles over a plane.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tin {
    /// East, north and height of the corners, metres.
    pub points: Vec<[f64; 3]>,
    /// Corners of the triangles by index, counter-clockwise seen from above.
    pub faces: Vec<[u32; 3]>,
}

impl Tin {
    /// Area in plan, square metres.
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        self.faces.iter().map(|f| self.face(*f).0).sum()
    }
    /// Volume between the triangles and a level, cubic metres.
    #[must_use]
    pub fn volume_above_m3(&self, level_m: f64) -> f64 {
        self.faces
            .iter()
            .map(|f| {
                let (area, mean) = self.face(*f);
                area * (mean - level_m)
            })
            .sum()
    }
    /// Plan area and mean height of a face; the area is negative when it runs clockwise.
    fn face(&self, corners: [u32; 3]) -> (f64, f64) {
        let [a, b, c] = corners.map(|i| self.points[i as usize]);
        let area = 0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]));
        (area, (a[2] + b[2] + c[2]) / 3.0)
    }
}

type Node = (usize, usize);

struct Net<'a> {
    raster: &'a Raster<f32>,
    /// First row and column that hold a height.
    corner: Node,
    /// Cells along a side: a power of two.
    side: usize,
    /// By middle of a longest side: how far the heights below it lie from it; infinite where holes begin.
    errors: Vec<f32>,
    /// Index of a corner that is in use, plus one.
    used: Vec<u32>,
    tin: Tin,
}

/// The triangles of a raster.
#[must_use]
pub fn tin_from_raster(raster: &Raster<f32>, tolerance_m: f64) -> Tin {
    let (mut first, mut last) = ((usize::MAX, usize::MAX), (0, 0));
    for (cell, _) in raster.iter() {
        let (col, row) = (cell.col as usize, cell.row as usize);
        first = (first.0.min(col), first.1.min(row));
        last = (last.0.max(col), last.1.max(row));
    }
    if first.0 == usize::MAX {
        return Tin::default();
    }
    let side = (last.0 - first.0).max(last.1 - first.1).max(1).next_power_of_two();
    let nodes = (side + 1) * (side + 1);
    let mut net =
        Net { raster, corner: first, side, errors: vec![0.0; nodes], used: vec![0; nodes], tin: Tin::default() };
    net.measure();
    #[expect(clippy::cast_possible_truncation, reason = "a tolerance in metres")]
    let tolerance = tolerance_m as f32;
    net.split((0, 0), (side, side), (side, 0), tolerance);
    net.split((side, side), (0, 0), (0, side), tolerance);
    net.tin
}

fn middle(a: Node, b: Node) -> Node {
    (usize::midpoint(a.0, b.0), usize::midpoint(a.1, b.1))
}

impl Net<'_> {
    fn height(&self, (col, row): Node) -> Option<f32> {
        let (col, row) = (u32::try_from(col + self.corner.0).ok()?, u32::try_from(row + self.corner.1).ok()?);
        let spec = &self.raster.spec;
        (col < spec.cols && row < spec.rows).then(|| self.raster.get(Cell::new(row, col))).flatten()
    }
    const fn index(&self, (col, row): Node) -> usize {
        row * (self.side + 1) + col
    }
    /// From the smallest triangles up, so that a large one knows of everything inside it.
    ///
    /// A longest side is either a side of a square whose corners are multiples of its size, with the square's centre as
    /// third corner, or a diagonal of such a square: the rising one where row and column of the square add up to an
    /// even number. Halving turns the one kind into the other, so sizes can be walked square by square.
    fn measure(&mut self) {
        let n = self.side;
        let spec = &self.raster.spec;
        // Beyond the raster there is no height, and the errors there are nought already.
        let wide = n.min((spec.cols as usize).saturating_sub(self.corner.0));
        let high = n.min((spec.rows as usize).saturating_sub(self.corner.1));
        let mut size = 2;
        while size <= n {
            let half = size / 2;
            let (right, low) = (wide.next_multiple_of(size).min(n), high.next_multiple_of(size).min(n));
            for y in (0..=low).step_by(half) {
                // Lines of corners hold the middles of level sides, lines between them those of upright sides.
                let level = y % size == 0;
                for x in (if level { half } else { 0 }..=right).step_by(size) {
                    self.measure_side((x, y), half, level);
                }
            }
            for y in (0..low).step_by(size) {
                for x in (0..right).step_by(size) {
                    self.measure_square((x, y), size);
                }
            }
            size *= 2;
        }
    }
    /// The triangles on either side of the side with this middle.
    fn measure_side(&mut self, m: Node, half: usize, level: bool) {
        let (x, y) = m;
        let n = self.side;
        let (a, b) = if level { ((x - half, y), (x + half, y)) } else { ((x, y - half), (x, y + half)) };
        let before = if level { y.checked_sub(half).map(|y| (x, y)) } else { x.checked_sub(half).map(|x| (x, y)) };
        let after = if level { (x, y + half) } else { (x + half, y) };
        for c in before.into_iter().chain((after.0 <= n && after.1 <= n).then_some(after)) {
            self.note(a, b, c, m, half > 1);
        }
    }
    /// The two triangles that share the diagonal of a square.
    fn measure_square(&mut self, (x, y): Node, size: usize) {
        let corners = [(x, y), (x + size, y), (x + size, y + size), (x, y + size)];
        let rising = (x / size + y / size).is_multiple_of(2);
        let [a, c, b, d] = if rising { corners } else { [corners[1], corners[2], corners[3], corners[0]] };
        let m = middle(a, b);
        self.note(a, b, c, m, true);
        self.note(a, b, d, m, true);
    }
    /// Raises the error at `m` by that of the triangle `a b c`, and by those inside it when it has `parts`.
    fn note(&mut self, a: Node, b: Node, c: Node, m: Node, parts: bool) {
        let own = match (self.height(a), self.height(b), self.height(c), self.height(m)) {
            (Some(za), Some(zb), Some(_), Some(zm)) => (0.5 * (za + zb) - zm).abs(),
            (None, None, None, None) => 0.0,
            _ => f32::INFINITY,
        };
        let at = self.index(m);
        let mut error = self.errors[at].max(own);
        if parts {
            error = error.max(self.errors[self.index(middle(a, c))]).max(self.errors[self.index(middle(b, c))]);
        }
        self.errors[at] = error;
    }
    fn split(&mut self, a: Node, b: Node, c: Node, tolerance: f32) {
        let m = middle(a, b);
        if a.0.abs_diff(c.0) + a.1.abs_diff(c.1) > 1 && self.errors[self.index(m)] > tolerance {
            self.split(c, a, m, tolerance);
            self.split(b, c, m, tolerance);
            return;
        }
        if [a, b, c].iter().all(|node| self.height(*node).is_some()) {
            let face = [a, b, c].map(|node| self.number(node));
            // Rows count downwards, so the turn seen from above is told from the places themselves.
            let turned = self.tin.face(face).0 < 0.0;
            self.tin.faces.push(if turned { [face[0], face[2], face[1]] } else { face });
        }
    }
    fn number(&mut self, node: Node) -> u32 {
        let at = self.index(node);
        if self.used[at] == 0 {
            #[expect(clippy::cast_possible_truncation, reason = "rasters are counted in u32")]
            let cell = Cell::new((node.1 + self.corner.1) as u32, (node.0 + self.corner.0) as u32);
            let place = self.raster.spec.centre(cell);
            self.tin.points.push([place.x, place.y, f64::from(self.height(node).unwrap_or_default())]);
            self.used[at] = u32::try_from(self.tin.points.len()).unwrap_or(u32::MAX);
        }
        self.used[at] - 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use geo::Coord;

    fn raster(cols: u32, rows: u32, height: impl Fn(u32, u32) -> Option<f32>) -> Raster<f32> {
        let spec = GridSpec { north_west: Coord { x: 1_000.0, y: 5_000.0 }, cell_m: 2.0, cols, rows };
        let mut raster = Raster::empty(spec, 0.0);
        for row in 0..rows {
            for col in 0..cols {
                if let Some(z) = height(col, row) {
                    raster.set(Cell::new(row, col), z);
                }
            }
        }
        raster
    }

    /// A plane needs few triangles; its volume is area times the height in the middle (arithmetic).
    #[test]
    fn a_plane_keeps_its_volume_with_few_triangles() {
        let plane = raster(65, 65, |col, row| Some(10.0 + 0.25 * col as f32 + 0.5 * row as f32));
        let tin = tin_from_raster(&plane, 0.001);
        assert_eq!(tin.faces.len(), 2);
        assert!((tin.area_m2() - 128.0 * 128.0).abs() < 1e-6);
        assert!((tin.volume_above_m3(0.0) - 128.0 * 128.0 * (10.0 + 8.0 + 16.0)).abs() < 0.1);
    }

    /// Every edge inside belongs to two triangles, in opposite directions: no cracks, no folds; holes stay open.
    #[test]
    fn no_cracks_and_no_bridges_over_holes() {
        let hole = |col: u32, row: u32| (20..24).contains(&col) && (11..19).contains(&row) || col + row < 9;
        let wavy = |col: u32, row: u32| (f64::from(col) * 0.37).sin() as f32 + 0.01 * (row * row) as f32;
        let ground = raster(41, 33, |col, row| (!hole(col, row)).then(|| wavy(col, row)));
        let tin = tin_from_raster(&ground, 0.05);
        let mut edges: Vec<(u32, u32)> =
            tin.faces.iter().flat_map(|f| [(f[0], f[1]), (f[1], f[2]), (f[2], f[0])]).collect();
        edges.sort_unstable();
        assert!(edges.windows(2).all(|p| p[0] != p[1]), "an edge is used twice in one direction");
        assert!(tin.faces.iter().all(|f| tin.face(*f).0 > 0.0));
        // Area by hand: squares of four valid cells, and halves of those with three (at most).
        let valid = |c: u32, r: u32| !hole(c, r);
        let (mut full, mut half) = (0.0, 0.0);
        for r in 0..32 {
            for c in 0..40 {
                match [valid(c, r), valid(c + 1, r), valid(c, r + 1), valid(c + 1, r + 1)]
                    .iter()
                    .filter(|v| **v)
                    .count()
                {
                    4 => full += 4.0,
                    3 => half += 2.0,
                    _ => {}
                }
            }
        }
        let area = tin.area_m2();
        assert!(area >= full - 1e-6 && area <= full + half + 1e-6, "{full} <= {area} <= {}", full + half);
        // Every height left out lies near the triangles: twice the tolerance bounds what halvings add up to here.
        for f in &tin.faces {
            let mean = f
                .iter()
                .map(|i| tin.points[*i as usize])
                .fold([0.0; 3], |s, p| [s[0] + p[0] / 3.0, s[1] + p[1] / 3.0, s[2] + p[2] / 3.0]);
            if let Some(z) = ground.bilinear(Coord { x: mean[0], y: mean[1] }) {
                assert!((z - mean[2]).abs() < 0.15, "{z} {}", mean[2]);
            }
        }
    }

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(tin_from_raster(&raster(4, 4, |_, _| None), 0.01), Tin::default());
    }
}
