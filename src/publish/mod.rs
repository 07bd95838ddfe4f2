//! Artifacts become documents in memory: maps, tables, pages.
//!
//! [`documents`] is the only door: it takes everything a run worked out and gives back the files of the
//! run folder, in a fixed order, without touching a file.

pub mod as_built;
mod charts;
mod drawing;
mod earth_balance;
mod earth_layers;
mod earth_tables;
mod earth_words;
mod labels;
mod layers;
mod maps;
mod page_data;
mod pages;
mod papers;
mod plan_layers;
mod rasters;
mod report;
mod set_out;
mod sheet;
mod tables;
mod terrain_layers;
#[cfg(test)]
mod tests;
mod view;
mod water_layers;
mod worth_tables;

use crate::bibliography::Bibliography;
use crate::finding::Finding;
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::costing::Costing;
use crate::land::document::{Content, Document, Table, Value};
use crate::land::drains::DrainPlan;
use crate::land::erosion::ErosionReport;
use crate::land::guidance::GuidancePlan;
use crate::land::levelling::LevellingPlan;
use crate::land::program::Program;
use crate::land::set_out::SetOutTable;
use crate::land::site::Site;
use crate::land::site_table::SiteTable;
use crate::land::survey::Ground;
use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;

/// Everything a run worked out.
#[derive(Debug, Clone, Copy)]
pub struct Results<'a> {
    /// What the user has, as written in the pipeline file.
    pub site_table: &'a SiteTable,
    /// The property.
    pub site: &'a Site,
    /// The ground; `None` when the run did not read heights.
    pub ground: Option<&'a Ground>,
    /// How the land lies.
    pub terrain: Option<&'a TerrainModel>,
    /// Water.
    pub water: Option<&'a WaterModel>,
    /// Set-out files, when wanted.
    pub set_out: Option<&'a SetOutTable>,
    /// Options, in stated order.
    pub options: &'a [OptionResult<'a>],
    /// Index of the option the run folder is about; out of range when there is none.
    pub chosen: usize,
    /// Why that option, in a sentence.
    pub chosen_because: &'a str,
    /// Findings of all stages.
    pub findings: &'a [Finding],
    /// Every number the plan rests on.
    pub assumptions: &'a [Assumption],
    /// Works cited by the stages that ran.
    pub citations: &'a [Bibliography],
    /// Id of the run, printed where money stands.
    pub run_id: &'a str,
    /// Id of the plan as it is drawn and set out, printed on maps, work orders, guidance and set-out: unlike the id of the
    /// run it stays the same when only a price changed, and so do they.
    pub plan_id: &'a str,
}

impl<'a> Results<'a> {
    /// The chosen option.
    #[must_use]
    pub fn plan(&self) -> Option<&'a OptionResult<'a>> {
        self.options.get(self.chosen)
    }
}

/// What one option came to; parts that were not asked for are `None`.
#[derive(Debug, Clone, Copy, Default)]
pub struct OptionResult<'a> {
    /// Short name.
    pub name: &'a str,
    /// What sets it apart, in a sentence.
    pub description: &'a str,
    /// Layout.
    pub blocks: Option<&'a BlockPlan>,
    /// Earthworks.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains and proofs.
    pub drains: Option<&'a DrainPlan>,
    /// Debris.
    pub clearing: Option<&'a ClearingPlan>,
    /// Soil loss.
    pub erosion: Option<&'a ErosionReport>,
    /// Works calendar.
    pub program: Option<&'a Program>,
    /// Budget and worth.
    pub costing: Option<&'a Costing>,
    /// Guidance lines.
    pub guidance: Option<&'a GuidancePlan>,
}

/// One number the plan rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumption {
    /// Table of the pipeline file.
    pub table: String,
    /// Key in that table.
    pub key: String,
    /// Value, as written.
    pub value: String,
    /// Unit.
    pub unit: String,
    /// Where the starting value comes from.
    pub source: String,
    /// `given` by the user, or a `starting value` of the program.
    pub origin: String,
    /// What it means.
    pub meaning: String,
}

/// All documents of the run folder, in a fixed order.
#[must_use]
pub fn documents(results: &Results<'_>) -> Vec<Document> {
    let layers = layers::all(results);
    let mut out = vec![document("plan.gpkg", Content::GeoPackage(layers.clone()))];
    for layer in &layers {
        out.push(document(&format!("geojson/{}.geojson", layer.name), Content::GeoJson(layer.clone(), 7)));
    }
    out.extend(rasters::all(results));
    for table in tables::all(results) {
        out.push(document(&format!("tables/{}.csv", table.name), Content::Text(csv_text(&table))));
    }
    if let Some(plan) = results.plan().and_then(|p| p.guidance).filter(|g| !g.lines.is_empty()) {
        out.push(document("guidance", Content::Guidance(Box::new(plan.clone()), results.plan_id.to_owned())));
    }
    out.extend(papers::all(results));
    out.extend(set_out::documents(results));
    out.push(document("report.html", Content::Text(report::page(results))));
    out
}

fn document(path: &str, content: Content) -> Document {
    Document { path: path.to_owned(), content }
}

/// A table as comma-separated text with a header line and `\n` line ends.
fn csv_text(table: &Table) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = writer.write_record(table.fields.iter().map(|f| f.name.as_str()));
    debug_assert!(header.is_ok(), "writing to memory cannot fail");
    for row in &table.rows {
        let cells = row.iter().zip(&table.fields).map(|(value, field)| sheet::cell(value, field.kind));
        let written = writer.write_record(cells);
        debug_assert!(written.is_ok(), "rows have one value a column");
    }
    writer.into_inner().map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default()
}

/// A value that is not known.
const NOTHING: Value = Value::Nothing;
