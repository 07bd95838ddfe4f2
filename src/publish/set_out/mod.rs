//! Set-out: what the surveyor pegs and the machines are loaded with.
//!
//! Only from a ground that was surveyed after clearing and is good enough; else nothing, or, when that is wished, the same
//! files with CONCEPT in every name, layer and heading.

mod design;
mod pegs;
mod sections;
#[cfg(test)]
mod tests;

use super::{NOTHING, Results, csv_text, document, sheet, view};
use crate::land::document::{Content, Document};
use crate::land::set_out::{SetOutGrade, SetOutTable};
use crate::land::site::ControlPoint;

pub(super) use pegs::{PEG, pegs};

/// Most benchmarks named on a sheet; the peg list holds them all.
const BENCHMARKS_SHOWN: usize = 2;

/// What every set-out file says about itself.
pub(super) struct Heading<'a> {
    /// How it is set out.
    pub table: &'a SetOutTable,
    /// Whether everything is marked CONCEPT.
    pub concept: bool,
    /// Points of known height.
    pub benchmarks: &'a [ControlPoint],
    /// The plan system with its code.
    pub grid: String,
    /// The height datum.
    pub heights: String,
}

impl<'a> Heading<'a> {
    /// The heading, or nothing when nothing may be written.
    pub(super) fn of(results: &Results<'a>) -> Option<Self> {
        let table = results.set_out?;
        let grade = table.grade(results.site, results.ground);
        if grade == SetOutGrade::Refused {
            return None;
        }
        let crs = &results.site.crs;
        let code = crs.epsg.map_or(String::new(), |code| format!(" (EPSG:{code})"));
        Some(Self {
            table,
            concept: grade == SetOutGrade::Concept,
            benchmarks: &results.site.layers.control_points,
            grid: format!("{}{code}", crs.name),
            heights: crs.vertical_name.clone().unwrap_or_else(|| "not named".to_owned()),
        })
    }
    /// `CONCEPT ` or nothing, before a title.
    pub(super) const fn mark(&self) -> &'static str {
        if self.concept { "CONCEPT " } else { "" }
    }
    /// `CONCEPT_` or nothing, before the name of a file or layer.
    pub(super) const fn prefix(&self) -> &'static str {
        if self.concept { "CONCEPT_" } else { "" }
    }
    /// Path of a file in the run folder.
    fn path(&self, name: &str) -> String {
        format!("set_out/{}{name}", self.prefix())
    }
    /// Datum and benchmarks in lines of text.
    pub(super) fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("Grid: {}", self.grid), format!("Height datum: {}", self.heights)];
        if self.benchmarks.is_empty() {
            lines.push("Benchmark: none given; establish one before anything is pegged".to_owned());
        }
        for (i, b) in self.benchmarks.iter().take(BENCHMARKS_SHOWN).enumerate() {
            let (name, east, north, level) = (&b.name, b.at.x, b.at.y, b.height_m);
            lines.push(format!("Benchmark BM{}: {name} E {east:.3} N {north:.3} level {level:.3}", i + 1));
        }
        if self.benchmarks.len() > BENCHMARKS_SHOWN {
            lines.push(format!("and {} more in the peg list", self.benchmarks.len() - BENCHMARKS_SHOWN));
        }
        lines
    }
}

/// The documents of the set-out folder that exist.
pub(super) fn documents(results: &Results<'_>) -> Vec<Document> {
    let (Some(heading), Some(plan)) = (Heading::of(results), results.plan()) else { return Vec::new() };
    let mut out = Vec::new();
    if let Some(levelling) = plan.levelling {
        out.extend(design::documents(results, &heading, levelling));
    }
    if plan.blocks.is_some() {
        let (table, plain) = pegs::lists(results, &heading);
        out.push(document(&heading.path("pegs.csv"), Content::Text(csv_text(&table))));
        out.push(document(&heading.path("pegs_pnezd.csv"), Content::Text(plain)));
    }
    if let Some(drains) = plan.drains {
        out.extend(sections::documents(results, &heading, drains));
    }
    if !out.is_empty() {
        out.push(document(&heading.path("READ_ME.txt"), Content::Text(read_me(results, &heading))));
    }
    out
}

fn read_me(results: &Results<'_>, heading: &Heading<'_>) -> String {
    let mut text = format!("{}Set-out of {}, {}\n", heading.mark(), results.site.name, results.plan_id);
    if heading.concept {
        let objections = heading.table.objections(results.site, results.ground);
        text.push_str("CONCEPT: for looking at and pricing. Every file name begins with CONCEPT_. Nothing may be built from these files");
        text.push_str(&if objections.is_empty() {
            ".\n".to_owned()
        } else {
            format!(":\n- {}\n", objections.join("\n- "))
        });
    }
    text.push('\n');
    for line in heading.lines() {
        text.push_str(&line);
        text.push('\n');
    }
    text.push_str(
        "\nAll lengths and heights in metres. Cut is positive, fill negative.\n\
         design_surface.xml   LandXML 1.2 triangles, points as northing easting level\n\
         design_surface.dxf   the same triangles as 3DFACE; $INSUNITS 6 (metres)\n\
         design_surface.tif   heights of the design on the working grid\n\
         pegs.csv             with a header line; benchmarks first\n\
         pegs_pnezd.csv       no header: number, northing, easting, height, code\n\
         drain_inverts.csv    bed of every drain at even stations, at bends and at drops\n\
         long_section_*.svg   the same, drawn\n\n\
         Check two benchmarks against each other before the first peg. Locate buried services before any cut.\n\
         The plan is not an engineer's certificate; local codes, permits and licensed practice decide.\n",
    );
    text
}
