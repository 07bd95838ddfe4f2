//! Depressions of the concept surface, and banks the flow is let through.

use super::{NAME, TerrainInput, TerrainParams};
use crate::finding::{Finding, Place, Severity};
use crate::grid::{Cell, Raster};
use crate::land::site::Culvert;
use crate::land::terrain::{DepressionRecord, OpenedBank};
use crate::methods::flow::{Breach, BreachLimits, Depression, Pipe, breach, depressions, fill, open_pipe};
use geo::{Intersects, LineString};

/// What was found.
pub(super) struct Hollows {
    /// The concept surface, mapped culverts open and no other bank, filled.
    pub filled: Raster<f32>,
    /// Depressions that reach into the property, largest depth times area first.
    pub depressions: Vec<DepressionRecord>,
    /// The surface with further banks opened, when any were.
    pub opened: Option<Raster<f32>>,
    /// The banks, mapped culverts first.
    pub banks: Vec<OpenedBank>,
}

/// Lists the depressions, and lets the flow through banks when the parameters ask for it.
pub(super) fn find(
    input: &TerrainInput<'_>,
    inside: &[bool],
    params: &TerrainParams,
    findings: &mut Vec<Finding>,
) -> Hollows {
    let mut surface = input.ground.concept.0.clone();
    let mut banks = open_culverts(&mut surface, &input.site.layers.culverts, params, findings);
    let filled = fill(&surface);
    let least_m = params.depression_min_depth_m.max(input.ground.accuracy.band_95_m());
    let tree = depressions(&surface, &filled, least_m, params.depression_min_area_m2);
    let (opened, supposed) = open_banks(&surface, &tree, params);
    banks.extend(supposed);
    Hollows { depressions: records(&surface, &tree, inside), filled, opened, banks }
}

/// Opens the ground along the mapped culverts, and tells of those that could not be.
fn open_culverts(
    surface: &mut Raster<f32>,
    culverts: &[Culvert],
    params: &TerrainParams,
    findings: &mut Vec<Finding>,
) -> Vec<OpenedBank> {
    let mut banks = Vec::new();
    let extent = surface.spec.extent();
    let near = |c: &&Culvert| c.line.coords().any(|at| extent.intersects(at));
    for culvert in culverts.iter().filter(near) {
        let pipe = Pipe { line: &culvert.line, levels_m: [culvert.upper_level_m, culvert.lower_level_m] };
        match open_pipe(surface, &pipe, params.culvert_reach_m) {
            Some(cut) => banks.push(OpenedBank {
                culvert: Some(culvert.name.clone()),
                diameter_m: culvert.diameter_m,
                ..bank(surface, cut)
            }),
            None => findings.push(
                Finding::new(
                    Severity::Warning,
                    NAME,
                    "culvert_not_opened",
                    format!(
                        "The mapped culvert {} has no surveyed ground within {:.0} m of both its ends; the bank above it holds \
                         water back in this plan.",
                        culvert.name, params.culvert_reach_m
                    ),
                )
                .at(end_of(&culvert.line)),
            ),
        }
    }
    banks
}

fn bank(surface: &Raster<f32>, cut: Breach) -> OpenedBank {
    OpenedBank {
        culvert: None,
        diameter_m: None,
        line: LineString(cut.cells.iter().map(|c| surface.spec.centre(*c)).collect()),
        length_m: cut.length_m,
        depth_m: cut.depth_m,
        catchment_ha: 0.0,
    }
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
    let banks: Vec<OpenedBank> = cuts.into_iter().map(|cut| bank(concept, cut)).collect();
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

/// Gives each bank the land that drains through it: the most upstream area on its way, its lower end left out.
pub(super) fn catchments(banks: &mut [OpenedBank], upstream_ha: &Raster<f32>) {
    for bank in banks {
        let way = &bank.line.0[..bank.line.0.len() - 1];
        let most = way.iter().filter_map(|at| upstream_ha.at(*at)).fold(0.0, f32::max);
        bank.catchment_ha = f64::from(most);
    }
}

/// Says which culverts the flow takes, and where one was supposed.
pub(super) fn report(banks: &[OpenedBank], findings: &mut Vec<Finding>) {
    let (mapped, supposed): (Vec<_>, Vec<_>) = banks.iter().partition(|b| b.culvert.is_some());
    let most = mapped.iter().max_by(|a, b| a.catchment_ha.total_cmp(&b.catchment_ha));
    if let Some((bank, name)) = most.and_then(|b| Some((b, b.culvert.as_ref()?))) {
        let size = bank.diameter_m.map_or_else(String::new, |d| format!(" ({:.0} mm)", d * 1000.0));
        let words = format!(
            "Mapped culverts the flow takes: {}. {name}{size} drains the most land, {:.1} ha. Whether each is clear is for a \
             look on the ground; their size is compared with the design rain where drains are planned.",
            mapped.len(),
            bank.catchment_ha
        );
        findings.push(Finding::new(Severity::Note, NAME, "culverts_opened", words).at(end_of(&bank.line)));
    }
    if let Some(bank) = supposed.iter().max_by(|a, b| a.depth_m.total_cmp(&b.depth_m)) {
        let words = format!(
            "Banks the flow was let through as though culverts were there: {} (the deepest {:.2} m deep, {:.0} m long). Look at \
             each on the ground: where there is none, water stands behind the bank.",
            supposed.len(),
            bank.depth_m,
            bank.length_m
        );
        findings.push(Finding::new(Severity::Warning, NAME, "banks_opened", words).at(end_of(&bank.line)));
    }
}

fn end_of(line: &LineString<f64>) -> Place {
    let at = line.0[line.0.len() - 1];
    Place::Point { east_m: at.x, north_m: at.y }
}
