//! Is it worth it?

use crate::units::Range;
use serde::{Deserialize, Serialize};

/// One line of the budget: quantity times rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// Stable id, the same on map, budget and table (for instance `DR-02`, `LV`).
    pub id: String,
    /// Group: survey and design, clearing, levelling, drains, access, environment, planting, contingency.
    pub group: String,
    /// What.
    pub item: String,
    /// Quantity.
    pub quantity: f64,
    /// Unit of the quantity.
    pub unit: String,
    /// Rate, dollars per unit.
    pub rate: Range,
    /// Amount, dollars.
    pub amount: Range,
    /// Where the rate comes from.
    pub source: String,
}

/// One year of cash.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CashYear {
    /// Year, the works being year 0.
    pub year: u32,
    /// What grows ("works", "plant crop", "ratoon 2", "fallow").
    pub crop: String,
    /// Yield, tonnes.
    pub yield_t: Range,
    /// Income, dollars.
    pub income: Range,
    /// Outlay, dollars.
    pub outlay: Range,
    /// Net, dollars.
    pub net: Range,
}

/// What the money does. `low` is always the bad end for the grower, `high` the good end.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Worth {
    /// Net present value against leaving the land as it is, dollars.
    pub npv: Range,
    /// Years until the outlay is paid back; `None` when never within the horizon.
    pub payback_years: [Option<f64>; 3],
    /// Deepest debt, dollars (positive).
    pub peak_debt: Range,
    /// Price per tonne at which the net present value is nil; `None` when there is none.
    pub break_even_price: [Option<f64>; 3],
    /// Yield per hectare at which it is nil; `None` when there is none.
    pub break_even_yield_t_ha: [Option<f64>; 3],
    /// Equal yearly payment of the same worth, dollars.
    pub yearly_equivalent: Range,
}

/// How the worth answers to one number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sensitivity {
    /// What was changed, and by how much ("price -20 % / +20 %").
    pub what: String,
    /// Net present value at the low and high setting, dollars.
    pub npv: (f64, f64),
}

/// Budget and worth of one plan.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Costing {
    /// Budget lines in order of work; the contingency is a line of its own.
    pub budget: Vec<BudgetLine>,
    /// Sum, dollars.
    pub total: Range,
    /// Sum per cropped hectare, dollars.
    pub per_ha: Range,
    /// Year by year.
    pub cash: Vec<CashYear>,
    /// Worth.
    pub worth: Worth,
    /// Sensitivity, widest swing first.
    pub sensitivity: Vec<Sensitivity>,
    /// Cropped area, hectares on the ground.
    pub cropped_ha: f64,
}
