//! Faults in the data: each small file of `fixtures/bad` in place of a sound one. What the user is told is a snapshot;
//! the exit code and a word that must be there are asserted beside it.

use crate::program::{root, rowfall, told, with_plan};
use rowfall::pipeline::starter::{Starter, starter_text};

/// What happens with one fault.
struct Case {
    /// Name, also of the snapshot.
    name: &'static str,
    /// Boundary, below `fixtures/bad`.
    boundary: &'static str,
    /// Elevation, below `fixtures/bad`.
    elevation: &'static str,
    /// Exit code: 0 for what is converted with a finding, 3 for what is refused.
    exit: i32,
    /// A word the message must hold.
    says: &'static str,
}

const fn boundary(name: &'static str, boundary: &'static str, exit: i32, says: &'static str) -> Case {
    Case { name, boundary, elevation: "base/ground.tif", exit, says }
}

const fn ground(name: &'static str, elevation: &'static str, exit: i32, says: &'static str) -> Case {
    Case { name, boundary: "base/boundary.geojson", elevation, exit, says }
}

const CASES: &[Case] = &[
    boundary("sound", "base/boundary.geojson", 0, "no problems"),
    ground("sound_vrt", "base/ground.vrt", 0, "no problems"),
    boundary("missing_boundary", "no-such.geojson", 3, "no-such.geojson"),
    boundary("boundary_of_lines", "lines.geojson", 3, "not an area"),
    boundary("empty_boundary", "empty.geojson", 3, "empty.geojson"),
    boundary("swapped_axes", "swapped_axes.geojson", 3, "longitude before latitude"),
    boundary("boundary_without_crs", "no_prj/boundary.shp", 3, "coordinate"),
    ground("missing_elevation", "no-such.tif", 3, "no-such.tif"),
    ground("not_a_raster", "not_a_raster.tif", 3, "not_a_raster.tif"),
    ground("raster_without_crs", "no_crs.tif", 3, "coordinate"),
    ground("vrt_leaves_its_folder", "vrt/leaves_folder.vrt", 3, "folder"),
    ground("vrt_asks_the_network", "vrt/asks_network.vrt", 3, "network"),
    ground("degrees", "geographic.tif", 0, "brought onto square cells"),
    ground("rotated", "rotated.tif", 0, "rotated"),
    ground("not_square", "not_square.tif", 0, "square"),
    ground("feet", "feet.tif", 0, "feet"),
    ground("us_survey_feet", "us_survey_feet.tif", 0, "feet"),
    Case {
        name: "unit_of_heights_not_known",
        boundary: "feet_plan/boundary.geojson",
        elevation: "feet_plan/ground.tif",
        exit: 3,
        says: "unit",
    },
];

/// Faults that only the survey stage sees: these need a run.
const RUN_CASES: &[Case] = &[
    boundary("bow_tie", "bow_tie.geojson", 3, "cross"),
    boundary("partly_off_ground", "partly_off_ground.geojson", 3, "m"),
    boundary("off_ground", "off_ground.geojson", 3, "ground"),
    boundary("too_small", "too_small.geojson", 3, "0.5"),
    boundary("overlapping_parcels", "overlapping_parcels.geojson", 3, "overlap"),
    ground("large_hole", "large_hole.tif", 3, "no heights on"),
    boundary("tiny_crossing", "tiny_crossing.geojson", 0, "repaired"),
    ground("small_hole", "small_hole.tif", 0, "filled"),
    ground("absurd_heights", "absurd_heights.tif", 3, "no ground has"),
];

fn tell(case: &Case, command: &str, stages: &[&'static str]) -> (Option<i32>, String) {
    let bad = root().join("fixtures/bad");
    let text = starter_text(&Starter {
        site: vec![
            ("name", case.name.to_owned()),
            ("boundary", bad.join(case.boundary).display().to_string()),
            ("elevation", bad.join(case.elevation).display().to_string()),
        ],
        stages: stages.to_vec(),
        ..Starter::default()
    });
    let (folder, _) = with_plan(&text);
    let flags: &[&str] = if command == "run" { &["run", "plan.toml", "--json"] } else { &[command, "plan.toml"] };
    let output = rowfall(folder.path(), flags);
    let run = folder.path().join("run");
    if output.status.code() != Some(0) {
        assert!(!run.exists(), "{}: nothing is half-written", case.name);
    }
    (output.status.code(), told(folder.path(), &output))
}

fn hold(cases: &[Case], command: &str, stages: &[&'static str]) {
    let mut broken = Vec::new();
    for case in cases {
        let (code, text) = tell(case, command, stages);
        if code != Some(case.exit) || !text.to_lowercase().contains(&case.says.to_lowercase()) {
            broken.push(format!("{}: wanted exit code {} and `{}`, got\n{text}", case.name, case.exit, case.says));
            continue;
        }
        // Times and digests differ from run to run and release to release; they are not what is held here.
        insta::with_settings!({ filters => vec![
            (r#""wall_s": [0-9.e-]+"#, r#""wall_s": "[TIME]""#),
            (r#""peak_memory_mb": [0-9.]+"#, r#""peak_memory_mb": "[MEMORY]""#),
            (r#""digest": "[^"]+""#, r#""digest": "[DIGEST]""#),
        ] }, { insta::assert_snapshot!(format!("{command}_{}", case.name), text); });
    }
    assert!(broken.is_empty(), "{}", broken.join("\n\n"));
}

#[test]
fn faults_the_readers_see() {
    hold(CASES, "check", &["survey", "terrain"]);
}

#[test]
fn faults_the_survey_sees() {
    hold(RUN_CASES, "run", &["survey", "terrain"]);
}
