//! The way from the finished job to documents: hands the products to [`crate::publish`].

use super::assumptions::assumptions;
use super::flow::{Design, Job};
use super::plan::Plan;
use super::record::citations;
use super::step::Kept;
use crate::land::blocks::BlockPlan;
use crate::land::document::Document;
use crate::publish::{OptionResult, Results};
use std::sync::Arc;

/// The documents of a job.
#[must_use]
pub fn documents(plan: &Plan, job: &Job) -> Vec<Document> {
    let no_blocks = BlockPlan::default();
    let options: Vec<OptionResult<'_>> = job.options.iter().map(|design| result(design, &no_blocks)).collect();
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
        options: &options,
        chosen: job.chosen,
        findings: &findings,
        assumptions: &assumptions,
        citations: &citations,
    })
}

fn result<'a>(design: &'a Design, no_blocks: &'a BlockPlan) -> OptionResult<'a> {
    OptionResult {
        name: &design.name,
        description: &design.description,
        blocks: value(&design.blocks).unwrap_or(no_blocks),
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
