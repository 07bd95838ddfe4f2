//! Volume and cost of earth as low, likely and high, and which doubt matters most.
//!
//! Four doubts, each moved by itself with the others at their likely value: scatter of the survey (heights wrong together
//! within patches), a constant offset of the survey (counts only on the share of the area whose levels are pinned: a
//! surface that may float moves with the ground), the cut:fill ratio, and the price. Their swings
//! below and above the likely value are combined by the root of the sum of squares, as for independent parts.
//!
//! Scatter: heights have a standard deviation `s` and a spherical correlation of range `r`. The mean error over an area,
//! taken as a circle of radius `l`, has the variance `s2 (1 - r'/1 + r'^3/5)` with `r' = l/r` when `l < r` and
//! `s2 / (5 l'^2)` with `l' = l/r` beyond: a patch of area `pi r2 / 5` counts as one reading. It is an upper estimate: a
//! square or ragged area, and control points inside it, only make the error of the mean smaller.
//! Not counted: scatter of single readings also makes cut and fill both look larger than they are where the design is
//! within a standard deviation of the ground.
//! Shapes and units: metres, square metres, m3 (cut as it lies, fill as room in place), any currency.
//! Source: [`Bibliography::Rolstad2009`](crate::bibliography::Bibliography::Rolstad2009), equation of the spherical model (from
//! memory); [`Bibliography::Jcgm100`](crate::bibliography::Bibliography::Jcgm100), combination of independent parts.
//! How we know: seeded simulation of correlated fields, free and held at control points (`simulation_agrees`), limits of the
//! closed form (`closed_form_at_its_ends`), hand case (`one_block_by_hand`), properties (`ranges_hold_together`).

use crate::units::Range;

/// How wrong the heights of a survey may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurveyError {
    /// Standard deviation of a height, metres.
    pub sd_m: f64,
    /// Distance beyond which errors have nothing to do with each other, metres.
    pub correlation_m: f64,
    /// Constant offset, either way, metres.
    pub bias_m: f64,
}

/// Earth of a design with the doubts about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EarthDoubt {
    /// Cut, m3 as it lies.
    pub cut_m3: f64,
    /// Room to fill, m3.
    pub fill_m3: f64,
    /// Area that is cut, m2.
    pub cut_m2: f64,
    /// Area that is filled, m2.
    pub fill_m2: f64,
    /// Share of both areas where levels are pinned by drains, tracks or neighbours, 0 to 1.
    pub pinned_share: f64,
    /// The survey's accuracy.
    pub survey: SurveyError,
    /// How many standard deviations of the scatter low and high stand for: 1.28 for eight cases in ten, 2 for nineteen in
    /// twenty.
    pub coverage: f64,
    /// Cut as it lies that makes a m3 of fill.
    pub cut_fill_ratio: Range,
    /// Price of a m3 cut, carried and placed.
    pub price_per_m3: Range,
    /// Price of a m3 that has to be brought from or taken to elsewhere, on top of the price.
    pub off_balance_per_m3: f64,
}

/// One doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Doubt {
    /// Scatter of the survey.
    SurveyScatter,
    /// Offset of the survey where levels are pinned.
    SurveyBias,
    /// Cut:fill ratio.
    CutFillRatio,
    /// Price of a cubic metre.
    Price,
}

/// What one doubt alone does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Which doubt.
    pub doubt: Doubt,
    /// Earth moved, m3 as it lies.
    pub volume_m3: Range,
    /// Cost.
    pub cost: Range,
}

/// Earth with its doubt.
#[derive(Debug, Clone, PartialEq)]
pub struct EarthRange {
    /// Earth moved, borrow included, m3 as it lies.
    pub volume_m3: Range,
    /// Cost.
    pub cost: Range,
    /// Each doubt by itself, the widest in cost first (then in volume).
    pub swings: Vec<Swing>,
}

/// A number that makes no sense.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{what} is {value}: out of its range")]
pub struct DoubtError {
    /// Which number.
    pub what: &'static str,
    /// Its value.
    pub value: f64,
}

/// Standard deviation of the mean error over an area, metres, for a spherical correlation. See the head of this file.
///
/// Without correlation (range zero) the mean over any area is exact, because it is the mean of endlessly many readings.
#[must_use]
pub fn mean_error_sd_m(sd_m: f64, correlation_m: f64, area_m2: f64) -> f64 {
    if correlation_m <= 0.0 {
        return 0.0;
    }
    let ratio = (area_m2 / std::f64::consts::PI).sqrt() / correlation_m;
    let share = if ratio < 1.0 { 1.0 - ratio + ratio.powi(3) / 5.0 } else { 1.0 / (5.0 * ratio * ratio) };
    sd_m * share.sqrt()
}

/// Standard deviation of a volume over an area between a surveyed and a fixed surface, m3.
#[must_use]
pub fn volume_sd_m3(survey: &SurveyError, area_m2: f64) -> f64 {
    area_m2 * mean_error_sd_m(survey.sd_m, survey.correlation_m, area_m2)
}

/// One possible truth.
#[derive(Clone, Copy)]
struct Truth {
    cut_m3: f64,
    fill_m3: f64,
    ratio: f64,
    price: f64,
}

impl Truth {
    /// Earth moved and cost: what is cut, or what is needed when that is more; what does not balance costs more.
    fn outcome(self, off_balance: f64) -> (f64, f64) {
        let (have, need) = (self.cut_m3.max(0.0), self.fill_m3.max(0.0) * self.ratio);
        let volume = have.max(need);
        (volume, volume * self.price + (have - need).abs() * off_balance)
    }
}

/// Volume and cost as low, likely and high.
///
/// # Errors
/// [`DoubtError`] when a number is negative or not finite, a share is above one, or a range is out of order.
pub fn earth_range(earth: &EarthDoubt) -> Result<EarthRange, DoubtError> {
    check(earth)?;
    let truth = Truth {
        cut_m3: earth.cut_m3,
        fill_m3: earth.fill_m3,
        ratio: earth.cut_fill_ratio.likely,
        price: earth.price_per_m3.likely,
    };
    let likely = truth.outcome(earth.off_balance_per_m3);
    let swing = |doubt, ends: [Truth; 2]| {
        let ends = ends.map(|t| t.outcome(earth.off_balance_per_m3));
        // Off balance costs either way, so the likely case may itself be the least.
        let around = |pick: fn((f64, f64)) -> f64| {
            let (a, b, mid) = (pick(ends[0]), pick(ends[1]), pick(likely));
            Range::new(a.min(b).min(mid), mid, a.max(b).max(mid))
        };
        Swing { doubt, volume_m3: around(|o| o.0), cost: around(|o| o.1) }
    };
    let scatter = |area_m2: f64| earth.coverage * volume_sd_m3(&earth.survey, area_m2);
    let bias_m = earth.survey.bias_m * earth.pinned_share;
    let moved =
        |cut_m3: f64, fill_m3: f64| Truth { cut_m3: truth.cut_m3 + cut_m3, fill_m3: truth.fill_m3 + fill_m3, ..truth };
    let (cut, fill) = (scatter(earth.cut_m2), scatter(earth.fill_m2));
    // Errors over the cut and over the fill are far apart compared with a patch, so they are independent of each other.
    let of_cut = swing(Doubt::SurveyScatter, [moved(-cut, 0.0), moved(cut, 0.0)]);
    let of_fill = swing(Doubt::SurveyScatter, [moved(0.0, -fill), moved(0.0, fill)]);
    let by_bias = [-bias_m, bias_m].map(|b| moved(b * earth.cut_m2, -b * earth.fill_m2));
    let mut swings = vec![
        Swing {
            doubt: Doubt::SurveyScatter,
            volume_m3: combined(&[of_cut.volume_m3, of_fill.volume_m3]),
            cost: combined(&[of_cut.cost, of_fill.cost]),
        },
        swing(Doubt::SurveyBias, by_bias),
        swing(
            Doubt::CutFillRatio,
            [earth.cut_fill_ratio.low, earth.cut_fill_ratio.high].map(|ratio| Truth { ratio, ..truth }),
        ),
        swing(Doubt::Price, [earth.price_per_m3.low, earth.price_per_m3.high].map(|price| Truth { price, ..truth })),
    ];
    let width = |r: Range| r.high - r.low;
    swings.sort_by(|a, b| {
        width(b.cost).total_cmp(&width(a.cost)).then(width(b.volume_m3).total_cmp(&width(a.volume_m3)))
    });
    let all = |pick: fn(&Swing) -> Range| combined(&swings.iter().map(pick).collect::<Vec<_>>());
    Ok(EarthRange { volume_m3: all(|s| s.volume_m3), cost: all(|s| s.cost), swings })
}

/// Independent swings about one likely value: root of the sum of squares below and above; never less than nothing.
fn combined(parts: &[Range]) -> Range {
    let likely = parts.first().map_or(0.0, |p| p.likely);
    let root = |side: fn(&Range) -> f64| parts.iter().map(|p| side(p).powi(2)).sum::<f64>().sqrt();
    Range::new((likely - root(|p| p.likely - p.low)).max(0.0), likely, likely + root(|p| p.high - p.likely))
}

fn check(earth: &EarthDoubt) -> Result<(), DoubtError> {
    let positive = [
        ("cut volume", earth.cut_m3),
        ("fill volume", earth.fill_m3),
        ("cut area", earth.cut_m2),
        ("fill area", earth.fill_m2),
        ("pinned share", earth.pinned_share),
        ("survey standard deviation", earth.survey.sd_m),
        ("correlation distance", earth.survey.correlation_m),
        ("survey bias", earth.survey.bias_m),
        ("coverage", earth.coverage),
        ("lowest cut:fill ratio", earth.cut_fill_ratio.low),
        ("highest cut:fill ratio", earth.cut_fill_ratio.high),
        ("lowest price", earth.price_per_m3.low),
        ("highest price", earth.price_per_m3.high),
        ("price off balance", earth.off_balance_per_m3),
    ];
    if let Some((what, value)) = positive.into_iter().find(|(_, v)| !(v.is_finite() && *v >= 0.0)) {
        return Err(DoubtError { what, value });
    }
    if earth.pinned_share > 1.0 {
        return Err(DoubtError { what: "pinned share", value: earth.pinned_share });
    }
    for (what, range) in [("likely cut:fill ratio", earth.cut_fill_ratio), ("likely price", earth.price_per_m3)] {
        if !range.is_ordered() {
            return Err(DoubtError { what, value: range.likely });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
