//! The way from the finished job to documents: hands the products to [`crate::publish`].

use super::assumptions::assumptions;
use super::flow::{Design, Job};
use super::plan::Plan;
use super::record::citations;
use super::step::Kept;
use crate::land::document::Document;
use crate::publish::{OptionResult, Results};
use std::sync::Arc;

/// The documents of a job; `run_id` is printed on every sheet.
#[must_use]
pub fn documents(plan: &Plan, job: &Job, run_id: &str) -> Vec<Document> {
    let options: Vec<OptionResult<'_>> = job.options.iter().map(result).collect();
    let assumptions = assumptions(plan, &plan.options[job.chosen]);
    let findings = job.findings();
    let citations = citations(plan);
    let (site, ground) = &job.survey.value;
    crate::publish::documents(&Results {
        site_table: &plan.site,
        site,
        ground: ground.as_ref(),
        terrain: job.terrain.as_ref().map(|kept| &kept.value),
        water: job.water.as_ref().map(|kept| &kept.value),
        set_out: plan.set_out.as_ref(),
        options: &options,
        chosen: job.chosen,
        chosen_because: &job.why,
        run_id,
        findings: &findings,
        assumptions: &assumptions,
        citations: &citations,
    })
}

fn result(design: &Design) -> OptionResult<'_> {
    OptionResult {
        name: &design.name,
        description: &design.description,
        blocks: value(&design.blocks),
        levelling: value(&design.levelling),
        drains: value(&design.drains),
        clearing: value(&design.clearing),
        erosion: value(&design.erosion),
        program: value(&design.program),
        costing: value(&design.costing),
        guidance: value(&design.guidance),
    }
}

fn value<T>(product: &Option<Arc<Kept<T>>>) -> Option<&T> {
    product.as_ref().map(|kept| &kept.value)
}
