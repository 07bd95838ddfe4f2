//! How does the land lie?

mod hollows;
mod params;
#[cfg(test)]
mod tests;

pub use params::{SlopeMethod, TerrainParams};

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::grid::Raster;
use crate::land::site::Site;
use crate::land::survey::{ElevationModel, Ground};
use crate::land::terrain::{AccumulationMap, AspectMap, Contour, SlopeMap, TerrainModel};
use crate::methods::flow::{accumulate, fill, route};
use crate::methods::shapes::cells_inside;
use crate::methods::surface::{Stencil, aspect_deg, contour_lines, gradient, horn_gradient, slope_ratio, smooth};
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::{M2_PER_HA, Slope};

const NAME: &str = "terrain";
/// Contour intervals chosen from, metres, and the most levels a map of the property should show.
const INTERVALS_M: [f64; 11] = [0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
const MOST_LEVELS: f64 = 25.0;
/// Window the median slope is taken over, metres.
const BROAD_M: f64 = 40.0;
/// Every this many contours one is drawn heavier.
const MAJOR_EVERY: i64 = 5;

/// What the stage reads.
pub struct TerrainInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
}

/// How does the land lie?
pub struct Terrain;

impl Stage for Terrain {
    const INFO: StageInfo = StageInfo {
        name: NAME,
        version: 3,
        question: "How does the land lie?",
        method: "On the concept surface: slope and aspect by Horn's weights (or Zevenbergen and Thorne's) in a 3 x 3 window; \
                 depressions inside depressions with depth, area, volume and pour point; mapped culverts opened, other banks let through by the \
                 cheapest cut where asked for; the rest filled to spill level by a flood from the rim; one receiver a cell by steepest descent, flats drained towards \
                 their outlets; upstream area added up along it; contours by marching squares; the \
                 median slope from the surface smoothed over 40 m.",
        needs: &["survey"],
        reads: &["site boundary", "mapped culverts", "concept surface"],
        makes: &[
            "slope",
            "aspect",
            "filled surface",
            "depressions",
            "opened banks",
            "flow field",
            "upstream area",
            "contours",
        ],
        cites: &[
            Bibliography::Horn1981,
            Bibliography::ZevenbergenThorne1987,
            Bibliography::BarnesCallaghanWickert2020,
            Bibliography::LindsayDhun2015,
            Bibliography::Barnes2014,
            Bibliography::BarnesFlats2014,
            Bibliography::OCallaghanMark1984,
        ],
    };
    type Params = TerrainParams;
    type Input<'a> = TerrainInput<'a>;
    type Output = TerrainModel;

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        let concept = &input.ground.concept.0;
        let inside = cells_inside(concept.spec, &input.site.boundary);
        let mut heights = values_inside(concept, &inside);
        if heights.is_empty() {
            return Err(Problem::data("no_ground_inside", "no height lies inside the boundary").into());
        }
        heights.sort_by(f32::total_cmp);
        let stencil = match params.slope_method {
            SlopeMethod::Horn => Stencil::Horn,
            SlopeMethod::ZevenbergenThorne => Stencil::ZevenbergenThorne,
        };
        let (east, north) = gradient(concept, stencil);
        let slope = slope_ratio(&east, &north);
        let aspect = aspect_deg(&east, &north);
        ctx.progress.advance(NAME, 0.3);
        let mut findings = Vec::new();
        let mut hollows = hollows::find(&input, &inside, params, &mut findings);
        let filled = hollows.opened.as_ref().map_or(hollows.filled, fill);
        let flow = route(&filled);
        ctx.progress.advance(NAME, 0.6);
        let accumulation = upstream_ha(concept, &accumulate(&flow, &vec![cell_ha(concept); concept.spec.len()]));
        let contour_interval_m = match params.contour_interval_m {
            given if given > 0.0 => given,
            _ => fitting_interval_m(&heights),
        };
        let contours = draw_contours(concept, contour_interval_m, params)?;
        let median_slope_ratio = median_broad_slope(concept, &inside);
        findings.extend(steepness(median_slope_ratio, params.steep_pct));
        hollows::catchments(&mut hollows.banks, &accumulation);
        hollows::report(&hollows.banks, &mut findings);
        ctx.progress.advance(NAME, 1.0);
        let value = TerrainModel {
            slope: SlopeMap(slope),
            aspect: AspectMap(aspect),
            filled: ElevationModel(filled),
            flow,
            accumulation: AccumulationMap(accumulation),
            contours,
            contour_interval_m,
            depressions: hollows.depressions,
            opened_banks: hollows.banks,
            median_slope_ratio,
        };
        Ok(Outcome { value, findings })
    }
}

fn cell_ha(raster: &Raster<f32>) -> f64 {
    raster.spec.cell_area_m2() / M2_PER_HA
}

/// Median slope of the broad lie of the land: cell by cell, survey noise alone would outweigh the fall of flat land.
fn median_broad_slope(concept: &Raster<f32>, inside: &[bool]) -> f64 {
    let (east, north) = horn_gradient(&smooth(concept, BROAD_M));
    let mut slopes = values_inside(&slope_ratio(&east, &north), inside);
    slopes.sort_by(f32::total_cmp);
    f64::from(slopes[slopes.len() / 2])
}

fn values_inside(raster: &Raster<f32>, inside: &[bool]) -> Vec<f32> {
    (0..inside.len()).filter(|i| inside[*i] && raster.valid[*i]).map(|i| raster.values[i]).collect()
}

#[expect(clippy::cast_possible_truncation, reason = "hectares of a property need no more digits")]
fn upstream_ha(concept: &Raster<f32>, totals: &[f64]) -> Raster<f32> {
    Raster { spec: concept.spec, values: totals.iter().map(|t| *t as f32).collect(), valid: concept.valid.clone() }
}

/// The smallest interval that shows at most [`MOST_LEVELS`] levels between the 1st and 99th percentile of heights.
fn fitting_interval_m(sorted_heights: &[f32]) -> f64 {
    let last = sorted_heights.len() - 1;
    let relief_m = f64::from(sorted_heights[last - last / 100] - sorted_heights[last / 100]);
    INTERVALS_M.into_iter().find(|i| relief_m / i <= MOST_LEVELS).unwrap_or(100.0)
}

#[expect(clippy::cast_possible_truncation, reason = "levels over interval are small whole numbers")]
fn draw_contours(concept: &Raster<f32>, interval_m: f64, params: &TerrainParams) -> Result<Vec<Contour>, Problem> {
    let lines = contour_lines(concept, interval_m, params.contour_min_length_m, params.contour_simplify_m)
        .map_err(|error| Problem::data("contours_failed", format!("contours at {interval_m} m: {error}")))?;
    Ok(lines
        .into_iter()
        .map(|(level_m, lines)| Contour {
            level_m,
            major: ((level_m / interval_m).round() as i64) % MAJOR_EVERY == 0,
            lines,
        })
        .collect())
}

fn steepness(median_slope_ratio: f64, steep_pct: f64) -> Vec<Finding> {
    let slope = Slope::from_ratio(median_slope_ratio);
    if slope.percent() <= steep_pct {
        return Vec::new();
    }
    vec![Finding::new(
        Severity::Severe,
        NAME,
        "steep_land",
        format!(
            "Half of the land is steeper than {}; this plan is made for land up to {steep_pct:.1} %. Rows down such slopes scour; \
             have a soil conservationist lay out contour banks first.",
            slope.label()
        ),
    )]
}
