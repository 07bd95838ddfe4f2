//! Cash year by year, and what it is worth against leaving the land as it is.

use super::CostingParams;
use crate::land::costing::{CashYear, Sensitivity, Worth};
use crate::methods::economics::{break_even, capital_recovery_factor, net_present_value, payback, peak_debt};
use crate::units::Range;

/// One set of numbers the cash flow is run with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Case {
    pub(super) works: f64,
    pub(super) price_per_t: f64,
    pub(super) yield_t_ha: f64,
    pub(super) harvest_per_t: f64,
    pub(super) growing_per_ha: f64,
    pub(super) replant_per_ha: f64,
    pub(super) turning_per_year: f64,
    pub(super) delay_years: u32,
}

/// What does not change from case to case.
#[derive(Debug, Clone, Copy)]
pub(super) struct Farm {
    pub(super) cropped_ha: f64,
    /// Share of the row length that is not proven to drain.
    pub(super) undrained_ratio: f64,
    /// Share of the cropped area cut into subsoil.
    pub(super) subsoil_ratio: f64,
}

/// One year of one case.
struct Year {
    crop: String,
    yield_t: f64,
    income: f64,
    outlay: f64,
}

fn years(farm: &Farm, case: &Case, params: &CostingParams) -> Vec<Year> {
    let mut years = vec![Year { crop: "works".to_owned(), yield_t: 0.0, income: 0.0, outlay: case.works }];
    let cycle = params.ratoons + 2;
    for year in 1..=params.horizon_years {
        if year <= case.delay_years {
            years.push(Year { crop: "delay".to_owned(), yield_t: 0.0, income: 0.0, outlay: 0.0 });
            continue;
        }
        let stage = (year - case.delay_years - 1) % cycle;
        if stage == cycle - 1 {
            // A crop that would only grow beyond the horizon is not planted, or the horizon would charge it for nothing.
            let replanted = year < params.horizon_years;
            let crop = if replanted { "fallow, replanted" } else { "fallow" }.to_owned();
            let outlay = if replanted { farm.cropped_ha * case.replant_per_ha } else { 0.0 };
            years.push(Year { crop, yield_t: 0.0, income: 0.0, outlay });
            continue;
        }
        let crop = if stage == 0 { "plant crop".to_owned() } else { format!("ratoon {stage}") };
        let yield_t = farm.cropped_ha * yield_t_ha(farm, case, params, year, stage);
        let income = yield_t * (case.price_per_t - case.harvest_per_t);
        // Growing costs of the plant crop are part of planting.
        let growing = if stage == 0 { 0.0 } else { farm.cropped_ha * case.growing_per_ha };
        years.push(Year { crop, yield_t, income, outlay: growing + case.turning_per_year });
    }
    years
}

/// Yield of one year: ratoons decline, rows that do not drain lose tonnes, subsoil loses a share that mends.
fn yield_t_ha(farm: &Farm, case: &Case, params: &CostingParams, year: u32, stage: u32) -> f64 {
    let declined = case.yield_t_ha * (1.0 - params.ratoon_decline_pct / 100.0).powi(i32::try_from(stage).unwrap_or(0));
    let ramp = if year - case.delay_years == 1 { params.first_crop_pct / 100.0 } else { 1.0 };
    let penalty = params.subsoil_loss_pct / 100.0 * 0.5_f64.powf(f64::from(year) / params.subsoil_halving_years);
    (declined * ramp * (1.0 - farm.subsoil_ratio * penalty) - farm.undrained_ratio * params.undrained_loss_t_ha)
        .max(0.0)
}

/// Yearly payments against leaving the land as it is.
fn payments(farm: &Farm, case: &Case, params: &CostingParams) -> Vec<f64> {
    years(farm, case, params)
        .iter()
        .enumerate()
        .map(|(year, y)| y.income - y.outlay - if year > 0 { params.leave_as_is_per_ha * farm.cropped_ha } else { 0.0 })
        .collect()
}

pub(super) fn npv(farm: &Farm, case: &Case, params: &CostingParams) -> f64 {
    net_present_value(params.discount_pct / 100.0, &payments(farm, case, params))
}

/// The cash table. Low stands for the bad case, high for the good case, outlay from cheap to dear.
pub(super) fn cash(farm: &Farm, cases: &[Case; 3], params: &CostingParams) -> Vec<CashYear> {
    let [bad, likely, good] = cases.map(|case| years(farm, &case, params));
    (0..likely.len())
        .map(|i| CashYear {
            year: u32::try_from(i).unwrap_or(u32::MAX),
            crop: likely[i].crop.clone(),
            yield_t: Range::new(bad[i].yield_t, likely[i].yield_t, good[i].yield_t),
            income: Range::new(bad[i].income, likely[i].income, good[i].income),
            outlay: Range::new(good[i].outlay, likely[i].outlay, bad[i].outlay),
            net: Range::new(
                bad[i].income - bad[i].outlay,
                likely[i].income - likely[i].outlay,
                good[i].income - good[i].outlay,
            ),
        })
        .collect()
}

/// What the plan is worth, bad / likely / good.
pub(super) fn worth(farm: &Farm, cases: &[Case; 3], params: &CostingParams) -> Worth {
    let rate = params.discount_pct / 100.0;
    let each = cases.map(|case| payments(farm, &case, params));
    let npvs = each.each_ref().map(|p| net_present_value(rate, p));
    let factor = capital_recovery_factor(rate, params.horizon_years);
    Worth {
        npv: Range::from(npvs),
        payback_years: each.each_ref().map(|p| payback(p)),
        peak_debt: Range::new(peak_debt(&each[2]), peak_debt(&each[1]), peak_debt(&each[0])),
        break_even_price: cases.map(|case| {
            break_even(|price| npv(farm, &Case { price_per_t: price, ..case }, params), 0.0, 50.0 * case.price_per_t)
        }),
        break_even_yield_t_ha: cases.map(|case| {
            break_even(|t| npv(farm, &Case { yield_t_ha: t, ..case }, params), 0.0, 50.0 * case.yield_t_ha)
        }),
        yearly_equivalent: Range::from(npvs.map(|v| v * factor)),
    }
}

/// How the likely worth answers to one number at a time, widest swing first.
pub(super) fn sensitivity(farm: &Farm, likely: &Case, earth: f64, params: &CostingParams) -> Vec<Sensitivity> {
    let at = |case: Case| npv(farm, &case, params);
    let scaled = |what: &str, low: Case, high: Case| Sensitivity { what: what.to_owned(), npv: (at(low), at(high)) };
    let c = *likely;
    let mut list = vec![
        scaled(
            "price -20 % / +20 %",
            Case { price_per_t: 0.8 * c.price_per_t, ..c },
            Case { price_per_t: 1.2 * c.price_per_t, ..c },
        ),
        scaled(
            "yield -15 % / +15 %",
            Case { yield_t_ha: 0.85 * c.yield_t_ha, ..c },
            Case { yield_t_ha: 1.15 * c.yield_t_ha, ..c },
        ),
        scaled(
            "earth +25 % / -25 %",
            Case { works: c.works + 0.25 * earth, ..c },
            Case { works: c.works - 0.25 * earth, ..c },
        ),
        scaled(
            "growing costs +20 % / -20 %",
            Case { growing_per_ha: 1.2 * c.growing_per_ha, ..c },
            Case { growing_per_ha: 0.8 * c.growing_per_ha, ..c },
        ),
        scaled("one year lost to a wet season / none", Case { delay_years: c.delay_years + 1, ..c }, c),
    ];
    list.sort_by(|a, b| (b.npv.1 - b.npv.0).abs().total_cmp(&(a.npv.1 - a.npv.0).abs()));
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    fn farm() -> (Farm, Case, CostingParams) {
        let farm = Farm { cropped_ha: 10.0, undrained_ratio: 0.0, subsoil_ratio: 0.0 };
        let case = Case {
            works: 50_000.0,
            price_per_t: 45.0,
            yield_t_ha: 85.0,
            harvest_per_t: 11.0,
            growing_per_ha: 1_100.0,
            replant_per_ha: 3_000.0,
            turning_per_year: 0.0,
            delay_years: 0,
        };
        (farm, case, CostingParams { first_crop_pct: 100.0, ratoon_decline_pct: 0.0, ..CostingParams::default() })
    }

    #[test]
    fn a_cycle_is_plant_ratoons_fallow() {
        let (farm, case, params) = farm();
        let crops: Vec<String> = years(&farm, &case, &params).into_iter().map(|y| y.crop).collect();
        assert_eq!(
            crops[..8],
            ["works", "plant crop", "ratoon 1", "ratoon 2", "ratoon 3", "ratoon 4", "fallow, replanted", "plant crop"]
        );
        let first = &years(&farm, &case, &params)[1];
        assert!((first.income - 10.0 * 85.0 * 34.0).abs() < 1e-9);
    }

    #[test]
    fn break_even_price_makes_worth_nil() {
        let (farm, case, params) = farm();
        let price = worth(&farm, &[case, case, case], &params).break_even_price[1].unwrap();
        assert!(npv(&farm, &Case { price_per_t: price, ..case }, &params).abs() < 1e-6);
    }

    #[test]
    fn rows_that_do_not_drain_cost_yield() {
        let (farm, case, params) = farm();
        let wet = Farm { undrained_ratio: 0.5, ..farm };
        let (dry_t, wet_t) = (years(&farm, &case, &params)[1].yield_t, years(&wet, &case, &params)[1].yield_t);
        assert!((dry_t - wet_t - 10.0 * 0.5 * params.undrained_loss_t_ha).abs() < 1e-9);
    }

    #[test]
    fn a_lost_year_never_pays() {
        let (farm, case, params) = farm();
        let swings = sensitivity(&farm, &case, 20_000.0, &params);
        let lost = swings.iter().find(|s| s.what.starts_with("one year")).unwrap();
        assert!(lost.npv.0 < lost.npv.1);
    }
}
