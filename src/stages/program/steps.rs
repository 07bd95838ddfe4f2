//! The steps of the works, in the order of the trade.
//!
//! Source: common practice, no source, for order, seasons and hold points.

use super::calendar::Window;
use super::{ProgramInput, ProgramParams};
use crate::units::M2_PER_HA;
use geo::Area;

/// A step before it is placed in the calendar.
pub(super) struct Step {
    pub(super) key: &'static str,
    pub(super) name: String,
    pub(super) after: &'static [&'static str],
    pub(super) window: Window,
    pub(super) days: u32,
    pub(super) irreversible: bool,
    pub(super) hold_point: String,
    pub(super) note: String,
}

fn window(months: &[u8]) -> Window {
    Window { from: months.first().copied().unwrap_or(1), to: months.last().copied().unwrap_or(12) }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "days of works are small and positive")]
fn days_of(hours: f64, machines: u32, params: &ProgramParams) -> u32 {
    let days = hours / (params.machine_hours_per_day * f64::from(machines) * params.workable_days_ratio);
    days.ceil().clamp(1.0, 3_650.0) as u32
}

fn step(key: &'static str, name: &str, after: &'static [&'static str], window: Window, days: u32) -> Step {
    Step {
        key,
        name: name.to_owned(),
        after,
        window,
        days,
        irreversible: false,
        hold_point: String::new(),
        note: String::new(),
    }
}

impl Step {
    fn irreversible(mut self) -> Self {
        self.irreversible = true;
        self
    }
    fn hold(mut self, what: &str) -> Self {
        what.clone_into(&mut self.hold_point);
        self
    }
    fn note(mut self, what: &str) -> Self {
        what.clone_into(&mut self.note);
        self
    }
}

/// All steps the plan has, predecessors first.
pub(super) fn steps(input: &ProgramInput<'_>, params: &ProgramParams) -> Vec<Step> {
    let area_ha: f64 = input.blocks.blocks.iter().map(|b| b.outline.unsigned_area()).sum::<f64>() / M2_PER_HA;
    let mut steps = vec![
        step("approvals", "approvals, services located, marks set", &[], Window::ALWAYS, 60)
            .note("No grant works before the deed is signed. Keep lines and buffers pegged on the ground, 2 m off."),
    ];
    if let Some(clearing) = input.clearing {
        steps.extend(clearing_steps(clearing, params));
    } else {
        steps.push(step(
            "cultivate",
            "cultivation",
            &["approvals"],
            window(&params.dry_months),
            days_of(area_ha * 2.0, 1, params),
        ));
    }
    steps.push(
        step(
            "resurvey",
            "RTK survey of the cleared ground",
            &["cultivate"],
            window(&params.dry_months),
            days_of(area_ha * 0.25, 1, params),
        )
        .hold("Re-survey after clearing and stump removal, before any earth is moved: run this plan again on it.")
        .note("Survey after a roll or rain: freshly ripped soil stands 30 to 80 mm high and settles."),
    );
    steps.push(
        step("redesign", "final design, set-out files, quantities agreed", &["resurvey"], Window::ALWAYS, 14).hold(
            "Grower, surveyor and contractors agree quantities, outlet levels and the cut limit on the re-survey.",
        ),
    );
    let mut last = "redesign";
    if let Some(levelling) = input.levelling {
        let cut: f64 = levelling.blocks.iter().map(|b| b.cut_m3).sum();
        let formed_ha: f64 = levelling.blocks.iter().map(|b| b.formed_m2).sum::<f64>() / M2_PER_HA;
        let hours = cut / params.levelling_m3_per_h + formed_ha * 0.5;
        let days = days_of(hours, params.levelling_machines, params);
        steps.push(
            step("level", "levelling and row-bed forming", &["redesign"], window(&params.dry_months), days)
                .irreversible()
                .hold("Topsoil depth probed on the cut areas; benchmark checked; soil drier than its plastic limit.")
                .note("Stop at any sight of subsoil, timber or services. Machines work 50 m apart."),
        );
        last = "level";
    }
    if let Some(drains) = input.drains {
        let volume: f64 = drains.drains.iter().map(|d| d.excavation_m3).sum();
        let after: &'static [&'static str] = if last == "level" { &["level"] } else { &["redesign"] };
        steps.push(
            step(
                "drains",
                "drains, crossings, outlet protection",
                after,
                window(&params.dry_months),
                days_of(volume / params.drain_m3_per_h, 1, params),
            )
            .irreversible()
            .hold("Services exposed by hand; acid-sulfate and sodic layers tested; outlet consents in hand.")
            .note("Bench or batter any face people work under; keep machines clear of the edge by at least the depth."),
        );
        last = "drains";
    }
    let after: &'static [&'static str] = match last {
        "drains" => &["drains"],
        "level" => &["level"],
        _ => &["redesign"],
    };
    steps.push(
        step("as_built", "as-built survey", after, Window::ALWAYS, days_of(area_ha * 0.1, 1, params))
            .hold("Tolerances met before the contractors leave."),
    );
    steps.push(
        step(
            "cover",
            "headland grass and cover crop",
            &["as_built"],
            window(&params.cover_months),
            days_of(area_ha * 0.4, 1, params),
        )
        .note("Bare ground must not meet the wet season."),
    );
    steps.push(
        step("plant", "planting", &["cover"], window(&params.plant_months), days_of(area_ha * 1.2, 1, params))
            .note("Row direction is fixed for the crop cycle."),
    );
    steps
}

fn clearing_steps(clearing: &crate::land::clearing::ClearingPlan, params: &ProgramParams) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut burn_days = 0;
    let hours = |words: &[&str]| -> f64 {
        clearing
            .steps
            .iter()
            .filter(|s| words.iter().any(|w| s.name.to_lowercase().contains(w)))
            .map(|s| s.hours.likely)
            .sum()
    };
    let burns = !clearing.heaps.is_empty();
    if burns {
        burn_days = days_of(hours(&["burn"]).max(clearing.cleared_ha * 0.3), 1, params);
    }
    steps.push(
        step(
            "knock",
            "knock-down",
            &["approvals"],
            window(&params.knock_down_months),
            days_of(hours(&["knock"]).max(1.0), 1, params),
        )
        .irreversible()
        .hold("Keep lines, waterways, heritage and services walked with the operator.")
        .note("Soil moist enough to pull root plates, not wet. Stems under tension whip back."),
    );
    steps.push(step("dry", "timber dries down", &["knock"], Window::ALWAYS, params.dry_down_days.max(1)));
    steps.push(step(
        "rake",
        "raking, twice",
        &["dry"],
        window(&params.dry_months),
        days_of(hours(&["rak"]).max(1.0), 1, params),
    ));
    if burns {
        steps.push(
            step("burn", "burning and re-heaping", &["rake"], window(&params.burn_months), burn_days)
                .irreversible()
                .hold("Fire permit, neighbours told, wind and breaks checked on the day.")
                .note("The fire authority decides the days and hours."),
        );
    }
    let after: &'static [&'static str] = if burns { &["burn"] } else { &["rake"] };
    steps.push(step(
        "cultivate",
        "ripping, discs, stick-picking",
        after,
        window(&params.dry_months),
        days_of(hours(&["rip", "disc", "pick"]).max(1.0), 1, params),
    ));
    steps
}
