//! Where does water come from, run, stand and leave, and how low can a drain be?
//!
//! Order of work: upstream areas and gathering lines (`lines`), ponds (`standing`), places where water crosses the
//! boundary (`crossings`), outlets (`outlets`), kept land (`buffers`), plantable pieces (`plantable`), and the
//! drain reach grown from outlets and waterways (`reach`).

mod buffers;
mod crossings;
mod lines;
mod outlets;
mod params;
mod plantable;
mod reach;
mod standing;
#[cfg(test)]
mod tests;

pub use params::WaterParams;

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;
use crate::methods::shapes::cells_inside;
use crate::stages::{Ctx, Stage, StageInfo};

/// Name of the stage, as findings carry it.
const NAME: &str = "water";

/// What the stage reads.
pub struct WaterInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
    /// Terrain.
    pub terrain: &'a TerrainModel,
}

/// Where does water come from, run, stand and leave, and how low can a drain be?
pub struct Water;

impl Stage for Water {
    const INFO: StageInfo = StageInfo {
        name: NAME,
        version: 3,
        question: "Where does water come from, run, stand and leave, and how low can a drain be?",
        method: "Lines are drawn where upstream area passes a threshold, with Strahler order, and matched with mapped waterways. \
                 Ponds are kept when deeper than the survey can be wrong. Cells that hand water over the boundary are \
                 grouped into inflows and outflows. Outlets are the given ones, else the largest outflows, and then said to be \
                 assumed. Drain levels are grown from outlets and waterway beds at the least fall along shortest ways \
                 round kept land. Buffers follow the order of the waterway; what is left inside the boundary may be planted.",
        needs: &["survey", "terrain"],
        reads: &["site and its layers", "concept and surveyed ground", "flow field", "filled surface"],
        makes: &[
            "drainage lines",
            "ponds",
            "inflows and outflows",
            "outlets",
            "drain reach",
            "buffers",
            "plantable pieces",
        ],
        cites: &[
            Bibliography::Strahler1957,
            Bibliography::OCallaghanMark1984,
            Bibliography::Barnes2014,
            Bibliography::Dijkstra1959,
        ],
    };
    type Params = WaterParams;
    type Input<'a> = WaterInput<'a>;
    type Output = WaterModel;

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        let mut findings = Vec::new();
        let inside = cells_inside(input.ground.concept.0.spec, &input.site.boundary);
        let upstream = lines::Upstream::new(&input, &inside);
        let drainage_lines = lines::find(&input, &inside, &upstream, params, &mut findings);
        let (ponds, pond_depth) = standing::find(&input, &inside, params, &mut findings);
        ctx.progress.advance(NAME, 0.3);
        let crossings = crossings::find(&input, &inside, &upstream, params, &mut findings);
        ctx.progress.advance(NAME, 0.5);
        let mut problems = Problems::default();
        let outlets = collect(outlets::find(&input, &crossings.outflows, params, &mut findings), &mut problems);
        let buffers = buffers::find(&input, &drainage_lines, params, &mut findings);
        let no_rows = buffers::no_rows(&input, &buffers, params, &mut findings);
        let plantable = collect(plantable::find(&input, &no_rows, params, &mut findings), &mut problems);
        ctx.progress.advance(NAME, 0.8);
        if !problems.0.is_empty() {
            return Err(problems);
        }
        let reach = reach::find(&input, &outlets, &buffers, params, &mut findings)
            .ok_or_else(|| Problem::data("boundary_empty", "the boundary holds no land"))?;
        reach::report(&input, &reach, &outlets, &plantable, &mut findings);
        outlets::report_catchments(&input, &outlets, &upstream, &mut findings);
        not_checked(input.site, &mut findings);
        ctx.progress.advance(NAME, 1.0);
        let value = WaterModel {
            drainage_lines,
            ponds,
            pond_depth,
            inflows: crossings.inflows,
            outflows: crossings.outflows,
            outflow_of: crossings.outflow_of,
            outlets,
            reach,
            buffers,
            no_rows,
            plantable,
        };
        Ok(Outcome { value, findings })
    }
}

/// The value, or nothing with its problems kept for later, so that all are shown at once.
fn collect<T>(result: Result<Vec<T>, Problems>, problems: &mut Problems) -> Vec<T> {
    result.unwrap_or_else(|found| {
        problems.0.extend(found.0);
        Vec::new()
    })
}

/// Silence about water is no all-clear.
fn not_checked(site: &Site, findings: &mut Vec<Finding>) {
    if site.layers.waterways.is_empty() {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "waterways_not_checked",
            "No mapped waterways were given: buffers along official streams were not checked. Get the official stream layer before \
             anything is cleared.",
        ));
    }
}
