//! Doubts against simulation, by hand and as properties.

use super::*;
use proptest::prelude::*;

const BLOCK: EarthDoubt = EarthDoubt {
    cut_m3: 1_000.0,
    fill_m3: 800.0,
    cut_m2: 10_000.0,
    fill_m2: 10_000.0,
    pinned_share: 0.5,
    survey: SurveyError { sd_m: 0.02, correlation_m: 25.0, bias_m: 0.01 },
    coverage: 2.0,
    cut_fill_ratio: Range::new(1.15, 1.25, 1.35),
    price_per_m3: Range::new(2.0, 3.0, 4.5),
    off_balance_per_m3: 5.0,
};

#[test]
fn one_block_by_hand() {
    // Arithmetic from the formulas at the head of the method.
    let range = earth_range(&BLOCK).expect("sound numbers");
    let near = |a: f64, b: f64| (a - b).abs() < 0.01;
    assert_eq!(
        range.swings.iter().map(|s| s.doubt).collect::<Vec<_>>(),
        [Doubt::Price, Doubt::SurveyScatter, Doubt::SurveyBias, Doubt::CutFillRatio]
    );
    // A patch of pi 25^2 / 5 = 392.7 m2: 2 x 0.02 m x sqrt(392.7 x 10 000) m2 = 79.27 m3 over either half.
    let scatter = range.swings[1];
    assert!(near(scatter.volume_m3.high, 1_126.89) && near(scatter.cost.high, 4_015.11), "{scatter:?}");
    let bias = range.swings[2];
    assert!(near(bias.volume_m3.high, 1_062.5) && near(bias.cost.high, 3_750.0) && near(bias.cost.low, 3_000.0));
    let ratio = range.swings[3];
    assert!(near(ratio.volume_m3.high, 1_080.0) && near(ratio.cost.high, 3_640.0));
    assert!(near(range.volume_m3.likely, 1_000.0) && near(range.volume_m3.high, 1_162.50), "{:?}", range.volume_m3);
    assert!(near(range.cost.low, 2_000.0) && near(range.cost.high, 5_062.17), "{:?}", range.cost);
}

#[test]
fn offset_counts_only_where_levels_are_pinned() {
    let floating = earth_range(&EarthDoubt { pinned_share: 0.0, ..BLOCK }).expect("sound numbers");
    let bias = floating.swings.iter().find(|s| s.doubt == Doubt::SurveyBias).expect("every doubt is reported");
    assert!((bias.cost.high - bias.cost.low).abs() < 1e-9 && (bias.volume_m3.high - 1_000.0).abs() < 1e-9);
}

#[test]
fn nonsense_is_refused() {
    let refused = |earth: EarthDoubt| earth_range(&earth).expect_err("nonsense").what;
    assert_eq!(refused(EarthDoubt { cut_m3: -1.0, ..BLOCK }), "cut volume");
    assert_eq!(refused(EarthDoubt { pinned_share: 1.5, ..BLOCK }), "pinned share");
    assert_eq!(refused(EarthDoubt { coverage: f64::NAN, ..BLOCK }), "coverage");
    assert_eq!(refused(EarthDoubt { price_per_m3: Range::new(3.0, 2.0, 4.0), ..BLOCK }), "likely price");
}

#[test]
fn closed_form_at_its_ends() {
    // Over a point it is the reading's own; at one range a fifth of the variance; far beyond, one reading a patch.
    assert!((mean_error_sd_m(0.03, 50.0, 0.0) - 0.03).abs() < 1e-12);
    let at_range = std::f64::consts::PI * 2_500.0;
    assert!((mean_error_sd_m(0.03, 50.0, at_range) - 0.03 * 0.2_f64.sqrt()).abs() < 1e-12);
    assert!((mean_error_sd_m(0.03, 50.0, at_range * (1.0 - 1e-12)) - 0.03 * 0.2_f64.sqrt()).abs() < 1e-9);
    let patch = std::f64::consts::PI * 2_500.0 / 5.0;
    assert!((mean_error_sd_m(0.03, 50.0, 1e6) - 0.03 * (patch / 1e6).sqrt()).abs() < 1e-12);
    assert!(mean_error_sd_m(0.03, 0.0, 1e6).abs() < 1e-12);
}

/// Lower triangle of the Cholesky factor, row-major.
fn cholesky(matrix: &[f64], n: usize) -> Vec<f64> {
    let mut l = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = matrix[i * n + j] - (0..j).map(|k| l[i * n + k] * l[j * n + k]).sum::<f64>();
            l[i * n + j] = if i == j { sum.sqrt() } else { sum / l[j * n + j] };
        }
    }
    l
}

/// Solves `A x = b` from the factor of `A`.
fn solve(l: &[f64], b: &[f64]) -> Vec<f64> {
    let n = b.len();
    let mut x = b.to_vec();
    for i in 0..n {
        x[i] = (x[i] - (0..i).map(|k| l[i * n + k] * x[k]).sum::<f64>()) / l[i * n + i];
    }
    for i in (0..n).rev() {
        x[i] = (x[i] - (i + 1..n).map(|k| l[k * n + i] * x[k]).sum::<f64>()) / l[i * n + i];
    }
    x
}

/// Normal numbers from a fixed seed (Box and Muller on a xorshift sequence).
fn normals() -> impl FnMut() -> f64 {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut uniform = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        ((state >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    };
    move || (-2.0 * uniform().ln()).sqrt() * (std::f64::consts::TAU * uniform()).cos()
}

fn sd(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt()
}

#[test]
fn simulation_agrees() {
    // 4 ha as 20 x 20 cells of 10 m, spherical correlation over 60 m, 30 mm; 2000 fields, so a standard deviation
    // is known to 1.6 %. Then the same fields held to no error at nine control points by simple kriging of their residuals.
    let (side, cell_m, draws) = (20_usize, 10.0, 2_000);
    let (n, survey) = (side * side, SurveyError { sd_m: 0.03, correlation_m: 60.0, bias_m: 0.0 });
    let covariance = |a: usize, b: usize| {
        let (dr, dc) = ((a / side) as f64 - (b / side) as f64, (a % side) as f64 - (b % side) as f64);
        let h = cell_m * dr.hypot(dc) / survey.correlation_m;
        if h < 1.0 { survey.sd_m.powi(2) * (1.0 - 1.5 * h + 0.5 * h.powi(3)) } else { 0.0 }
    };
    let matrix: Vec<f64> = (0..n * n).map(|k| covariance(k / n, k % n)).collect();
    let stations: Vec<usize> = [3, 10, 17].into_iter().flat_map(|r| [3, 10, 17].map(|c| r * side + c)).collect();
    let between: Vec<f64> = stations.iter().flat_map(|a| stations.iter().map(|b| covariance(*a, *b))).collect();
    // Weights of the residuals at the stations in the sum over all cells.
    let to_sum: Vec<f64> = stations.iter().map(|s| (0..n).map(|c| covariance(*s, c)).sum()).collect();
    let weights = solve(&cholesky(&between, stations.len()), &to_sum);
    let (factor, mut normal) = (cholesky(&matrix, n), normals());
    let (mut free, mut held) = (Vec::new(), Vec::new());
    for _ in 0..draws {
        let white: Vec<f64> = (0..n).map(|_| normal()).collect();
        let field: Vec<f64> = (0..n).map(|i| (0..=i).map(|k| factor[i * n + k] * white[k]).sum()).collect();
        let sum: f64 = field.iter().sum();
        let known: f64 = stations.iter().zip(&weights).map(|(s, w)| field[*s] * w).sum();
        free.push(sum * cell_m * cell_m);
        held.push((sum - known) * cell_m * cell_m);
    }
    let closed = volume_sd_m3(&survey, n as f64 * cell_m * cell_m);
    // The double sum of the covariance is the exact answer for these cells.
    let exact = matrix.iter().sum::<f64>().sqrt() * cell_m * cell_m;
    assert!((sd(&free) / exact - 1.0).abs() < 0.05, "{} against {exact}", sd(&free));
    // The closed form is for a circle without an edge: above the exact one for a square, by less than a fifth.
    assert!(closed >= exact && closed < 1.2 * exact, "{closed} against {exact}");
    let explained: f64 = weights.iter().zip(&to_sum).map(|(w, c)| w * c).sum();
    let kriged = (matrix.iter().sum::<f64>() - explained).sqrt() * cell_m * cell_m;
    assert!((sd(&held) / kriged - 1.0).abs() < 0.05 && kriged < exact, "{} against {kriged}", sd(&held));
}

proptest! {
    #[test]
    fn ranges_hold_together(cut in 0.0..5e3f64, fill in 0.0..5e3f64, sd_m in 0.0..0.1f64, bias_m in 0.0..0.1f64, wider in 0.0..0.5f64) {
        let earth = EarthDoubt { cut_m3: cut, fill_m3: fill, survey: SurveyError { sd_m, bias_m, ..BLOCK.survey }, ..BLOCK };
        let range = earth_range(&earth).expect("sound numbers");
        prop_assert!(range.cost.is_ordered() && range.volume_m3.is_ordered() && range.cost.low >= 0.0);
        prop_assert!(range.swings.iter().all(|s| s.cost.high <= range.cost.high + 1e-9));
        // More doubt about the price or the heights never narrows the cost.
        let price = Range::new((2.0 - wider).max(0.0), 3.0, 4.5 + wider);
        let doubt = EarthDoubt { price_per_m3: price, ..earth };
        prop_assert!(earth_range(&doubt).expect("sound numbers").cost.high >= range.cost.high - 1e-9);
        let survey = SurveyError { sd_m: sd_m + wider / 10.0, ..earth.survey };
        let blurred = earth_range(&EarthDoubt { survey, ..earth }).expect("sound numbers");
        prop_assert!(blurred.cost.high >= range.cost.high - 1e-9);
    }
}
