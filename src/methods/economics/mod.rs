//! Money over time.

pub mod cash_flow;

pub use cash_flow::{
    annuity_present_value, benefit_cost_ratio, break_even, capital_recovery_factor, discounted_payback,
    gradient_present_value, internal_rate_of_return, net_present_value, payback, peak_debt,
};
