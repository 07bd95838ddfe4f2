//! Volumes of cut and fill from depths: by cells, squares, triangles, cross sections and pits.
//!
//! A depth is existing minus wanted height, so positive is cut. Every method reports cut and fill apart; their
//! difference is the same for all methods on the same corners except where triangles bend the surface differently.
//! Shapes and units: metres, square metres, cubic metres in place: cut as bank, fill as compacted room (see
//! [`bulking`](super::bulking)). Complexity: linear.
//! Source: [`Bibliography::Neh15Ch12`](crate::bibliography::Bibliography::Neh15Ch12) (from memory), four-point method; end-area
//! and prismoidal rules as in any surveying text; triangle prisms by similar triangles.
//! How we know: worked squares (`four_point_squares`, `published_squares`), frusta and a road (`sections`), property
//! (`every_method_keeps_the_net`).

/// Cut and fill, cubic metres, both zero or more.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Volumes {
    /// Earth above the wanted surface, as it lies (bank measure).
    pub cut_m3: f64,
    /// Room below it: the volume of fill once placed and compacted. It takes the cut:fill ratio times as much cut.
    pub fill_m3: f64,
}

impl Volumes {
    /// Cut minus fill.
    #[must_use]
    pub fn net_m3(self) -> f64 {
        self.cut_m3 - self.fill_m3
    }
    /// A signed volume as cut or fill.
    #[must_use]
    pub fn of_signed(volume_m3: f64) -> Self {
        Self { cut_m3: volume_m3.max(0.0), fill_m3: (-volume_m3).max(0.0) }
    }
}

impl std::ops::Add for Volumes {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { cut_m3: self.cut_m3 + other.cut_m3, fill_m3: self.fill_m3 + other.fill_m3 }
    }
}

impl std::iter::Sum for Volumes {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::default(), |a, b| a + b)
    }
}

/// Volumes of cells of one size, each with the depth at its centre (summation method).
#[must_use]
pub fn cell_volumes(depths_m: impl IntoIterator<Item = f64>, cell_area_m2: f64) -> Volumes {
    depths_m.into_iter().map(|d| Volumes::of_signed(d * cell_area_m2)).sum()
}

/// Volumes of one square from the depths at its four corners (four-point method).
///
/// Exact when the line between cut and fill runs parallel to a side; the net is always the area times the mean depth.
#[must_use]
pub fn four_point(corners_m: [f64; 4], area_m2: f64) -> Volumes {
    let cut: f64 = corners_m.iter().map(|d| d.max(0.0)).sum();
    let fill: f64 = corners_m.iter().map(|d| (-d).max(0.0)).sum();
    let total = cut + fill;
    if total <= 0.0 {
        return Volumes::default();
    }
    Volumes { cut_m3: area_m2 * cut * cut / (4.0 * total), fill_m3: area_m2 * fill * fill / (4.0 * total) }
}

/// Four-point volumes over all squares of a grid of corner depths, row by row; rows of unequal length use the shorter.
#[must_use]
pub fn four_point_grid(rows: &[Vec<f64>], square_area_m2: f64) -> Volumes {
    squares(rows).map(|corners| four_point(corners, square_area_m2)).sum()
}

/// Corners of each square of a grid, in the order north-west, north-east, south-west, south-east.
fn squares(rows: &[Vec<f64>]) -> impl Iterator<Item = [f64; 4]> + '_ {
    rows.windows(2).flat_map(|pair| {
        let (upper, lower) = (&pair[0], &pair[1]);
        upper.windows(2).zip(lower.windows(2)).map(|(u, l)| [u[0], u[1], l[0], l[1]])
    })
}

/// Volumes over a triangle of plan area `area_m2` whose depth is linear between its corners: exact.
#[must_use]
pub fn triangle(corners_m: [f64; 3], area_m2: f64) -> Volumes {
    let [a, b, c] = corners_m;
    let net_m3 = area_m2 * (a + b + c) / 3.0;
    let positive = corners_m.iter().filter(|d| **d > 0.0).count();
    let negative = corners_m.iter().filter(|d| **d < 0.0).count();
    if positive == 0 || negative == 0 {
        return Volumes::of_signed(net_m3);
    }
    // One corner lies alone on its side of zero: the tip there is a small similar pyramid.
    let alone = |d: f64| if positive == 1 { d > 0.0 } else { d < 0.0 };
    let (tip, p, q) = if alone(a) {
        (a, b, c)
    } else if alone(b) {
        (b, c, a)
    } else {
        (c, a, b)
    };
    let tip_m3 = area_m2 * tip * tip * tip / (3.0 * (tip - p) * (tip - q));
    Volumes::of_signed(tip_m3) + Volumes::of_signed(net_m3 - tip_m3)
}

/// Which diagonal divides a square into two triangles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Diagonal {
    /// From the first corner to the last (north-west to south-east).
    Falling,
    /// From the second corner to the third (north-east to south-west).
    Rising,
}

/// Volumes of a square as two triangles; corners as north-west, north-east, south-west, south-east.
///
/// Where corners are not in one plane the net volume depends on the diagonal.
#[must_use]
pub fn two_triangles(corners_m: [f64; 4], area_m2: f64, diagonal: Diagonal) -> Volumes {
    let [nw, ne, sw, se] = corners_m;
    let (first, second) = match diagonal {
        Diagonal::Falling => ([nw, ne, se], [nw, sw, se]),
        Diagonal::Rising => ([nw, ne, sw], [ne, sw, se]),
    };
    triangle(first, area_m2 / 2.0) + triangle(second, area_m2 / 2.0)
}

/// Volume between two cross sections by their mean: exact when the area changes linearly, too much for tapering solids.
#[must_use]
pub fn end_area_m3(first_m2: f64, second_m2: f64, length_m: f64) -> f64 {
    f64::midpoint(first_m2, second_m2) * length_m
}

/// Volume between two cross sections with the section midway: exact for prismoids, pyramids included.
#[must_use]
pub fn prismoidal_m3(first_m2: f64, middle_m2: f64, second_m2: f64, length_m: f64) -> f64 {
    length_m * (first_m2 + 4.0 * middle_m2 + second_m2) / 6.0
}

/// Volume along a line of cross sections `(station m, area m2)` in order.
///
/// Mean end areas, except that a length with one end of no area is a pyramid (a third of area times length).
#[must_use]
pub fn sections_m3(sections: &[(f64, f64)]) -> f64 {
    sections
        .windows(2)
        .map(|pair| {
            let ((x0, a0), (x1, a1)) = (pair[0], pair[1]);
            let length_m = x1 - x0;
            if a0 > 0.0 && a1 > 0.0 { end_area_m3(a0, a1, length_m) } else { (a0 + a1) * length_m / 3.0 }
        })
        .sum()
}

/// Volume of a pit from depths at the corners of equal cells (each corner counts once per cell it touches, over four).
#[must_use]
pub fn borrow_pit_m3(rows: &[Vec<f64>], cell_area_m2: f64) -> f64 {
    squares(rows).map(|c| c.iter().sum::<f64>() / 4.0 * cell_area_m2).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::earthwork::balance::balance_offset;
    use proptest::prelude::*;

    fn close(v: Volumes, cut: f64, fill: f64, tolerance: f64) -> bool {
        (v.cut_m3 - cut).abs() < tolerance && (v.fill_m3 - fill).abs() < tolerance
    }

    #[test]
    fn four_point_squares() {
        // USDA NEH Section 15 Chapter 12 (from memory): V = L^2 H^2 / (4 (Hc + Hf)), L = 20 m; own corners.
        assert!(close(four_point([0.3, 0.3, -0.1, -0.1], 400.0), 45.0, 5.0, 1e-6));
        assert!(close(four_point([0.3, 0.2, 0.1, 0.4], 400.0), 100.0, 0.0, 1e-6));
        assert!(close(four_point([0.3, 0.1, -0.2, -0.1], 400.0), 22.857_143, 12.857_143, 1e-6));
        assert!(close(four_point([0.1, -0.1, -0.1, -0.1], 400.0), 2.5, 22.5, 1e-6));
        assert!(close(four_point([0.0; 4], 400.0), 0.0, 0.0, 1e-12));
        // The same square as two triangles depends on the diagonal (by hand).
        assert!(close(two_triangles([0.3, 0.1, -0.2, -0.1], 400.0, Diagonal::Falling), 29.8333, 9.8333, 1e-4));
        assert!(close(two_triangles([0.3, 0.1, -0.2, -0.1], 400.0, Diagonal::Rising), 18.0, 18.0, 1e-9));
        // A prism whose zero line is parallel to a side is exact by both.
        assert!(close(two_triangles([0.3, 0.3, -0.1, -0.1], 400.0, Diagonal::Rising), 45.0, 5.0, 1e-9));
    }

    #[test]
    fn four_point_is_near_the_bilinear_surface() {
        // Bilinear surface over the third square by fine midpoint sums: 22.901 cut, 12.901 fill.
        let n = 400;
        let depth = |i: i32, j: i32| {
            let (u, v) = ((f64::from(i) + 0.5) / f64::from(n), (f64::from(j) + 0.5) / f64::from(n));
            (1.0 - v) * (0.3 * (1.0 - u) + 0.1 * u) + v * (-0.2 * (1.0 - u) - 0.1 * u)
        };
        let fine = cell_volumes((0..n).flat_map(|j| (0..n).map(move |i| depth(i, j))), 400.0 / f64::from(n * n));
        assert!(close(fine, 22.901, 12.901, 2e-3), "{fine:?}");
        assert!(close(four_point([0.3, 0.1, -0.2, -0.1], 400.0), fine.cut_m3, fine.fill_m3, 0.05));
        // The fourth square: depth 0.1 (2 (1 - u)(1 - v) - 1), cut 40 (ln 2 / 4 - 1/8) (integral); four-point finds more.
        let depth = |i: i32, j: i32| {
            let (u, v) = ((f64::from(i) + 0.5) / f64::from(n), (f64::from(j) + 0.5) / f64::from(n));
            0.1 * (2.0 * (1.0 - u) * (1.0 - v) - 1.0)
        };
        let fine = cell_volumes((0..n).flat_map(|j| (0..n).map(move |i| depth(i, j))), 400.0 / f64::from(n * n));
        assert!(close(fine, 1.931_472, 21.931_472, 1e-3), "{fine:?}");
        assert!(fine.cut_m3 < four_point([0.1, -0.1, -0.1, -0.1], 400.0).cut_m3);
    }

    #[test]
    fn published_squares() {
        // A worked answer on a public question site: 10 m square, corners 101.0 100.5 99.8 99.3, formation 100.0; its own answer (mean of clipped corners, 37.5 / 22.5)
        // counts ground twice, so it stands here as what must not come out.
        let v = four_point([1.0, 0.5, -0.2, -0.7], 100.0);
        assert!((v.net_m3() - 15.0).abs() < 1e-9);
        assert!(close(v, 23.4375, 8.4375, 1e-9) && v.cut_m3 < 37.5);
        // A published grid cell (construction calculator pocket reference guide, p. 36): 75.4 77.5 74.6 80.5 ft, design 83 ft, 2000 ft2: 444.44 yd3 fill.
        let ft = 0.3048;
        let corners = [75.4, 77.5, 74.6, 80.5].map(|z: f64| (z - 83.0) * ft);
        let v = four_point(corners, 2000.0 * ft * ft);
        assert!((v.fill_m3 - 339.80).abs() < 0.01 && (v.fill_m3 / 0.9144_f64.powi(3) - 444.44).abs() < 0.01);
    }

    #[test]
    fn four_point_over_the_stake_grid() {
        // Own 5 x 4 grid at 20 m against its free plane, and lowered to a ratio of 1.2 (arithmetic).
        let z = [
            [10.12, 10.05, 9.98, 9.93, 9.82],
            [10.08, 10.10, 9.91, 9.85, 9.80],
            [10.02, 9.97, 9.95, 9.81, 9.70],
            [9.94, 9.96, 9.83, 9.78, 9.61],
        ];
        let stations = [10.0, 30.0, 50.0, 70.0, 90.0];
        let depths: Vec<Vec<f64>> = z
            .iter()
            .zip(stations)
            .map(|(row, y)| {
                row.iter().zip(stations).map(|(z, x)| z - (10.213_825 - 0.003_962_5 * x - 0.002_63 * y)).collect()
            })
            .collect();
        assert!(close(four_point_grid(&depths, 400.0), 64.067_445, 23.467_445, 1e-5));
        let flat: Vec<(f64, f64)> = depths.iter().flatten().map(|d| (*d, 1.0)).collect();
        let d = balance_offset(&flat, 1.2);
        let lowered: Vec<Vec<f64>> = depths.iter().map(|r| r.iter().map(|v| v + d).collect()).collect();
        assert!(close(four_point_grid(&lowered, 400.0), 71.601_775, 18.975_829, 1e-5));
        // Summation over the stakes: 400 x 0.2797 m = 111.88 m3.
        assert!(close(cell_volumes(depths.iter().flatten().copied(), 400.0), 111.88, 111.88, 1e-6));
    }

    #[test]
    fn sections() {
        // Frustum 10 x 10 to 4 x 4, 3 m high: 156 exact, 174 by end areas. Pond 20 x 30 with 2:1 sides, 3 m deep: 1044 and 1116. (Arithmetic.)
        assert!((prismoidal_m3(100.0, 49.0, 16.0, 3.0) - 156.0).abs() < 1e-9);
        assert!((end_area_m3(100.0, 16.0, 3.0) - 174.0).abs() < 1e-9);
        assert!((prismoidal_m3(600.0, 336.0, 144.0, 3.0) - 1044.0).abs() < 1e-9);
        assert!((end_area_m3(600.0, 144.0, 3.0) - 1116.0).abs() < 1e-9);
        // A pyramid by end areas is half as much again as by thirds.
        assert!((end_area_m3(60.0, 0.0, 10.0) / sections_m3(&[(0.0, 60.0), (10.0, 0.0)]) - 1.5).abs() < 1e-12);
        // A linear change of area is exact by end areas, and so is the prismoidal rule.
        assert!((end_area_m3(3.0, 7.0, 20.0) - prismoidal_m3(3.0, 5.0, 7.0, 20.0)).abs() < 1e-12);
        // Wikibooks, Fundamentals of Transportation / Earthwork: fill 4087.5, cut 1058.33, short of 3029.2 m3.
        let fill = sections_m3(&[(0.0, 60.0), (50.0, 50.0), (75.0, 25.0), (100.0, 5.0), (115.0, 0.0)]);
        let cut = sections_m3(&[(75.0, 0.0), (100.0, 10.0), (115.0, 15.0), (150.0, 30.0)]);
        assert!((fill - 4087.5).abs() < 1e-9 && (cut - 1058.333).abs() < 1e-3 && (fill - cut - 3029.17).abs() < 0.01);
    }

    #[test]
    fn pits() {
        // Depths at 10 m: A/4 (corners once, sides twice, middle four times) = 445 m3 (arithmetic).
        let pit = [vec![1.5, 1.4, 1.1], vec![1.3, 1.2, 0.9], vec![1.0, 0.8, 0.6]];
        assert!((borrow_pit_m3(&pit, 100.0) - 445.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn every_method_keeps_the_net(c in prop::array::uniform4(-1.0..1.0f64)) {
            let mean = c.iter().sum::<f64>() / 4.0;
            prop_assert!((four_point(c, 400.0).net_m3() - 400.0 * mean).abs() < 1e-9);
            let (f, r) = (two_triangles(c, 400.0, Diagonal::Falling), two_triangles(c, 400.0, Diagonal::Rising));
            // The two diagonals err by the same amount on opposite sides.
            prop_assert!((f64::midpoint(f.net_m3(), r.net_m3()) - 400.0 * mean).abs() < 1e-9);
            prop_assert!(f.cut_m3 >= 0.0 && f.fill_m3 >= 0.0 && r.cut_m3 >= 0.0 && r.fill_m3 >= 0.0);
        }
    }
}
