//! Depressions of the concept surface, and banks the flow is let through.

use super::{NAME, TerrainInput, TerrainParams};
use crate::finding::{Finding, Place, Severity};
use crate::grid::{Cell, Raster};
use crate::land::terrain::{DepressionRecord, OpenedBank};
use crate::methods::flow::{BreachLimits, Depression, breach, depressions, fill};
use geo::LineString;

/// What was found.
pub(super) struct Hollows {
    /// The concept surface filled, no bank opened.
    pub filled: Raster<f32>,
    /// Depressions that reach into the property, largest depth times area first.
    pub depressions: Vec<DepressionRecord>,
    /// The surface with banks opened, when any were.
    pub opened: Option<Raster<f32>>,
    /// The banks.
    pub banks: Vec<OpenedBank>,
}

/// Lists the depressions, and lets the flow through banks when the parameters ask for it.
pub(super) fn find(input: &TerrainInput<'_>, inside: &[bool], params: &TerrainParams) -> Hollows {
    let concept = &input.ground.concept.0;
    let filled = fill(concept);
    let least_m = params.depression_min_depth_m.max(input.ground.accuracy.band_95_m());
    let tree = depressions(concept, &filled, least_m, params.depression_min_area_m2);
    let (opened, banks) = open_banks(concept, &tree, params);
    Hollows { depressions: records(concept, &tree, inside), filled, opened, banks }
}

fn open_banks(
    concept: &Raster<f32>,
    tree: &[Depression],
    params: &TerrainParams,
) -> (Option<Raster<f32>>, Vec<OpenedBank>) {
    if params.bank_opened_length_m <= 0.0 {
        return (None, Vec::new());
    }
    let deep = tree.iter().filter(|d| d.depth_m >= params.bank_held_depth_m);
    let mut floors: Vec<Cell> = deep.map(|d| d.floor).collect();
    floors.sort_unstable();
    floors.dedup();
    let limits = BreachLimits { length_m: params.bank_opened_length_m, depth_m: params.bank_opened_depth_m };
    let (surface, cuts) = breach(concept, &floors, limits);
    let banks: Vec<OpenedBank> = cuts
        .into_iter()
        .map(|cut| OpenedBank {
            line: LineString(cut.cells.iter().map(|c| concept.spec.centre(*c)).collect()),
            length_m: cut.length_m,
            depth_m: cut.depth_m,
        })
        .collect();
    (if banks.is_empty() { None } else { Some(surface) }, banks)
}

/// Those whose floor or pour point lies inside the property, with the larger ones around them, numbered by size.
fn records(concept: &Raster<f32>, tree: &[Depression], inside: &[bool]) -> Vec<DepressionRecord> {
    let spec = concept.spec;
    let mut kept: Vec<bool> = tree.iter().map(|d| inside[spec.index(d.floor)] || inside[spec.index(d.pour)]).collect();
    // Parts stand before the whole, so one pass carries "kept" all the way up.
    for k in 0..tree.len() {
        if let Some(whole) = tree[k].parent.filter(|_| kept[k]) {
            kept[whole as usize] = true;
        }
    }
    let mut order: Vec<usize> = (0..tree.len()).filter(|k| kept[*k]).collect();
    let size = |k: usize| tree[k].depth_m * tree[k].area_m2;
    order.sort_by(|a, b| size(*b).total_cmp(&size(*a)).then(a.cmp(b)));
    let mut id = vec![0_u32; tree.len()];
    for (number, k) in (1..).zip(&order) {
        id[*k] = number;
    }
    let record = |k: &usize| {
        let d = &tree[*k];
        DepressionRecord {
            id: id[*k],
            within: d.parent.map(|p| id[p as usize]),
            floor: spec.centre(d.floor),
            pour_point: spec.centre(d.pour),
            spill_level_m: d.spill_m,
            max_depth_m: d.depth_m,
            area_m2: d.area_m2,
            volume_m3: d.volume_m3,
        }
    };
    order.iter().map(record).collect()
}

/// Says where a culvert was supposed.
pub(super) fn report(banks: &[OpenedBank], findings: &mut Vec<Finding>) {
    let deepest = banks.iter().max_by(|a, b| a.depth_m.total_cmp(&b.depth_m));
    let Some((bank, at)) = deepest.and_then(|b| b.line.0.last().map(|at| (b, *at))) else { return };
    findings.push(
        Finding::new(
            Severity::Warning,
            NAME,
            "banks_opened",
            format!(
                "The flow was let through {} banks as though culverts were there (the deepest {:.2} m deep, {:.0} m long). Look at \
                 each on the ground: where there is none, water stands behind the bank.",
                banks.len(),
                bank.depth_m,
                bank.length_m
            ),
        )
        .at(Place::Point { east_m: at.x, north_m: at.y }),
    );
}
