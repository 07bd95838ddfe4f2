//! How does the land lie?

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::grid::Raster;
use crate::land::site::Site;
use crate::land::survey::{ElevationModel, Ground};
use crate::land::terrain::{AccumulationMap, AspectMap, Contour, SlopeMap, TerrainModel};
use crate::methods::flow::{accumulate, fill, route};
use crate::methods::shapes::cells_inside;
use crate::methods::surface::{aspect_deg, contour_lines, horn_gradient, slope_ratio, smooth};
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::{M2_PER_HA, Slope};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const NAME: &str = "terrain";
/// Contour intervals chosen from, metres, and the most levels a map of the property should show.
const INTERVALS_M: [f64; 11] = [0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
const MOST_LEVELS: f64 = 25.0;
/// Window the median slope is taken over, metres.
const BROAD_M: f64 = 40.0;
/// Every this many contours one is drawn heavier.
const MAJOR_EVERY: i64 = 5;

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TerrainParams {
    /// Height between contours, metres. 0: chosen so that the property shows about 10 to 25.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub contour_interval_m: f64,
    /// Contour pieces shorter than this are not drawn, metres.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-source" = "common practice, no source"))]
    pub contour_min_length_m: f64,
    /// How far a drawn contour may lie from the traced one, metres.
    #[schemars(range(min = 0.0, max = 10.0), extend("x-source" = "common practice, no source"))]
    pub contour_simplify_m: f64,
    /// Median slope above which the land is too steep for the row-crop rules this plan uses, per cent.
    #[schemars(range(min = 0.5, max = 30.0), extend("x-source" = "common practice, no source"))]
    pub steep_pct: f64,
}

impl Default for TerrainParams {
    fn default() -> Self {
        Self { contour_interval_m: 0.0, contour_min_length_m: 40.0, contour_simplify_m: 0.25, steep_pct: 3.0 }
    }
}

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
        version: 1,
        question: "How does the land lie?",
        method: "On the concept surface: slope and aspect by Horn's weights in a 3 x 3 window; depressions filled to their spill \
                 level by a flood from the rim, the depth kept; one receiver a cell by steepest descent, flats drained towards \
                 their outlets; upstream area added up along it; contours by marching squares; the \
                 median slope from the surface smoothed over 40 m.",
        needs: &["survey"],
        reads: &["site boundary", "concept surface"],
        makes: &["slope", "aspect", "filled surface", "flow field", "upstream area", "contours"],
        cites: &[
            Bibliography::Horn1981,
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
        let (east, north) = horn_gradient(concept);
        let slope = slope_ratio(&east, &north);
        let aspect = aspect_deg(&east, &north);
        ctx.progress.advance(NAME, 0.3);
        let filled = fill(concept);
        let flow = route(&filled);
        ctx.progress.advance(NAME, 0.6);
        let accumulation = upstream_ha(concept, &accumulate(&flow, &vec![cell_ha(concept); concept.spec.len()]));
        let contour_interval_m = match params.contour_interval_m {
            given if given > 0.0 => given,
            _ => fitting_interval_m(&heights),
        };
        let contours = draw_contours(concept, contour_interval_m, params)?;
        let median_slope_ratio = median_broad_slope(concept, &inside);
        let findings = steepness(median_slope_ratio, params.steep_pct);
        ctx.progress.advance(NAME, 1.0);
        let value = TerrainModel {
            slope: SlopeMap(slope),
            aspect: AspectMap(aspect),
            filled: ElevationModel(filled),
            flow,
            accumulation: AccumulationMap(accumulation),
            contours,
            contour_interval_m,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use crate::land::geodesy::{CrsTag, LocalGeodesy};
    use crate::land::site::SiteLayers;
    use crate::land::survey::AccuracyStatement;
    use crate::stages::Silent;
    use geo::{Coord, MultiPolygon, polygon};
    use std::sync::atomic::AtomicBool;

    fn run_on(height: impl Fn(Coord<f64>) -> f64, params: &TerrainParams) -> Outcome<TerrainModel> {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 200.0 }, cell_m: 2.0, rows: 100, cols: 150 };
        let mut surface = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            surface.values[i] = height(spec.centre(spec.cell(i))) as f32;
        }
        let boundary = MultiPolygon(vec![
            polygon![(x: 20.0, y: 20.0), (x: 280.0, y: 20.0), (x: 280.0, y: 180.0), (x: 20.0, y: 180.0)],
        ]);
        let crs =
            CrsTag { name: "plane".into(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None };
        let site = Site {
            name: "t".into(),
            parcels: Vec::new(),
            boundary,
            parcels_worked_as_one: true,
            layers: SiteLayers::default(),
            not_given: Vec::new(),
            crs,
            geodesy: LocalGeodesy::flat(),
        };
        let accuracy = AccuracyStatement {
            vertical_sigma_m: 0.03,
            basis: "stated".into(),
            known: true,
            control_shift_m: None,
            control_sd_m: None,
        };
        let ground = Ground {
            surveyed: ElevationModel(surface.clone()),
            concept: ElevationModel(surface),
            smoothed_over_m: 0.0,
            beds_mean_m: 0.0,
            accuracy,
        };
        let ctx = Ctx { progress: &Silent, cancel: &AtomicBool::new(false) };
        Terrain::run(TerrainInput { site: &site, ground: &ground }, params, &ctx).unwrap()
    }

    /// A plane falling 0.12 % east and 0.05 % south: slope sqrt(0.12^2 + 0.05^2) = 0.13 %, aspect atan2(0.12, -0.05).
    #[test]
    fn plane_has_its_slope_aspect_and_contours() {
        let model = run_on(|p| 10.0 - 0.0012 * p.x + 0.0005 * p.y, &TerrainParams::default()).value;
        assert!((model.median_slope_ratio - 0.0013).abs() < 1e-5);
        let aspect = model.aspect.0.at(Coord { x: 150.0, y: 100.0 }).unwrap();
        assert!((f64::from(aspect) - 112.62).abs() < 1.0, "{aspect}");
        // Relief inside is about 0.39 m: 0.05 m is the smallest interval offered and shows 7 or 8 levels.
        assert!((model.contour_interval_m - 0.05).abs() < 1e-12);
        assert!((6..=12).contains(&model.contours.len()));
        assert!(model.contours.windows(2).all(|w| w[0].level_m < w[1].level_m));
    }

    /// All water that falls on the grid leaves over its rim.
    #[test]
    fn water_is_conserved() {
        let model = run_on(|p| 5.0 + 0.3 * (p.x / 30.0).sin() * (p.y / 25.0).cos(), &TerrainParams::default()).value;
        let leaving: f64 = model
            .flow
            .downstream
            .iter()
            .zip(&model.accumulation.0.values)
            .filter(|(d, _)| **d == crate::grid::FlowField::OFF_GRID)
            .map(|(_, ha)| f64::from(*ha))
            .sum();
        assert!((leaving - 6.0).abs() < 1e-3, "{leaving} of 6 ha");
        assert!(model.filled.0.values.iter().all(|z| z.is_finite()));
    }

    #[test]
    fn steep_land_is_severe() {
        let outcome = run_on(|p| 0.05 * p.x, &TerrainParams::default());
        assert_eq!(outcome.findings[0].code, "steep_land");
        assert_eq!(outcome.findings[0].severity, Severity::Severe);
        // 13 m of relief: 1 m is the first interval with at most 25 levels.
        assert!((outcome.value.contour_interval_m - 1.0).abs() < 1e-12);
    }

    #[test]
    fn given_interval_is_used_and_every_fifth_is_major() {
        let params = TerrainParams { contour_interval_m: 0.5, ..TerrainParams::default() };
        let model = run_on(|p| 0.02 * p.x, &params).value;
        assert!(model.contours.iter().all(|c| c.major == ((c.level_m / 2.5).fract() == 0.0)));
        assert!(model.contours.iter().any(|c| c.major));
    }
}
