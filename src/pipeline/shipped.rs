//! The pipeline files that come with the program, written by the same hand as `init`.

use super::starter::{Starter, starter_text};
use crate::stages::STAGES;

/// A shipped pipeline file: its name in `pipelines/` and its text.
#[must_use]
pub fn shipped() -> Vec<(&'static str, String)> {
    vec![
        ("first-cut.toml", starter_text(&first_cut())),
        ("grant-maps.toml", starter_text(&grant_maps())),
        ("guidance.toml", starter_text(&guidance())),
    ]
}

/// Every stage, for a newly bought property.
fn first_cut() -> Starter<'static> {
    Starter {
        purpose: "A newly bought property: everything from the lie of the land to the cash flow, three options side by \
                  side. Copy this file beside your own data and change `[site]`.",
        site: site(DEMO_LAYERS),
        given: Vec::new(),
        stages: STAGES.iter().map(|s| s.info.name).collect(),
        set_out_concept: Some(true),
        options: true,
        schema_path: Some(SCHEMA.to_owned()),
    }
}

/// Maps, works by item and before/after tables for a funding or permit application: one plan.
fn grant_maps() -> Starter<'static> {
    Starter {
        purpose: "Maps, works with their budget by item, and before/after tables for a funding or permit application \
                  (grant_pages.pdf, maps/). One plan, no options. Copy this file beside your own data and change `[site]`.",
        site: site(DEMO_LAYERS),
        given: Vec::new(),
        stages: vec![
            "survey",
            "terrain",
            "water",
            "blocks",
            "levelling",
            "drains",
            "clearing",
            "erosion",
            "program",
            "costing",
        ],
        set_out_concept: None,
        options: false,
        schema_path: Some(SCHEMA.to_owned()),
    }
}

/// Guidance lines from blocks a surveyor has drawn; no ground is read, so falls are not known.
fn guidance() -> Starter<'static> {
    let mut starter = Starter {
        purpose: "Guidance lines only, from blocks that are drawn already (here: the boundary itself). No \
                  heights are read, so falls are not known. Copy this file beside your own data, then change `[site]` \
                  and `[given]`.",
        site: site(&[]),
        given: vec![("blocks", "../demo-data/boundary.geojson".to_owned())],
        stages: vec!["survey", "blocks", "guidance"],
        set_out_concept: None,
        options: false,
        schema_path: Some(SCHEMA.to_owned()),
    };
    starter.site.retain(|(key, _)| *key != "elevation");
    starter
}

const SCHEMA: &str = "./rowfall.schema.json";

/// Layers of the demo property that bear the name of their key.
const DEMO_LAYERS: &[&str] = &[
    "waterway",
    "keep_area",
    "power_line",
    "track",
    "old_tree_row",
    "outlet",
    "topsoil",
    "control_point",
    "buried_service",
    "loading_place",
];

fn site(layers: &[&'static str]) -> Vec<(&'static str, String)> {
    let mut site = vec![
        ("name", "Marlowen Flat".to_owned()),
        ("boundary", "../demo-data/boundary.geojson".to_owned()),
        ("parcel_name", "name".to_owned()),
        ("elevation", "../demo-data/ground.tif".to_owned()),
    ];
    site.push(("data_note", "Invented demonstration data, part of the program and under its licence.".to_owned()));
    site.extend(layers.iter().map(|layer| (*layer, format!("../demo-data/site.gpkg#{layer}"))));
    site
}
