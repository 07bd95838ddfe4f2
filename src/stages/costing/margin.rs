//! What a cropped hectare earns in a year, beside the margin the layout priced its land by.

use super::CostingParams;
use super::worth::{self, Case, Farm};
use crate::finding::{Finding, Severity};
use crate::land::rates::Rates;
use crate::methods::economics::capital_recovery_factor;
use crate::wording::grouped;

/// Share by which the two may differ before a layout might have been chosen otherwise.
const APART_RATIO: f64 = 0.25;
/// Share by which what a dollar paid once costs in a year may differ: half a point of interest over twelve years is 3 %.
const INTEREST_RATIO: f64 = 0.05;

/// What the cash flow lets one more cropped hectare earn in a year: planted once, grown over the horizon, no works.
pub(super) fn earned_per_ha(rates: &Rates, params: &CostingParams) -> f64 {
    let planting = rates.lime_per_ha.likely + rates.planting_per_ha.likely + rates.cover_crop_per_ha.likely;
    let case = Case {
        works: planting * (1.0 + rates.contingency_pct.likely / 100.0),
        price_per_t: params.price_per_t.likely,
        yield_t_ha: params.yield_t_ha.likely,
        harvest_per_t: params.harvest_per_t.likely,
        growing_per_ha: params.growing_per_ha.likely,
        replant_per_ha: rates.planting_per_ha.likely + rates.cover_crop_per_ha.likely,
        turning_per_year: 0.0,
        delay_years: 0,
    };
    let hectare = Farm { cropped_ha: 1.0, undrained_ratio: 0.0, subsoil_ratio: 0.0 };
    let factor = capital_recovery_factor(params.discount_pct / 100.0, params.horizon_years);
    worth::npv(&hectare, &case, params) * factor
}

/// Says that the layout priced land otherwise than the cash flow does.
pub(super) fn apart(rates: &Rates, params: &CostingParams) -> Option<Finding> {
    let (priced, earned) = (rates.gross_margin_per_ha.likely, earned_per_ha(rates, params));
    let apart = (priced - earned).abs() > APART_RATIO * earned.abs().max(priced.abs());
    apart.then(|| {
        Finding::new(
            Severity::Warning,
            "costing",
            "margin_apart",
            format!(
                "The layout prices a cropped hectare at {} a year (`rates.gross_margin_per_ha`), the cash flow lets it \
                 earn {}: what the layout holds cheapest may not be worth most. Bring the two together.",
                grouped(priced),
                grouped(earned)
            ),
        )
    })
}

/// Says that the layout spread what is paid once over the years otherwise than the cash flow does.
///
/// `layout`: what a dollar paid once cost the layout in every year; 0 when it priced nothing.
pub(super) fn interest_apart(layout: f64, params: &CostingParams) -> Option<Finding> {
    let cash_flow = capital_recovery_factor(params.discount_pct / 100.0, params.horizon_years);
    let apart = layout > 0.0 && (layout - cash_flow).abs() > INTEREST_RATIO * cash_flow;
    apart.then(|| {
        Finding::new(
            Severity::Warning,
            "costing",
            "interest_apart",
            format!(
                "The layout lets 100 paid once cost {:.2} a year (`blocks.discount_pct`, `blocks.earth_years`), the cash \
                 flow {:.2} (`costing.discount_pct`, `costing.horizon_years`): what the layout holds cheapest may not be \
                 worth most. Bring the two together.",
                100.0 * layout,
                100.0 * cash_flow
            ),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Range;

    #[test]
    fn a_hectare_earns_what_its_payments_are_worth() {
        // By hand, from 7 % tables of present worth (any handbook of engineering economy): planted at 3,350 and 15 % on it,
        // a yield of 90 t at 36.60 net, the first at 90 %, ratoons at 93 % of the year before less 1,100 of growing, replanted
        // at 3,020 in year 6.
        let t = |n: f64, first: f64| 90.0 * 0.93_f64.powf(n) * first * 36.6;
        let mut sum = -3_350.0 * 1.15;
        for (year, pay) in [
            (1, t(0.0, 0.9)),
            (2, t(1.0, 1.0) - 1_100.0),
            (3, t(2.0, 1.0) - 1_100.0),
            (4, t(3.0, 1.0) - 1_100.0),
            (5, t(4.0, 1.0) - 1_100.0),
            (6, -3_020.0),
            (7, t(0.0, 1.0)),
            (8, t(1.0, 1.0) - 1_100.0),
            (9, t(2.0, 1.0) - 1_100.0),
            (10, t(3.0, 1.0) - 1_100.0),
            (11, t(4.0, 1.0) - 1_100.0),
        ] {
            sum += pay / 1.07_f64.powi(year);
        }
        // Capital recovery at 7 % over 12 years: 0.1259.
        let earned = earned_per_ha(&Rates::default(), &CostingParams::default());
        assert!((earned - 0.1259 * sum).abs() < 1.0, "{earned} {}", 0.1259 * sum);
    }

    #[test]
    fn starting_values_price_land_as_the_cash_flow_does() {
        let (rates, params) = (Rates::default(), CostingParams::default());
        assert!((rates.gross_margin_per_ha.likely / earned_per_ha(&rates, &params) - 1.0).abs() < 0.05);
        assert!(apart(&rates, &params).is_none());
        let dear = Rates { gross_margin_per_ha: Range::exact(1_800.0), ..rates };
        assert_eq!(apart(&dear, &params).unwrap().code, "margin_apart");
    }

    #[test]
    fn another_interest_than_the_layouts_is_told() {
        // Capital recovery over 12 years, any handbook of engineering economy: 0.1259 at 7 %, 0.1468 at 10 %.
        let params = CostingParams::default();
        assert!(interest_apart(0.1259, &params).is_none() && interest_apart(0.0, &params).is_none());
        let dear = CostingParams { discount_pct: 10.0, ..params };
        let told = interest_apart(0.1259, &dear).unwrap();
        assert_eq!(told.code, "interest_apart");
        assert!(told.message.contains("12.59 a year") && told.message.contains("14.68"), "{}", told.message);
    }
}
