//! The universal soil-loss equation and its revision.
//!
//! `A = R K LS C P`: loss in t/ha/year with R in MJ mm/ha/h/year and K in t ha h/ha/MJ/mm. Both equations were made for
//! sheet and rill erosion on slopes; on ground flatter than 0.5 % they say little, and they never see gullies, drains
//! or headland ends.
//!
//! Source: [`WischmeierSmith1978`](crate::bibliography::Bibliography::WischmeierSmith1978) (universal),
//! [`Renard1997`](crate::bibliography::Bibliography::Renard1997) (revised),
//! [`DesmetGovers1996`](crate::bibliography::Bibliography::DesmetGovers1996) (grids),
//! [`Foster1981`](crate::bibliography::Bibliography::Foster1981) (units).
//! How we know: rows of the handbook's table of LS within 1.1 %, its worked examples, the identity of the grid form
//! with the whole slope.

/// Length of the unit plot, metres (72.6 ft).
pub const UNIT_PLOT_M: f64 = 72.6 * 0.3048;
/// US customary R (hundreds of ft tonf in/acre/h/year) to MJ mm/ha/h/year.
pub const R_SI_PER_US: f64 = 17.02;
/// US customary K (ton acre h per hundreds of acre ft tonf in) to t ha h/ha/MJ/mm.
pub const K_SI_PER_US: f64 = 0.1317;
/// Short tons an acre to tonnes a hectare.
pub const T_HA_PER_TON_ACRE: f64 = 2.242;

/// How much of the loss comes from rills, by soil and cover.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rilling {
    /// Little: consolidated, covered soil (ratio 0.5).
    Low,
    /// As on moderately tilled row crop (ratio 1).
    Moderate,
    /// Freshly disturbed soil that rills easily (ratio 2).
    High,
}

impl Rilling {
    const fn ratio(self) -> f64 {
        match self {
            Self::Low => 0.5,
            Self::Moderate => 1.0,
            Self::High => 2.0,
        }
    }
}

/// Sine of the slope angle. Soil is lost the same whichever way a line along the slope is read, so the sign goes.
fn sine(slope_ratio: f64) -> f64 {
    slope_ratio.abs().atan().sin()
}

/// Length-slope exponent of the universal equation, by slope class.
///
/// Some programs put the class edges elsewhere (3 % for 3.5 %); these are the handbook's.
pub(super) fn universal_exponent(slope_ratio: f64) -> f64 {
    match slope_ratio.abs() * 100.0 {
        s if s >= 5.0 => 0.5,
        s if s >= 3.5 => 0.4,
        s if s >= 1.0 => 0.3,
        _ => 0.2,
    }
}

/// Steepness factor of the universal equation.
pub(super) fn universal_steepness(slope_ratio: f64) -> f64 {
    let sin = sine(slope_ratio);
    65.41 * sin * sin + 4.56 * sin + 0.065
}

/// LS of the universal equation for an even slope; length along the ground in metres, slope as a ratio.
#[must_use]
pub fn universal_length_steepness(length_m: f64, slope_ratio: f64) -> f64 {
    (length_m / UNIT_PLOT_M).powf(universal_exponent(slope_ratio)) * universal_steepness(slope_ratio)
}

/// Exponent of the revised equation.
fn revised_exponent(slope_ratio: f64, rilling: Rilling) -> f64 {
    let sin = sine(slope_ratio);
    let beta = rilling.ratio() * (sin / 0.0896) / (3.0 * sin.powf(0.8) + 0.56);
    beta / (1.0 + beta)
}

/// LS of the revised equation for an even slope longer than 4.5 m.
#[must_use]
pub fn revised_length_steepness(length_m: f64, slope_ratio: f64, rilling: Rilling) -> f64 {
    let sin = sine(slope_ratio);
    let steepness = if slope_ratio.abs() < 0.09 { 10.8 * sin + 0.03 } else { 16.8 * sin - 0.5 };
    (length_m / UNIT_PLOT_M).powf(revised_exponent(slope_ratio, rilling)) * steepness
}

/// Share of an irregular slope's loss that each of `segments` equal lengths contributes, top first; they sum to 1.
#[must_use]
pub fn irregular_slope_weights(segments: u32, exponent: f64) -> Vec<f64> {
    let power = exponent + 1.0;
    let whole = f64::from(segments).powf(power);
    (1..=segments).map(|j| (f64::from(j).powf(power) - f64::from(j - 1).powf(power)) / whole).collect()
}

/// Slope-length factor of one grid cell from the area above it, square metres (the cell itself not counted).
///
/// Water crosses a cell of side D on a width of `x D` with `x = |sin a| + |cos a|`, `a` being the direction of flow:
/// `flow_width_ratio` is that x, 1 along the grid and 1.414 across the corners.
#[must_use]
pub fn grid_slope_length(upslope_m2: f64, cell_m: f64, flow_width_ratio: f64, exponent: f64) -> f64 {
    let power = exponent + 1.0;
    ((upslope_m2 + cell_m * cell_m).powf(power) - upslope_m2.powf(power))
        / (cell_m.powf(exponent + 2.0) * flow_width_ratio.powf(exponent) * 22.13_f64.powf(exponent))
}

/// Soil erodibility by the handbook's nomograph, US customary (times [`K_SI_PER_US`] for SI).
///
/// `silt_fine_sand_pct` is silt plus very fine sand; `structure` 1 to 4 and `permeability` 1 to 6 are the nomograph's
/// classes. `None` off the nomograph: more than 70 % silt and very fine sand, texture summing to over 100 %, classes out
/// of their span, negative shares. Organic matter above 4 %, where its lines end, is read as 4 %.
#[must_use]
pub fn nomograph_k_us(
    silt_fine_sand_pct: f64,
    clay_pct: f64,
    organic_pct: f64,
    structure: f64,
    permeability: f64,
) -> Option<f64> {
    let on_nomograph = (0.0..=70.0).contains(&silt_fine_sand_pct)
        && clay_pct >= 0.0
        && silt_fine_sand_pct + clay_pct <= 100.0
        && organic_pct >= 0.0
        && (1.0..=4.0).contains(&structure)
        && (1.0..=6.0).contains(&permeability);
    let texture = silt_fine_sand_pct * (100.0 - clay_pct);
    let percent = 2.1e-4 * texture.powf(1.14) * (12.0 - organic_pct.min(4.0))
        + 3.25 * (structure - 2.0)
        + 2.5 * (permeability - 3.0);
    on_nomograph.then_some(percent.max(0.0) / 100.0)
}

/// Loss in t/ha/year: erosivity, erodibility, length-steepness, cover, practice (SI units, see the module).
#[must_use]
pub fn soil_loss_t_ha(erosivity: f64, erodibility: f64, length_steepness: f64, cover: f64, practice: f64) -> f64 {
    erosivity * erodibility * length_steepness * cover * practice
}

#[cfg(test)]
mod tests {
    use super::*;

    const FT: f64 = 0.3048;

    fn near(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() < tolerance, "{a} is not {b}");
    }

    #[test]
    #[expect(clippy::approx_constant, reason = "3.14 is what the table prints for 8 % and 1,000 ft")]
    fn universal_table_of_the_handbook() {
        // AH-537, table 3 (recalled from memory, hence 1.1 %): lengths in feet.
        let lengths = [25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 400.0, 500.0, 600.0, 800.0, 1_000.0];
        let table = [
            (0.02, [0.133, 0.163, 0.185, 0.201, 0.227, 0.248, 0.280, 0.305, 0.326, 0.344, 0.376, 0.402]),
            (0.04, [0.230, 0.303, 0.357, 0.400, 0.471, 0.528, 0.621, 0.697, 0.762, 0.820, 0.920, 1.01]),
            (0.06, [0.336, 0.476, 0.583, 0.673, 0.824, 0.952, 1.17, 1.35, 1.50, 1.65, 1.90, 2.13]),
            (0.08, [0.496, 0.701, 0.859, 0.992, 1.21, 1.41, 1.72, 1.98, 2.22, 2.43, 2.81, 3.14]),
            (0.10, [0.685, 0.968, 1.19, 1.37, 1.68, 1.94, 2.37, 2.74, 3.06, 3.36, 3.87, 4.33]),
            (0.12, [0.903, 1.28, 1.56, 1.80, 2.21, 2.55, 3.13, 3.61, 4.04, 4.42, 5.11, 5.71]),
            (0.20, [2.04, 2.88, 3.53, 4.08, 5.00, 5.77, 7.07, 8.16, 9.12, 10.0, 11.5, 12.9]),
        ];
        for (slope, row) in table {
            for (length, expected) in lengths.iter().zip(row) {
                let ls = universal_length_steepness(length * FT, slope);
                assert!((ls / expected - 1.0).abs() < 0.011, "{length} ft at {slope}: {ls} is not {expected}");
            }
        }
        near(universal_length_steepness(72.6 * FT, 0.09), 0.999_31, 1e-5);
    }

    #[test]
    fn universal_in_metres() {
        // AH-537 equation, lengths in metres (computed apart).
        near(universal_length_steepness(50.0, 0.03), 0.332_739, 1e-5);
        near(universal_length_steepness(100.0, 0.02), 0.286_672, 1e-5);
        near(universal_length_steepness(200.0, 0.01), 0.226_737, 1e-5);
    }

    #[test]
    fn revised_equation() {
        // AH-703 equations 4-1 to 4-5, from memory; values computed apart.
        let cases = [
            (72.6 * FT, 0.09, [1.0059, 1.0059, 1.0059]),
            (100.0 * FT, 0.02, [0.2572, 0.2660, 0.2789]),
            (200.0 * FT, 0.04, [0.5773, 0.6658, 0.7906]),
            (300.0 * FT, 0.01, [0.1547, 0.1706, 0.1996]),
            (150.0 * FT, 0.06, [0.8271, 0.9267, 1.0494]),
            (400.0 * FT, 0.08, [1.5321, 2.0285, 2.7042]),
            (200.0 * FT, 0.12, [2.1964, 2.6105, 3.0712]),
            (1_000.0 * FT, 0.005, [0.0943, 0.1049, 0.1265]),
            (100.0, 0.03, [0.4671, 0.5657, 0.7238]),
        ];
        for (length, slope, expected) in cases {
            for (rilling, value) in [Rilling::Low, Rilling::Moderate, Rilling::High].into_iter().zip(expected) {
                near(revised_length_steepness(length, slope, rilling), value, 1e-4);
            }
        }
    }

    #[test]
    fn irregular_slopes_of_the_handbook() {
        // AH-537, table 4: three segments, exponent 0.5; convex 5/10/15 %, 400 ft, gives 3.50 with exact weights.
        let weights = irregular_slope_weights(3, 0.5);
        near(weights[0], 0.192_45, 1e-5);
        near(weights[1], 0.351_88, 1e-5);
        near(weights[2], 0.455_67, 1e-5);
        let ls = [0.05, 0.10, 0.15].map(|s| universal_length_steepness(400.0 * FT, s));
        let convex: f64 = weights.iter().zip(ls).map(|(w, v)| w * v).sum();
        near(convex, 3.5018, 1e-3);
        for (exponent, printed) in [
            (0.5, [0.089, 0.164, 0.212, 0.251, 0.284]),
            (0.4, [0.105, 0.172, 0.212, 0.243, 0.268]),
            (0.3, [0.123, 0.180, 0.211, 0.233, 0.252]),
        ] {
            let weights = irregular_slope_weights(5, exponent);
            near(weights.iter().sum(), 1.0, 1e-12);
            weights.iter().zip(printed).for_each(|(weight, p)| near(*weight, p, 6e-4));
        }
    }

    #[test]
    fn grid_form_is_the_whole_slope() {
        // Identity: the mean over a straight strip of cells equals (length / 22.13)^m.
        for (exponent, whole, first, last) in
            [(0.3, 1.660_580_56, 0.787_962_55, 2.131_226_13), (0.5, 2.328_626_93, 0.0, 0.0)]
        {
            let cells: Vec<f64> =
                (0..12).map(|i| grid_slope_length(f64::from(i) * 100.0, 10.0, 1.0, exponent)).collect();
            near(cells.iter().sum::<f64>() / 12.0, whole, 1e-8);
            if first > 0.0 {
                near(cells[0], first, 1e-8);
                near(cells[11], last, 1e-8);
            }
        }
    }

    #[test]
    fn a_slope_read_uphill_loses_the_same() {
        // Symmetry: the sign of a slope is only the direction it is read in.
        for slope in [0.0, 0.002, 0.04, 0.15] {
            near(universal_length_steepness(80.0, -slope), universal_length_steepness(80.0, slope), 1e-12);
            for rilling in [Rilling::Low, Rilling::Moderate, Rilling::High] {
                let down = revised_length_steepness(80.0, slope, rilling);
                near(revised_length_steepness(80.0, -slope, rilling), down, 1e-12);
                assert!(down > 0.0);
            }
        }
        // Water crossing the corners of the cells runs on a width 1.414 times theirs.
        let (along, across) =
            (grid_slope_length(300.0, 10.0, 1.0, 0.5), grid_slope_length(300.0, 10.0, 2.0_f64.sqrt(), 0.5));
        near(along / across, 2.0_f64.powf(0.25), 1e-12);
    }

    #[test]
    fn erodibility_and_units() {
        // AH-537, figure 3: the worked example printed on the nomograph (from memory) gives K = 0.31.
        near(nomograph_k_us(65.0, 30.0, 2.8, 2.0, 4.0).unwrap(), 0.310_851, 1e-6);
        near(nomograph_k_us(60.0, 15.0, 2.0, 3.0, 4.0).unwrap(), 0.411_37, 1e-5);
        near(0.310_851 * K_SI_PER_US, 0.040_939, 1e-6);
        // The nomograph ends at 70 % silt and very fine sand, and a soil cannot exceed 100 %.
        assert_eq!(nomograph_k_us(71.0, 10.0, 2.0, 3.0, 4.0), None);
        assert_eq!(nomograph_k_us(60.0, 45.0, 2.0, 3.0, 4.0), None);
        assert_eq!(nomograph_k_us(60.0, 15.0, 2.0, 5.0, 4.0), None);
        assert_eq!(nomograph_k_us(f64::NAN, 15.0, 2.0, 3.0, 4.0), None);
        // Foster and others (1981): the factors belong together.
        near(R_SI_PER_US * K_SI_PER_US, T_HA_PER_TON_ACRE, 1e-3);
        // AH-537, Russell silt loam: R 185, K 0.37, LS 1.41, then C 0.119 (from memory).
        near(soil_loss_t_ha(185.0, 0.37, 1.41, 1.0, 1.0), 96.51, 0.01);
        near(soil_loss_t_ha(185.0, 0.37, 1.41, 0.119, 1.0), 11.49, 0.01);
        near(soil_loss_t_ha(185.0, 0.37, 1.41, 0.119, 0.5), 5.74, 0.01);
        // Product in SI.
        near(soil_loss_t_ha(8_000.0, 0.035, 0.4, 0.3, 0.6), 20.16, 1e-9);
    }
}
