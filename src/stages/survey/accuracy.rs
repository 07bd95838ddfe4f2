//! How well the ground is known.

use super::{NAME, SurveyParams};
use crate::finding::{Finding, Place, Severity};
use crate::grid::Raster;
use crate::land::site::ControlPoint;
use crate::land::survey::AccuracyStatement;

/// What is known about accuracy before control points are looked at.
pub(super) struct Stated {
    /// Given in the pipeline file, metres.
    pub given_m: Option<f64>,
    /// Found by leaving out blocks of points, metres.
    pub points_m: Option<f64>,
}

/// The accuracy statement, with findings about what it means.
pub(super) fn state(
    surface: &Raster<f32>,
    control: &[ControlPoint],
    stated: &Stated,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
) -> AccuracyStatement {
    let (vertical_sigma_m, basis, known) = match (stated.given_m, stated.points_m) {
        (Some(sigma), _) => (sigma, "stated in the pipeline file".to_owned(), true),
        (None, Some(sigma)) => (
            sigma,
            format!(
                "measured by leaving out blocks of points {:.0} m wide (root mean square)",
                params.validation_block_m
            ),
            true,
        ),
        (None, None) => (params.assumed_sigma_m, "assumed: nothing was stated or could be measured".to_owned(), false),
    };
    if let (Some(given), Some(found)) = (stated.given_m, stated.points_m)
        && found > 1.5 * given
    {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "survey_worse_than_stated",
            format!(
                "Heights between survey points are predicted to {found:.3} m (1 sigma) where blocks are left out; {given:.3} m is \
                 stated. Where the ground is uneven the points are too far apart."
            ),
        ));
    }
    let mut statement = AccuracyStatement { vertical_sigma_m, basis, known, control_shift_m: None, control_sd_m: None };
    check_control(surface, control, params, &mut statement, findings);
    if statement.budget_only() {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "budget_only",
            format!(
                "Vertical accuracy is {:.3} m (1 sigma), {}. Earthworks quantities from this ground are for budget only; survey \
                 to 0.03 m or better after clearing, before any earth is moved.",
                statement.vertical_sigma_m, statement.basis
            ),
        ));
    }
    statement
}

/// Compares the ground with control points. The shift is reported and never applied.
fn check_control(
    surface: &Raster<f32>,
    control: &[ControlPoint],
    params: &SurveyParams,
    statement: &mut AccuracyStatement,
    findings: &mut Vec<Finding>,
) {
    let differences: Vec<(&ControlPoint, f64)> =
        control.iter().filter_map(|p| surface.bilinear(p.at).map(|z| (p, z - p.height_m))).collect();
    if differences.len() < control.len() {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "control_points_off_ground",
            format!(
                "{} of {} control points lie where no height is known.",
                control.len() - differences.len(),
                control.len()
            ),
        ));
    }
    if differences.is_empty() {
        if control.is_empty() {
            findings.push(Finding::new(
                Severity::Note,
                NAME,
                "no_control",
                "No control points were given: a constant shift of the heights (wrong datum or geoid) would not be seen.",
            ));
        }
        return;
    }
    let n = differences.len() as f64;
    let shift_m = differences.iter().map(|d| d.1).sum::<f64>() / n;
    let sd_m = (differences.len() > 1)
        .then(|| (differences.iter().map(|d| (d.1 - shift_m).powi(2)).sum::<f64>() / (n - 1.0)).sqrt());
    statement.control_shift_m = Some((shift_m, differences.len()));
    statement.control_sd_m = sd_m;
    let spread = sd_m.map_or(String::new(), |sd| format!(", spread {sd:.3} m (1 sigma)"));
    // The mean of n checks is sigma over root n from the truth; three times that is no accident.
    let limit_m = params.max_control_shift_m.min(3.0 * statement.vertical_sigma_m / n.sqrt());
    let (severity, code, advice) = if shift_m.abs() > limit_m {
        (
            Severity::Severe,
            "control_shift",
            "Find out why (datum, geoid model, grass, base station) before any level is set out; outlet levels and ground may not \
             be in one system.",
        )
    } else {
        (Severity::Note, "control_agrees", "The shift was not applied.")
    };
    findings.push(Finding::new(
        severity,
        NAME,
        code,
        format!("The ground lies {shift_m:+.3} m from {n:.0} control points on average{spread}; limit {limit_m:.3} m. {advice}"),
    ));
    for (point, difference) in &differences {
        let off_m = (difference - shift_m).abs();
        let limit_m = 3.0 * statement.vertical_sigma_m.max(0.01);
        if differences.len() > 2 && off_m > limit_m {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    NAME,
                    "control_point_off",
                    format!(
                        "Control point {} is {difference:+.3} m off, {off_m:.3} m from the rest; limit {limit_m:.3} m.",
                        point.name
                    ),
                )
                .at(Place::Point { east_m: point.at.x, north_m: point.at.y }),
            );
        }
    }
}
