//! How far to lower a surface so that the cut is a given multiple of the fill.
//!
//! Earth shrinks when it is placed, so more must be cut than the fill measures. Lowering the surface by `d` makes cut
//! minus ratio times fill grow piecewise linearly, with a kink wherever a cell passes from fill to cut; the
//! kinks are sorted and the one linear piece with the root is solved exactly.
//! Shapes and units: pairs (existing minus wanted height in metres, area in m2). Result in metres, negative when the
//! surface must rise. Complexity: `O(n log n)`. Ties: equal kinks are one.
//! Source: [`Bibliography::Easa1989`](crate::bibliography::Bibliography::Easa1989) for the datum shift; exact root by sorting.
//! How we know: five ratios worked by hand (`ratios_of_the_grid`), property (`balance_is_met`).

/// Cut and fill of a surface.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CutFillSums {
    /// Earth above the surface, m3 in place.
    pub cut_m3: f64,
    /// Room below the surface, m3.
    pub fill_m3: f64,
}

/// Cut and fill after lowering the surface by `lowered_m`; pairs are (existing minus wanted, area).
#[must_use]
pub fn cut_fill_at(cells: &[(f64, f64)], lowered_m: f64) -> CutFillSums {
    cells.iter().fold(CutFillSums::default(), |mut sums, (dz_m, area_m2)| {
        let depth_m = dz_m + lowered_m;
        if depth_m > 0.0 {
            sums.cut_m3 += depth_m * area_m2;
        } else {
            sums.fill_m3 -= depth_m * area_m2;
        }
        sums
    })
}

/// How far to lower a surface so that cut = `ratio` * fill.
///
/// Cells whose area is not positive are passed over. Zero when no cell is left; not a number when the ratio is not positive.
#[must_use]
pub fn balance_offset(cells: &[(f64, f64)], ratio: f64) -> f64 {
    if ratio.is_nan() || ratio <= 0.0 || ratio.is_infinite() {
        return f64::NAN;
    }
    let mut cells: Vec<(f64, f64)> = cells.iter().copied().filter(|c| c.1 > 0.0 && c.0.is_finite()).collect();
    // Highest ground first: lowering the surface turns cells from fill to cut in this order.
    cells.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (mut cut_area, mut cut_moment) = (0.0, 0.0);
    let mut fill_area: f64 = cells.iter().map(|c| c.1).sum();
    let mut fill_moment: f64 = cells.iter().map(|c| c.0 * c.1).sum();
    // With the first k cells cut, sum(dz a) + d sum(a) over them equals -ratio times the same over the others.
    let root = |ca: f64, cm: f64, fa: f64, fm: f64| -(cm + ratio * fm) / (ca + ratio * fa);
    let mut offset_m = 0.0;
    for (k, (dz_m, area_m2)) in cells.iter().enumerate() {
        cut_area += area_m2;
        cut_moment += dz_m * area_m2;
        fill_area -= area_m2;
        fill_moment -= dz_m * area_m2;
        offset_m = root(cut_area, cut_moment, fill_area.max(0.0), fill_moment);
        // The piece holds while the next cell is still in fill.
        if cells.get(k + 1).is_none_or(|next| next.0 + offset_m <= 0.0) {
            break;
        }
    }
    // The running differences lose digits over many cells; one exact step from fresh sums restores them.
    polish(&cells, ratio, offset_m)
}

/// One Newton step on the piece the offset lies in.
fn polish(cells: &[(f64, f64)], ratio: f64, offset_m: f64) -> f64 {
    let (mut excess, mut rate) = (0.0, 0.0);
    for (dz_m, area_m2) in cells {
        let weight = if dz_m + offset_m > 0.0 { *area_m2 } else { ratio * area_m2 };
        excess += (dz_m + offset_m) * weight;
        rate += weight;
    }
    if rate > 0.0 { offset_m - excess / rate } else { offset_m }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Cut (+) and fill (-) of the twenty-stake grid against its free plane (see the plane checks).
    fn grid() -> Vec<(f64, f64)> {
        let z = [
            10.12, 10.05, 9.98, 9.93, 9.82, 10.08, 10.10, 9.91, 9.85, 9.80, 10.02, 9.97, 9.95, 9.81, 9.70, 9.94, 9.96,
            9.83, 9.78, 9.61,
        ];
        (0..20)
            .map(|i| {
                let (x, y) = (10.0 + 20.0 * f64::from(i % 5), 10.0 + 20.0 * f64::from(i / 5));
                #[expect(clippy::cast_sign_loss, reason = "counted from zero")]
                let ground = z[i as usize];
                (ground - (10.213_825 - 0.003_962_5 * x - 0.002_63 * y), 1.0)
            })
            .collect()
    }

    #[test]
    fn ratios_of_the_grid() {
        // Own grid, arithmetic: lowered by d, sum of cuts, sum of fills.
        for (ratio, d, cut, fill) in [
            (1.0, 0.0, 0.279_7, 0.279_7),
            (1.2, 0.002_505_41, 0.300_648_65, 0.250_540_54),
            (1.25, 0.003_056_04, 0.305_604_40, 0.244_483_52),
            (1.3, 0.003_580_69, 0.310_326_18, 0.238_712_45),
            (1.5, 0.005_452_94, 0.327_176_47, 0.218_117_65),
        ] {
            let found = balance_offset(&grid(), ratio);
            let sums = cut_fill_at(&grid(), found);
            assert!((found - d).abs() < 1e-7, "{ratio}: {found}");
            assert!((sums.cut_m3 - cut).abs() < 1e-7 && (sums.fill_m3 - fill).abs() < 1e-7, "{ratio}");
            assert!((400.0 * (sums.cut_m3 - cut)).abs() < 1e-4);
        }
    }

    #[test]
    fn odd_cases() {
        assert!(balance_offset(&[], 1.2).abs() < 1e-12);
        assert!(balance_offset(&[(0.3, 1.0)], 0.0).is_nan());
        // A level mound 0.3 m too high is met by raising the surface by 0.3 m: no cut, no fill.
        assert!((balance_offset(&[(0.3, 100.0), (0.3, 50.0)], 1.3) + 0.3).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn balance_is_met(cells in prop::collection::vec((-0.8..0.8f64, 1.0..500.0f64), 1..60), ratio in 0.3..3.0f64) {
            let d = balance_offset(&cells, ratio);
            let sums = cut_fill_at(&cells, d);
            let scale = sums.cut_m3 + sums.fill_m3 + 1.0;
            prop_assert!((sums.cut_m3 - ratio * sums.fill_m3).abs() < 1e-9 * scale);
        }
    }
}
