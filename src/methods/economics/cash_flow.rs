//! What a row of yearly payments is worth.
//!
//! Payments stand at the ends of equal periods; the first one at time 0 is not discounted. Rates are ratios a
//! period (0.07 is 7 %). Outlays are negative, income positive.
//!
//! Source: arithmetic of compound interest, as in any engineering-economy handbook.
//! How we know: worked examples of handbooks and of a reference library, named beside each test; the property that the
//! internal rate of return makes the net present value nil.

/// Worth today of `payments` at `rate_ratio` a period, the first one being today.
#[must_use]
pub fn net_present_value(rate_ratio: f64, payments: &[f64]) -> f64 {
    payments.iter().rev().fold(0.0, |worth, payment| worth / (1.0 + rate_ratio) + payment)
}

/// The rate at which the net present value is nil, searched between -0.99 and 10 a period.
///
/// `None` when the net present value does not change sign there (for instance when all payments are outlays, or nil). With
/// several sign changes the lowest such rate of the search grid is returned.
#[must_use]
pub fn internal_rate_of_return(payments: &[f64]) -> Option<f64> {
    const STEPS: u32 = 2_000;
    // Without an outlay and an income every rate or no rate would do.
    if !(payments.iter().any(|&p| p > 0.0) && payments.iter().any(|&p| p < 0.0)) {
        return None;
    }
    let rate_at = |i: u32| 0.01 * (11.0_f64 / 0.01).powf(f64::from(i) / f64::from(STEPS)) - 1.0;
    let mut low = rate_at(0);
    let mut worth_low = net_present_value(low, payments);
    for i in 1..=STEPS {
        let high = rate_at(i);
        let worth_high = net_present_value(high, payments);
        if worth_low == 0.0 {
            return Some(low);
        }
        if opposite(worth_low, worth_high) {
            return break_even(|rate| net_present_value(rate, payments), low, high);
        }
        (low, worth_low) = (high, worth_high);
    }
    None
}

/// Periods until the running sum first reaches nil again, by straight line within the period; `None` when never.
///
/// Zero when the sum never falls below nil.
#[must_use]
pub fn payback(payments: &[f64]) -> Option<f64> {
    let mut sum = 0.0;
    let mut paid_back = Some(0.0);
    for (period, payment) in payments.iter().enumerate() {
        let before = sum;
        sum += payment;
        if sum < 0.0 {
            paid_back = None;
        } else if paid_back.is_none() {
            paid_back = Some(period as f64 - sum / (sum - before));
        }
    }
    paid_back
}

/// Like [`payback`], on payments discounted at `rate_ratio`.
#[must_use]
pub fn discounted_payback(rate_ratio: f64, payments: &[f64]) -> Option<f64> {
    let mut factor = 1.0;
    let discounted: Vec<f64> = payments
        .iter()
        .map(|payment| {
            let worth = payment * factor;
            factor /= 1.0 + rate_ratio;
            worth
        })
        .collect();
    payback(&discounted)
}

/// Deepest running debt, a positive number; zero when the sum never falls below nil.
#[must_use]
pub fn peak_debt(payments: &[f64]) -> f64 {
    let mut sum = 0.0;
    payments.iter().fold(0.0_f64, |deepest, payment| {
        sum += payment;
        deepest.max(-sum)
    })
}

/// Worth today of 1 paid at the end of each of `periods`.
#[must_use]
pub fn annuity_present_value(rate_ratio: f64, periods: u32) -> f64 {
    if rate_ratio == 0.0 {
        return f64::from(periods);
    }
    -((f64::from(periods) * -rate_ratio.ln_1p()).exp_m1()) / rate_ratio
}

/// Equal payment at the end of each of `periods` that is worth 1 today.
#[must_use]
pub fn capital_recovery_factor(rate_ratio: f64, periods: u32) -> f64 {
    1.0 / annuity_present_value(rate_ratio, periods)
}

/// Worth today of payments of 0, 1, 2, ... `periods - 1` at the ends of the periods.
#[must_use]
pub fn gradient_present_value(rate_ratio: f64, periods: u32) -> f64 {
    (1..=periods).map(|k| f64::from(k - 1) / (1.0 + rate_ratio).powi(i32::try_from(k).unwrap_or(i32::MAX))).sum()
}

/// Benefit over cost: worth today of the benefits over outlay plus worth today of the yearly costs, less that of the
/// salvage (running costs stand in the denominator). `None` when nothing is spent.
#[must_use]
pub fn benefit_cost_ratio(
    rate_ratio: f64,
    periods: u32,
    outlay: f64,
    yearly_cost: f64,
    yearly_benefit: f64,
    salvage: f64,
) -> Option<f64> {
    let factor = annuity_present_value(rate_ratio, periods);
    let salvage_today = salvage * (-f64::from(periods) * rate_ratio.ln_1p()).exp();
    let cost = outlay + yearly_cost * factor - salvage_today;
    (cost > 0.0).then(|| yearly_benefit * factor / cost)
}

/// Whether one number is above and the other below nil. Their product would underflow for tiny ones.
fn opposite(a: f64, b: f64) -> bool {
    (a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0)
}

/// Where `worth` changes sign between `low` and `high`, by bisection to the last bit; `None` when both ends have one
/// sign.
#[must_use]
pub fn break_even(worth: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> Option<f64> {
    let at_low = worth(low);
    let at_high = worth(high);
    if at_low == 0.0 {
        return Some(low);
    }
    if at_high == 0.0 {
        return Some(high);
    }
    if !opposite(at_low, at_high) {
        return None;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if middle <= low.min(high) || middle >= low.max(high) {
            break;
        }
        if opposite(worth(middle), at_high) { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn near(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() < tolerance, "{a} is not {b}");
    }

    #[test]
    fn annuities_of_handbooks() {
        // Sullivan, Engineering Economy, example 4-9 (inputs seen in an open package's tests).
        near(20_000.0 * annuity_present_value(0.15, 5), 67_043.10, 0.01);
        // Payment for 17,000 over 4 periods at 1 %; for 10,000 over 60 months at 12 %/12 (same place).
        near(17_000.0 * capital_recovery_factor(0.01, 4), 4_356.78, 0.01);
        near(10_000.0 * capital_recovery_factor(0.01, 60), 222.444, 0.001);
        // 93.22 a month, 4.5 %/12, 60 months: spreadsheet value 5,000.26.
        near(93.22 * annuity_present_value(0.045 / 12.0, 60), 5_000.26, 0.01);
        // Sullivan, example 4-20: gradient 1,000, 4 years, 15 %.
        near(1_000.0 * gradient_present_value(0.15, 4), 3_786.44, 0.01);
        near(1_000.0 * gradient_present_value(0.15, 4) * capital_recovery_factor(0.15, 4), 1_326.26, 0.01);
        // Capital recovery factors, printed in every interest table.
        near(capital_recovery_factor(0.07, 10), 0.142_377_503, 1e-9);
        near(capital_recovery_factor(0.08, 20), 0.101_852_209, 1e-9);
        // numpy-financial 1.0 documentation: pmt(0.075/12, 180, 200000).
        near(200_000.0 * capital_recovery_factor(0.075 / 12.0, 180), 1_854.024_720, 1e-6);
    }

    #[test]
    fn worth_and_rate_of_a_reference_library() {
        // numpy-financial 1.0 documentation, examples of irr and npv.
        let payments = [-100.0, 39.0, 59.0, 55.0, 20.0];
        near(internal_rate_of_return(&payments).unwrap(), 0.280_948, 1e-6);
        near(net_present_value(0.10, &payments), 39.1975, 1e-4);
        near(net_present_value(0.08, &[-40_000.0, 5_000.0, 8_000.0, 12_000.0, 30_000.0]), 3_065.222_668, 1e-6);
        // i from 500 to 1,000 in 10 periods.
        let mut doubled = vec![0.0; 11];
        (doubled[0], doubled[10]) = (-500.0, 1_000.0);
        near(internal_rate_of_return(&doubled).unwrap(), 0.071_773_463, 1e-9);
    }

    #[test]
    fn six_even_years() {
        // Computed with numpy-financial 1.0: -50,000 then 12,000 for 6 years at 7 %.
        let mut payments = vec![12_000.0; 7];
        payments[0] = -50_000.0;
        near(net_present_value(0.07, &payments), 7_198.475_9, 1e-4);
        near(internal_rate_of_return(&payments).unwrap(), 0.115_304_73, 1e-8);
        near(payback(&payments).unwrap(), 50.0 / 12.0, 1e-12);
        near(net_present_value(0.07, &payments) * capital_recovery_factor(0.07, 6), 1_510.21, 0.01);
        near(peak_debt(&payments), 50_000.0, 1e-9);
        // After 5 years 49,202.37 is paid back; the sixth brings 7,996.11 (table of present values at 7 %).
        near(discounted_payback(0.07, &payments).unwrap(), 5.0 + 797.63 / 7_996.11, 1e-5);
        assert_eq!(payback(&[-10.0, 4.0, 4.0]), None);
        assert_eq!(internal_rate_of_return(&[-10.0, -4.0]), None);
    }

    #[test]
    fn benefit_cost_of_a_handbook() {
        // Lindeburg, p. 14-4: cost, yearly cost, yearly benefit, salvage; running costs in the denominator.
        near(benefit_cost_ratio(0.10, 10, 300.0, 45.0, 150.0, 0.0).unwrap(), 1.598_745, 1e-6);
        near(benefit_cost_ratio(0.10, 10, 400.0, 35.0, 200.0, 10.0).unwrap(), 2.010_642, 1e-6);
        assert_eq!(benefit_cost_ratio(0.10, 10, 0.0, 0.0, 1.0, 0.0), None);
    }

    #[test]
    fn nothing_has_no_rate_and_tiny_sums_break_even() {
        assert_eq!(internal_rate_of_return(&[0.0, 0.0]), None);
        assert_eq!(internal_rate_of_return(&[]), None);
        assert_eq!(internal_rate_of_return(&[5.0, 0.0, 3.0]), None);
        // Analytic: a straight line, at a scale where products of two values underflow.
        near(break_even(|x| 1e-200 * (x - 3.0), 0.0, 10.0).unwrap(), 3.0, 1e-12);
        near(break_even(|x| 3.0 - x, 0.0, 10.0).unwrap(), 3.0, 1e-12);
        assert_eq!(break_even(|_| f64::NAN, 0.0, 1.0), None);
        assert_eq!(break_even(|x| x * x + 1.0, -1.0, 1.0), None);
    }

    #[test]
    fn a_second_debt_delays_the_payback() {
        // By hand: nil at 1.5, in debt again at 3, nil for good in the middle of the fourth period.
        near(payback(&[-10.0, 5.0, 10.0, -10.0, 10.0]).unwrap(), 3.5, 1e-12);
    }

    proptest! {
        #[test]
        fn rate_of_return_makes_worth_nil(outlay in 10.0..1e6_f64, income in proptest::collection::vec(0.0..1e6_f64, 1..20)) {
            let mut payments = vec![-outlay];
            payments.extend(income);
            if let Some(rate) = internal_rate_of_return(&payments) {
                let scale: f64 = payments.iter().enumerate().map(|(k, p)| p.abs() / (1.0 + rate).powi(k as i32)).sum();
                prop_assert!(net_present_value(rate, &payments).abs() <= 1e-9 * scale);
            }
        }
    }
}
