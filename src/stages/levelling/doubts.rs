//! How far quantities and price may be off, and which doubt moves them most.

use super::LevellingInput;
use super::params::LevellingParams;
use crate::grid::Raster;
use crate::land::levelling::{BlockEarth, Doubt, SurfaceKind};
use crate::methods::earthwork::uncertainty::{self, EarthDoubt, SurveyError, earth_range};
use crate::stages::machines::Machines;
use crate::units::Range;

/// Distance beyond which survey errors have nothing to do with each other, metres (common practice, no source).
const ERRORS_ALIKE_M: f64 = 50.0;
/// Two-sided 95 % of a normal error, in standard deviations.
const COVERAGE: f64 = 1.96;

/// Ranges of the whole property and the doubts behind them.
pub(super) struct Doubts {
    pub(super) cut_m3: Range,
    pub(super) cost: Range,
    pub(super) each: Vec<Doubt>,
}

/// Each doubt alone, the widest first, and all together.
pub(super) fn of(
    blocks: &[BlockEarth],
    cut_fill: &Raster<f32>,
    input: &LevellingInput<'_>,
    (params, machines): (&LevellingParams, &Machines),
) -> Doubts {
    let formed: Vec<&BlockEarth> = blocks.iter().filter(|b| b.surface != SurfaceKind::AsItLies).collect();
    let sum = |f: fn(&BlockEarth) -> f64| formed.iter().map(|b| f(b)).sum::<f64>();
    let cost = blocks.iter().fold(Range::exact(0.0), |a, b| a.zip(b.cost, |x, y| x + y));
    let (cut_m3, fill_m3) = (sum(|b| b.cut_m3), sum(|b| b.fill_m3));
    let cell_m2 = cut_fill.spec.cell_area_m2();
    let area = |is: fn(f32) -> bool| cut_fill.iter().filter(|(_, d)| is(*d)).count() as f64 * cell_m2;
    let pinned_m2: f64 = formed.iter().filter(|b| is_pinned(b)).map(|b| b.formed_m2).sum();
    let ratio = Range::new(
        (params.cut_fill_ratio - params.cut_fill_spread_ratio).max(1.0),
        params.cut_fill_ratio,
        params.cut_fill_ratio + params.cut_fill_spread_ratio,
    );
    let pinned_share = if cut_m3 > 0.0 { (pinned_m2 / sum(|b| b.formed_m2)).clamp(0.0, 1.0) } else { 0.0 };
    let borrow_per_m3 = machines.unknown_place_per_m3().likely;
    let asked = EarthDoubt {
        cut_m3,
        fill_m3,
        cut_m2: area(|d| d > 0.0),
        fill_m2: area(|d| d < 0.0),
        pinned_share,
        survey: SurveyError {
            sd_m: input.ground.accuracy.vertical_sigma_m,
            correlation_m: ERRORS_ALIKE_M,
            bias_m: params.survey_bias_mm / 1_000.0,
        },
        coverage: COVERAGE,
        cut_fill_ratio: ratio,
        price_per_m3: if cut_m3 > 0.0 { cost.map(|c| c / cut_m3) } else { Range::exact(0.0) },
        // A surface that floats is moved a few millimetres on site and balances again; only a pinned one has to borrow.
        off_balance_per_m3: pinned_share * borrow_per_m3,
    };
    match earth_range(&asked) {
        Ok(range) if cut_m3 > 0.0 => Doubts {
            cut_m3: range.volume_m3,
            cost: range.cost,
            each: range
                .swings
                .iter()
                .map(|s| Doubt {
                    what: words(s.doubt).to_owned(),
                    cut_m3: (s.volume_m3.low, s.volume_m3.high),
                    cost: (s.cost.low, s.cost.high),
                })
                .collect(),
        },
        _ => Doubts { cut_m3: Range::exact(cut_m3), cost, each: Vec::new() },
    }
}

const fn words(doubt: uncertainty::Doubt) -> &'static str {
    match doubt {
        uncertainty::Doubt::SurveyScatter => "scatter of the survey",
        uncertainty::Doubt::SurveyBias => "height of the survey against outlets and drains",
        uncertainty::Doubt::CutFillRatio => "shrinkage of the placed soil",
        uncertainty::Doubt::Price => "rates",
    }
}

/// Whether something holds the surface up: soil has to come from elsewhere.
fn is_pinned(earth: &BlockEarth) -> bool {
    earth.borrow_m3 > 0.01 * earth.cut_m3.max(1.0)
}
