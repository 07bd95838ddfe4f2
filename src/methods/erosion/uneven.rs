//! Length and steepness where the slope is not even: bent profiles and contributing areas.
//!
//! Source: [`FosterWischmeier1974`](crate::bibliography::Bibliography::FosterWischmeier1974) and
//! [`WischmeierSmith1978`](crate::bibliography::Bibliography::WischmeierSmith1978) (bent profiles),
//! [`MooreBurch1986`](crate::bibliography::Bibliography::MooreBurch1986) (contributing areas).
//! How we know: the convex and concave profiles of AH-537, an even slope cut into unequal pieces, hand-computed values.

use super::soil_loss::{UNIT_PLOT_M, universal_exponent, universal_steepness};

/// LS of the universal equation for a bent slope given as (length in metres, slope as a ratio) from the top down.
///
/// Every piece takes the exponent of its own slope class and the soil and cover are the same all the way; 0 for a slope
/// without length. The pieces must all lose soil: where the foot is so flat that soil settles, end the slope there.
#[must_use]
pub fn bent_length_steepness(pieces: &[(f64, f64)]) -> f64 {
    let whole_m: f64 = pieces.iter().map(|&(length_m, _)| length_m).sum();
    if whole_m <= 0.0 {
        return 0.0;
    }
    let mut above_m = 0.0_f64;
    let mut sum = 0.0;
    for &(length_m, slope_ratio) in pieces {
        let exponent = universal_exponent(slope_ratio);
        let below_m = above_m + length_m;
        sum += universal_steepness(slope_ratio) * (below_m.powf(exponent + 1.0) - above_m.powf(exponent + 1.0))
            / (whole_m * UNIT_PLOT_M.powf(exponent));
        above_m = below_m;
    }
    sum
}

/// LS from the contributing area per metre of contour (m2/m) and the slope, `(U / 22.13)^0.4 (sin / 0.0896)^1.3`.
///
/// It stands for the place itself, not for the mean of the slope above; times 1.4 it compares with the differential form
/// of the universal equation.
#[must_use]
pub fn contributing_area_length_steepness(area_per_contour_m: f64, slope_ratio: f64) -> f64 {
    (area_per_contour_m / 22.13).powf(0.4) * (slope_ratio.abs().atan().sin() / 0.0896).powf(1.3)
}

#[cfg(test)]
mod tests {
    use super::super::soil_loss::universal_length_steepness;
    use super::*;

    #[test]
    fn bent_slopes_of_the_handbook() {
        // AH-537, irregular slopes (from memory): 400 ft in three equal pieces. Printed with weights rounded to 0.01 the
        // answers are 3.52 and 2.42; exact weights give the figures here (computed apart).
        let third_m = 400.0 * 0.3048 / 3.0;
        let convex = bent_length_steepness(&[(third_m, 0.05), (third_m, 0.10), (third_m, 0.15)]);
        let concave = bent_length_steepness(&[(third_m, 0.15), (third_m, 0.10), (third_m, 0.05)]);
        assert!((convex - 3.5018).abs() < 1e-3 && (convex - 3.517).abs() < 0.02, "{convex}");
        assert!((concave - 2.4360).abs() < 1e-3 && (concave - 2.424).abs() < 0.02, "{concave}");
    }

    #[test]
    fn an_even_slope_may_be_cut_anywhere() {
        // Identity: pieces of one slope are the whole slope.
        for slope in [0.004, 0.02, 0.04, 0.12] {
            let cut = bent_length_steepness(&[(13.0, slope), (0.0, slope), (60.0, slope), (27.0, slope)]);
            assert!((cut / universal_length_steepness(100.0, slope) - 1.0).abs() < 1e-12);
        }
        assert!(bent_length_steepness(&[]).abs() < 1e-12);
    }

    #[test]
    fn contributing_area() {
        // Moore and Burch (1986), formula from memory; 50 m at 5 % by hand.
        let ls = contributing_area_length_steepness(50.0, 0.05);
        assert!((ls - 0.647_965).abs() < 1e-6 && (1.4 * ls - 0.907_150).abs() < 1e-5);
    }
}
