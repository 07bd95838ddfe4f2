//! How far quantities and price may be off, and which doubt moves them most.

use super::LevellingInput;
use super::params::LevellingParams;
use crate::land::levelling::{BlockEarth, Doubt, SurfaceKind};
use crate::units::Range;

/// Patches within which survey errors are alike, metres (common practice, no source).
const ERROR_PATCH_M: f64 = 50.0;
/// Two-sided 95 % of a normal error.
const Z95: f64 = 1.96;

/// Ranges of the whole property and the doubts behind them.
pub(super) struct Doubts {
    pub(super) cut_m3: Range,
    pub(super) cost: Range,
    pub(super) each: Vec<Doubt>,
}

/// Each doubt alone, then all together: independent doubts add by their squares.
pub(super) fn of(blocks: &[BlockEarth], input: &LevellingInput<'_>, params: &LevellingParams) -> Doubts {
    let formed: Vec<&BlockEarth> = blocks.iter().filter(|b| b.surface != SurfaceKind::AsItLies).collect();
    let sum = |f: fn(&BlockEarth) -> f64| formed.iter().map(|b| f(b)).sum::<f64>();
    let (cut_m3, fill_m3) = (sum(|b| b.cut_m3), sum(|b| b.fill_m3));
    let cost = blocks.iter().fold(Range::exact(0.0), |a, b| a.zip(b.cost, |x, y| x + y));
    let per_m3 = if cut_m3 > 0.0 { sum(|b| b.cost.likely) / cut_m3 } else { 0.0 };
    let swing = |what: &str, by_m3: f64, by_cost: f64| Doubt {
        what: what.to_owned(),
        cut_m3: ((cut_m3 - by_m3).max(0.0), cut_m3 + by_m3),
        cost: ((cost.likely - by_cost).max(0.0), cost.likely + by_cost),
    };
    // Half of an error in height is cut, the other half fill; errors of different patches cancel.
    let sigma_m = input.ground.accuracy.vertical_sigma_m;
    let survey_m3 = Z95 * 0.5 * sigma_m * (sum(|b| b.formed_m2) * ERROR_PATCH_M * ERROR_PATCH_M).sqrt();
    // Lowering a balanced surface by d adds A_cut d to the cut and takes A_fill d from the fill; with both halves of the
    // block alike, a ratio that is off by r asks for r * fill / (1 + ratio) more cut.
    let ratio_m3 = params.cut_fill_spread_ratio * fill_m3 / (1.0 + params.cut_fill_ratio);
    // A surface that is pinned from below cannot follow the survey's error: what it is off has to be brought or left.
    let pinned_m2: f64 = formed.iter().filter(|b| is_pinned(b)).map(|b| b.formed_m2).sum();
    let bias_m3 = Z95 * params.survey_bias_mm / 1_000.0 * pinned_m2;
    let mut each = vec![
        swing("survey error, patches of 50 m", survey_m3, survey_m3 * per_m3),
        swing("shrinkage of the placed soil", ratio_m3, ratio_m3 * per_m3),
        swing("height of the survey against outlets", bias_m3, bias_m3 * per_m3),
        Doubt { what: "rates".to_owned(), cut_m3: (cut_m3, cut_m3), cost: (cost.low, cost.high) },
    ];
    each.sort_by(|a, b| (b.cost.1 - b.cost.0).total_cmp(&(a.cost.1 - a.cost.0)));
    let together = |likely: f64, ends: &dyn Fn(&Doubt) -> (f64, f64)| {
        let square =
            |pick: fn((f64, f64)) -> f64| each.iter().map(|d| (pick(ends(d)) - likely).powi(2)).sum::<f64>().sqrt();
        Range::new((likely - square(|e| e.0)).max(0.0), likely, likely + square(|e| e.1))
    };
    let (cut_range, cost_range) = (together(cut_m3, &|d| d.cut_m3), together(cost.likely, &|d| d.cost));
    Doubts { cut_m3: cut_range, cost: cost_range, each }
}

/// Whether something holds the surface up: soil has to come from elsewhere.
fn is_pinned(earth: &BlockEarth) -> bool {
    earth.borrow_m3 > 0.01 * earth.cut_m3.max(1.0)
}
