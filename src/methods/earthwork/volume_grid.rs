//! Volumes over a grid with holes by three named rules whose net agrees.
//!
//! Depths stand at cell centres. Four neighbouring centres make a square; where one of them is missing, each that is there
//! counts for its own quarter of a cell. So every rule covers exactly the cells that are there, and cut less fill is the same
//! for all three; they differ in how much of cut and fill they find within a square that has both:
//! the cell sum nothing of it within a cell, the four-point rule by the sums of corners, triangles exactly for their
//! own surface. A square can be divided into triangles two ways, and nothing in a grid says which is right; the mean of
//! both is taken.
//! Shapes and units: depths in metres, positive is cut; areas in m2; cut in m3 bank, fill as m3 of room (compacted).
//! Complexity: linear.
//! Source: [`Bibliography::Neh15Ch12`](crate::bibliography::Bibliography::Neh15Ch12) (from memory), summation and four-point
//! methods; prisms over triangles by similar triangles.
//! How we know: squares by hand (`one_square`), a plane with known volumes (`slanted_plane`), properties
//! (`net_is_the_same_on_any_mask`, `cut_and_fill_change_places`).

use super::volume::{Diagonal, Volumes, four_point, triangle, two_triangles};

/// A rule for volumes from depths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum VolumeRule {
    /// Each cell's depth times its area: what a grid of stakes gives.
    CellSum,
    /// Sums of corner cuts and fills of each square, squared over their total.
    FourPoint,
    /// Prisms over the triangles of each square, mean of both divisions.
    TrianglePrisms,
}

impl VolumeRule {
    /// All rules, the simplest first.
    pub const ALL: [Self; 3] = [Self::CellSum, Self::FourPoint, Self::TrianglePrisms];

    /// The name used in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::CellSum => "cell sum",
            Self::FourPoint => "four-point",
            Self::TrianglePrisms => "triangle prisms",
        }
    }

    /// Volumes over a square from its corners (north-west, north-east, south-west, south-east).
    fn square(self, corners_m: [f64; 4], area_m2: f64) -> Volumes {
        match self {
            Self::CellSum => corners_m.into_iter().map(|d| Volumes::of_signed(d * area_m2 / 4.0)).sum(),
            Self::FourPoint => four_point(corners_m, area_m2),
            Self::TrianglePrisms => {
                let half = |diagonal| two_triangles(corners_m, area_m2 / 2.0, diagonal);
                half(Diagonal::Falling) + half(Diagonal::Rising)
            }
        }
    }
}

/// Volumes over a grid; `depth_m(row, column)` is nothing where there is no cell.
#[must_use]
pub fn grid_volumes(
    rule: VolumeRule,
    (rows, cols): (usize, usize),
    cell_area_m2: f64,
    depth_m: impl Fn(usize, usize) -> Option<f64>,
) -> Volumes {
    // One row and column more than cells: squares reach half a cell over the edge. Corner (r, c) is cell (r - 1, c - 1).
    let depth = |row: usize, col: usize| {
        let (row, col) = (row.checked_sub(1)?, col.checked_sub(1)?);
        if row < rows && col < cols { depth_m(row, col) } else { None }
    };
    let mut sum = Volumes::default();
    for row in 0..=rows {
        let mut row_sum = Volumes::default();
        for col in 0..=cols {
            let corners = [depth(row, col), depth(row, col + 1), depth(row + 1, col), depth(row + 1, col + 1)];
            row_sum = row_sum
                + match corners {
                    [Some(a), Some(b), Some(c), Some(d)] => rule.square([a, b, c, d], cell_area_m2),
                    _ => corners.into_iter().flatten().map(|d| Volumes::of_signed(d * cell_area_m2 / 4.0)).sum(),
                };
        }
        sum = sum + row_sum;
    }
    sum
}

/// Volumes over any triangulation: corner depths and plan area of each triangle. Exact for that surface.
#[must_use]
pub fn triangulation_volumes(triangles: impl IntoIterator<Item = ([f64; 3], f64)>) -> Volumes {
    triangles.into_iter().map(|(corners_m, area_m2)| triangle(corners_m, area_m2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn over(rule: VolumeRule, rows: &[Vec<Option<f64>>]) -> Volumes {
        grid_volumes(rule, (rows.len(), rows[0].len()), 400.0, |r, c| rows[r][c])
    }

    #[test]
    fn one_square() {
        // USDA NEH Section 15 Chapter 12 (from memory) over the inner square of four cells of 20 m, corners .3 .1 -.2 -.1:
        // 22.857 and 12.857; the other three quarters of each cell by its own depth: 300 m2 times 0.4 and 0.3 m. By
        // triangles the square holds (29.8333 + 18) / 2 and (9.8333 + 18) / 2 (by hand).
        let rows = [vec![Some(0.3), Some(0.1)], vec![Some(-0.2), Some(-0.1)]];
        let near = |v: Volumes, cut: f64, fill: f64| (v.cut_m3 - cut).abs() < 1e-3 && (v.fill_m3 - fill).abs() < 1e-3;
        assert!(near(over(VolumeRule::CellSum, &rows), 160.0, 120.0));
        assert!(near(over(VolumeRule::FourPoint, &rows), 120.0 + 22.857, 90.0 + 12.857));
        assert!(near(over(VolumeRule::TrianglePrisms, &rows), 120.0 + 23.9167, 90.0 + 13.9167));
        assert_eq!(over(VolumeRule::FourPoint, &[vec![None, None]]), Volumes::default());
    }

    #[test]
    fn slanted_plane() {
        // Depth 0.01 x over |x| <= 50 m, 10 m wide: cut = fill = 0.01 * 50^2 / 2 * 10 = 125 m3 (integral). Cells of 5 m.
        let depth = |_: usize, c: usize| Some(0.01 * (5.0 * c as f64 - 47.5));
        for rule in VolumeRule::ALL {
            let v = grid_volumes(rule, (2, 20), 25.0, depth);
            assert!(v.net_m3().abs() < 1e-9, "{}", rule.name());
            // The cell sum is exact here, for no cell holds both; so are triangles between the outer centres.
            assert!((v.cut_m3 - 125.0).abs() < 0.2, "{} {v:?}", rule.name());
        }
        // The same plane as two triangles: exact.
        let v = triangulation_volumes([([-0.5, 0.5, 0.5], 500.0), ([-0.5, -0.5, 0.5], 500.0)]);
        assert!((v.cut_m3 - 125.0).abs() < 1e-9 && (v.fill_m3 - 125.0).abs() < 1e-9, "{v:?}");
    }

    proptest! {
        #[test]
        fn net_is_the_same_on_any_mask(depths in prop::collection::vec(prop::option::of(-1.0..1.0f64), 42)) {
            let rows: Vec<Vec<Option<f64>>> = depths.chunks(7).map(<[Option<f64>]>::to_vec).collect();
            let net: f64 = depths.iter().flatten().sum::<f64>() * 400.0;
            let cells = over(VolumeRule::CellSum, &rows);
            for rule in VolumeRule::ALL {
                let v = over(rule, &rows);
                prop_assert!((v.net_m3() - net).abs() < 1e-9, "{}", rule.name());
                prop_assert!(v.cut_m3 >= 0.0 && v.fill_m3 >= 0.0);
                // Within a square cut and fill cancel in part; cells never do.
                prop_assert!(v.cut_m3 <= cells.cut_m3 + 1e-9);
            }
        }

        #[test]
        fn cut_and_fill_change_places(depths in prop::collection::vec(prop::option::of(-1.0..1.0f64), 20)) {
            let rows = |sign: f64| depths.chunks(5).map(|r| r.iter().map(|d| d.map(|d| sign * d)).collect()).collect::<Vec<Vec<_>>>();
            for rule in VolumeRule::ALL {
                let (up, down) = (over(rule, &rows(1.0)), over(rule, &rows(-1.0)));
                prop_assert!((up.cut_m3 - down.fill_m3).abs() < 1e-9 && (up.fill_m3 - down.cut_m3).abs() < 1e-9);
            }
        }
    }
}
