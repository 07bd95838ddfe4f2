//! What is there, and how well do we know it?
//!
//! Order of work: outlines of the parcels (`outline`), heights on the working grid (`heights`, from sources compared by
//! `ties` and points judged by `points` and `swaths`), holes and absurd heights (`faults`), accuracy and control points (`accuracy`), and the concept surface without the old tree
//! beds (`beds`). What is wrong with outlines and heights is collected before stopping.

mod accuracy;
mod beds;
mod faults;
mod heights;
mod outline;
mod params;
#[cfg(test)]
mod point_tests;
mod points;
mod swaths;
#[cfg(test)]
mod tests;
mod ties;

pub use params::{BetweenPoints, SurveyParams};

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problems, Severity};
use crate::land::site::Site;
use crate::land::survey::{ElevationModel, Ground, RawSurvey};
use crate::stages::{Ctx, Stage, StageInfo};
use geo::MultiPolygon;

/// Name of the stage, as findings carry it.
const NAME: &str = "survey";

/// What the stage reads.
pub struct SurveyInput<'a> {
    /// What the readers handed over.
    pub raw: &'a RawSurvey,
    /// Name of the property.
    pub name: &'a str,
    /// Stated vertical standard error, metres.
    pub stated_sigma_m: Option<f64>,
    /// Whether blocks may cross parcel lines.
    pub parcels_worked_as_one: bool,
    /// Most cells of the working grid the machine takes.
    pub most_cells: f64,
}

/// What is there, and how well do we know it?
pub struct Survey;

impl Stage for Survey {
    const INFO: StageInfo = StageInfo {
        name: NAME,
        version: 3,
        question: "What is there, and how well do we know it?",
        method: "Outlines of parcels are mended where there is one plain reading and refused with the place where there is \
                 not; overlaps and sizes are checked. Heights are brought onto a grid of the wanted cell size (finer \
                 rasters by area mean, points by natural neighbours within a stated reach, not across breaklines); nothing is \
                 extrapolated. Several sources are compared where they overlap and refused together when they differ. Small holes are filled by the surface of least bending and reported, large ones refused. \
                 Points are judged by leaving out whole passes, or blocks where there are none; steps between passes, washboard \
                 and lone points are told. Control points are judged by mean shift and spread, which is never \
                 applied. Old tree beds are found in the two-dimensional spectrum of the ground and smoothed out for \
                 concept work only; channels keep their surveyed heights.",
        needs: &[],
        reads: &["boundary", "elevation rasters or points", "breaklines", "optional layers as given", "control points"],
        makes: &[
            "the checked site",
            "the ground as surveyed",
            "the concept surface without old tree beds",
            "an accuracy statement",
        ],
        cites: &[
            Bibliography::SimpleFeatures,
            Bibliography::Ledoux2014,
            Bibliography::Sibson1981,
            Bibliography::Roberts2017,
            Bibliography::Perron2008,
        ],
    };
    type Params = SurveyParams;
    type Input<'a> = SurveyInput<'a>;
    type Output = (Site, Option<Ground>);

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        let mut findings = Vec::new();
        let mut problems = Problems::default();
        let raw = input.raw;
        let (parcels, boundary) = outline::check_parcels(&raw.parcels, &mut findings, &mut problems);
        ctx.progress.advance(NAME, 0.1);
        let ground = if raw.elevation.is_some() && !boundary.0.is_empty() {
            model_ground(&input, &boundary, params, ctx, &mut findings, &mut problems)
        } else {
            None
        };
        for missing in &raw.not_given {
            findings.push(Finding::new(
                Severity::Note,
                NAME,
                "not_given",
                format!("Input `{missing}` was not given: nothing in this plan was checked against it."),
            ));
        }
        let site = Site {
            name: input.name.to_owned(),
            parcels,
            boundary,
            parcels_worked_as_one: input.parcels_worked_as_one,
            layers: raw.layers.clone(),
            not_given: raw.not_given.clone(),
            crs: raw.crs.clone(),
            geodesy: raw.geodesy,
        };
        ctx.progress.advance(NAME, 1.0);
        let value = problems.into_result((site, ground))?;
        Ok(Outcome { value, findings })
    }
}

/// The ground model, or `None` with at least one problem.
fn model_ground(
    input: &SurveyInput<'_>,
    boundary: &MultiPolygon<f64>,
    params: &SurveyParams,
    ctx: &Ctx<'_>,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Ground> {
    let gridded = heights::on_grid(input, boundary, params, findings, problems)?;
    ctx.progress.advance(NAME, 0.4);
    let inside = crate::methods::shapes::cells_inside(gridded.raster.spec, boundary);
    let surveyed = faults::mend(gridded.raster, &inside, boundary, params, findings, problems)?;
    ctx.progress.advance(NAME, 0.6);
    let datum = input.raw.crs.vertical_name.as_deref();
    let stated = accuracy::Stated { given_m: input.stated_sigma_m, tested: gridded.tested.as_ref(), datum };
    let layers = &input.raw.layers;
    let statement = accuracy::state(&surveyed, &layers.control_points, &stated, params, findings);
    let concept = beds::take_out(&surveyed, &inside, layers, params, findings);
    Some(Ground {
        surveyed: ElevationModel(surveyed),
        concept: ElevationModel(concept.surface),
        smoothed_over_m: concept.window_m,
        beds_mean_m: concept.mean_difference_m,
        accuracy: statement,
        point_density: gridded.density,
    })
}
