//! When each step can happen.

use serde::{Deserialize, Serialize};

/// One step of the works.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Task {
    /// Number in order of start, from 1.
    pub id: u32,
    /// Step, in the trade's word.
    pub name: String,
    /// Numbers of the steps that must be finished first.
    pub after: Vec<u32>,
    /// First month of the season window, 1 to 12.
    pub window_from: u8,
    /// Last month of the season window, 1 to 12.
    pub window_to: u8,
    /// Working days needed.
    pub days: f64,
    /// Start and end, days from the start of the program.
    pub start_day: f64,
    /// End, days from the start of the program.
    pub end_day: f64,
    /// Month and year the step starts in ("2027-08").
    pub start_month: String,
    /// Month and year the step ends in.
    pub end_month: String,
    /// Cannot be undone.
    pub irreversible: bool,
    /// What must be seen and agreed before the step starts; empty when it is no hold point.
    pub hold_point: String,
    /// What to mind, in words.
    pub note: String,
}

/// The works calendar.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Program {
    /// Steps in order of start.
    pub tasks: Vec<Task>,
}
