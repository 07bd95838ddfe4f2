//! How well the ground is known.

use super::points::Tested;
use super::{NAME, SurveyParams};
use crate::finding::{Finding, Place, Severity};
use crate::grid::Raster;
use crate::land::site::ControlPoint;
use crate::land::survey::AccuracyStatement;

/// What is known about accuracy before control points are looked at.
pub(super) struct Stated<'a> {
    /// Given in the pipeline file, metres.
    pub given_m: Option<f64>,
    /// Found by leaving out points.
    pub tested: Option<&'a Tested>,
    /// Vertical datum of the heights.
    pub datum: Option<&'a str>,
}

/// The accuracy statement, with findings about what it means.
pub(super) fn state(
    surface: &Raster<f32>,
    control: &[ControlPoint],
    stated: &Stated<'_>,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
) -> AccuracyStatement {
    let found_m = stated.tested.map(|t| t.figures.rmse_m);
    let (vertical_sigma_m, basis, known) = match (stated.given_m, stated.tested) {
        (Some(sigma), _) => (sigma, "stated in the pipeline file".to_owned(), true),
        (None, Some(tested)) => {
            (tested.figures.rmse_m, format!("measured by leaving out {} (root mean square)", tested.what), true)
        }
        (None, None) => (params.assumed_sigma_m, "assumed: nothing was stated or could be measured".to_owned(), false),
    };
    if let Some(tested) = stated.tested {
        findings.push(measured(tested));
    }
    findings.push(datum(stated.datum));
    if let (Some(given), Some(found)) = (stated.given_m, found_m)
        && found > 1.5 * given
    {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "survey_worse_than_stated",
            format!(
                "Heights between survey points are predicted to {found:.3} m (1 sigma) where points are left out; {given:.3} m is \
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

/// The figures of the leave-out test.
fn measured(tested: &Tested) -> Finding {
    let f = &tested.figures;
    Finding::new(
        Severity::Note,
        NAME,
        "accuracy_measured",
        format!(
            "Leaving out {}, heights at {} points are predicted from the rest with a root mean square of {:.3} m, bias {:+.3} m; \
             95 % are within {:.3} m, the worst is off by {:.3} m. Errors all points share (datum, base mark) are not seen.",
            tested.what, f.n, f.rmse_m, f.bias_m, f.p95_m, f.max_m
        ),
    )
    .at(Place::Point { east_m: tested.worst.x, north_m: tested.worst.y })
}

fn datum(name: Option<&str>) -> Finding {
    match name {
        Some(name) => Finding::new(Severity::Note, NAME, "vertical_datum", format!("Heights are in {name}.")),
        None => Finding::new(
            Severity::Warning,
            NAME,
            "vertical_datum_unknown",
            "No source says which datum its heights are in. Falls and quantities do not need it; outlet levels, tide and flood \
             levels must be in the same one. State it in `site.vertical_datum`.",
        ),
    }
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
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "no_control",
            "The heights were checked against no control point: a constant shift (wrong datum or geoid) would not be seen.",
        ));
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
