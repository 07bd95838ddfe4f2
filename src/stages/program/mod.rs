//! When can each step happen?
//!
//! Steps in the order of the trade, each with its season, its predecessors and its working days from the quantities
//! of the plan. Steps that cannot be undone and places where somebody must look first (hold points) are marked.

mod calendar;
mod steps;

use crate::finding::{Finding, Outcome, Problems, Severity};
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::drains::DrainPlan;
use crate::land::levelling::LevellingPlan;
use crate::land::program::{Program, Task};
use crate::land::site::Site;
use crate::stages::{Ctx, Stage, StageInfo};
use calendar::Calendar;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// When the works start and how fast they go.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgramParams {
    /// Year the approvals are asked for.
    #[schemars(range(min = 2000, max = 2200), extend("x-source" = "the user's wish"))]
    pub start_year: u32,
    /// Month the approvals are asked for (1 to 12).
    #[schemars(range(min = 1, max = 12), extend("x-source" = "the user's wish"))]
    pub start_month: u8,
    /// Hours one machine works in a day.
    #[schemars(range(min = 1.0, max = 24.0), extend("x-source" = "common practice, no source"))]
    pub machine_hours_per_day: f64,
    /// Share of the days in season that can be worked.
    #[schemars(range(min = 0.1, max = 1.0), extend("x-source" = "common practice, no source"))]
    pub workable_days_ratio: f64,
    /// Levelling plant on the job at once.
    #[schemars(range(min = 1, max = 20), extend("x-source" = "the user's wish"))]
    pub levelling_machines: u32,
    /// Earth one levelling machine moves in an hour at a 100 m haul, bank cubic metres.
    #[schemars(range(min = 20.0, max = 600.0), extend("x-source" = "arithmetic from a laser-bucket cycle; common practice, no source; 60-250"))]
    pub levelling_m3_per_h: f64,
    /// Earth an excavator moves in an hour in drains, bank cubic metres.
    #[schemars(range(min = 10.0, max = 300.0), extend("x-source" = "common practice, no source"))]
    pub drain_m3_per_h: f64,
    /// Days cut timber dries before it is raked.
    #[schemars(range(min = 0, max = 365), extend("x-source" = "common practice, no source; 6-12 weeks"))]
    pub dry_down_days: u32,
    /// First and last month the soil is moist enough to pull root plates.
    #[schemars(length(min = 2, max = 2), extend("x-source" = "common practice, no source; end of the wet season, 15-20 degrees south"))]
    pub knock_down_months: Vec<u8>,
    /// First and last month dry enough for raking, ripping, levelling and drains.
    #[schemars(length(min = 2, max = 2), extend("x-source" = "common practice, no source"))]
    pub dry_months: Vec<u8>,
    /// First and last month fires may be lit; the fire authority decides.
    #[schemars(length(min = 2, max = 2), extend("x-source" = "common practice, no source; permit conditions stand above"))]
    pub burn_months: Vec<u8>,
    /// First and last month cover is sown so that it stands before the wet season.
    #[schemars(length(min = 2, max = 2), extend("x-source" = "common practice, no source; cover by 1 December"))]
    pub cover_months: Vec<u8>,
    /// First and last month the crop is planted.
    #[schemars(length(min = 2, max = 2), extend("x-source" = "common practice, no source; autumn planting after a legume"))]
    pub plant_months: Vec<u8>,
}

impl Default for ProgramParams {
    fn default() -> Self {
        Self {
            start_year: 2027,
            start_month: 1,
            machine_hours_per_day: 8.0,
            workable_days_ratio: 0.7,
            levelling_machines: 2,
            levelling_m3_per_h: 140.0,
            drain_m3_per_h: 60.0,
            dry_down_days: 60,
            knock_down_months: vec![4, 6],
            dry_months: vec![6, 11],
            burn_months: vec![8, 10],
            cover_months: vec![9, 12],
            plant_months: vec![4, 7],
        }
    }
}

/// What the stage reads.
pub struct ProgramInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Earthworks, when wanted.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains, when wanted.
    pub drains: Option<&'a DrainPlan>,
    /// Clearing, when wanted.
    pub clearing: Option<&'a ClearingPlan>,
}

/// When can each step happen?
pub struct ProgramStage;

impl Stage for ProgramStage {
    const INFO: StageInfo = StageInfo {
        name: "program",
        version: 1,
        question: "When can each step happen?",
        method: "Steps of the trade in order, each starting when its predecessors are done and its season is open; \
                 working days from the quantities and machine rates, stretched by the share of workable days; work that \
                 does not fit in one season goes on in the next. The first hold point is the re-survey after clearing \
                 and stump removal, before any earth is moved. Years have 365 days.",
        needs: &["survey", "blocks"],
        reads: &["areas", "clearing hours", "levelling volumes", "drain volumes"],
        makes: &["works calendar with hold points and irreversible steps"],
        cites: &[],
    };
    type Params = ProgramParams;
    type Input<'a> = ProgramInput<'a>;
    type Output = Program;

    fn run(input: ProgramInput<'_>, params: &ProgramParams, ctx: &Ctx<'_>) -> Result<Outcome<Program>, Problems> {
        let calendar = Calendar { start_year: params.start_year, start_month: params.start_month };
        let mut tasks: Vec<Task> = Vec::new();
        let mut ids: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
        for step in steps::steps(&input, params) {
            let predecessors: Vec<usize> = step.after.iter().filter_map(|name| ids.get(name).copied()).collect();
            let earliest = predecessors.iter().map(|i| tasks[*i].end_day as u32).max().unwrap_or(0);
            let (start, end) = calendar.place(earliest, step.days, step.window);
            ids.insert(step.key, tasks.len());
            tasks.push(Task {
                id: u32::try_from(tasks.len() + 1).unwrap_or(u32::MAX),
                name: step.name,
                after: predecessors.iter().map(|i| tasks[*i].id).collect(),
                window_from: step.window.from,
                window_to: step.window.to,
                days: f64::from(step.days),
                start_day: f64::from(start),
                end_day: f64::from(end),
                start_month: calendar.label(start),
                end_month: calendar.label(end - 1),
                irreversible: step.irreversible,
                hold_point: step.hold_point,
                note: step.note,
            });
        }
        ctx.progress.advance(Self::INFO.name, 1.0);
        let findings = findings(&tasks, calendar);
        Ok(Outcome { value: Program { tasks }, findings })
    }
}

fn findings(tasks: &[Task], calendar: Calendar) -> Vec<Finding> {
    let mut findings = Vec::new();
    for task in tasks.iter().filter(|t| t.end_day - t.start_day > 200.0 && t.days < 200.0) {
        findings.push(Finding::new(
            Severity::Warning,
            "program",
            "does_not_fit_one_season",
            format!(
                "`{}` needs {:.0} days in season and does not fit before its window closes: it runs from {} to {}. Use more \
                 machines or stage the property so that no ground lies bare through the wet season.",
                task.name, task.days, task.start_month, task.end_month
            ),
        ));
    }
    if let Some(last) = tasks.last() {
        findings.push(Finding::new(
            Severity::Note,
            "program",
            "first_planting",
            format!(
                "The first planting ends in {}, {:.1} years after the start.",
                calendar.label(last.end_day as u32 - 1),
                last.end_day / 365.0
            ),
        ));
    }
    findings
}
