//! The way from the finished job to documents: hands the products to [`crate::publish`].

use super::assumptions::assumptions;
use super::flow::{Design, Job};
use super::plan::Plan;
use super::record::citations;
use super::step::Product;
use crate::land::document::Document;
use crate::publish::{OptionResult, Results};

/// What papers are known by.
#[derive(Debug, Clone, Copy)]
pub struct Ids<'a> {
    /// The run, printed where money stands.
    pub run: &'a str,
    /// The plan, printed on what is drawn and set out: the same as long as only money changes.
    pub plan: &'a str,
}

/// The documents of a job.
#[must_use]
pub fn documents(plan: &Plan, job: &Job, ids: Ids<'_>) -> Vec<Document> {
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
        run_id: ids.run,
        plan_id: ids.plan,
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

fn value<T>(product: &Product<T>) -> Option<&T> {
    product.as_ref().map(|kept| &kept.value)
}
