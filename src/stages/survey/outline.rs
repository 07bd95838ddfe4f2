//! Outlines of parcels: mended, sized and checked against each other.

use super::NAME;
use crate::finding::{Finding, Place, Problem, Problems, Severity};
use crate::land::site::Parcel;
use crate::methods::shapes::{RepairError, intersection, repair, union_all};
use crate::units::M2_PER_HA;
use geo::{Area, BoundingRect, InteriorPoint, MultiPolygon};

/// Smallest and largest property the program is made for, hectares.
const AREA_LIMITS_HA: (f64, f64) = (0.5, 50_000.0);
/// Overlaps of parcels below both of these are drawing error: share of the smaller parcel, and square metres.
const OVERLAP_RATIO: f64 = 0.001;
const OVERLAP_M2: f64 = 100.0;
/// Pieces and holes of a joined boundary below this are rounding, square metres.
const CRUMB_M2: f64 = 1.0;

/// The parcels as they are used, and the union of them; empty where a problem was added.
pub(super) fn check_parcels(
    raw: &[(String, MultiPolygon<f64>)],
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> (Vec<Parcel>, MultiPolygon<f64>) {
    let mut parcels = Vec::new();
    for (i, (name, outline)) in raw.iter().enumerate() {
        let id = u32::try_from(i + 1).unwrap_or(u32::MAX);
        let name = if name.trim().is_empty() { format!("Parcel {id}") } else { name.clone() };
        if let Some(outline) = mend(&name, outline, findings, problems) {
            parcels.push(Parcel { id, name, outline });
        }
    }
    if raw.is_empty() {
        problems.push(
            Problem::data("boundary_empty", "the boundary holds no polygon")
                .hint("name a layer that holds at least one closed outline"),
        );
    }
    check_overlaps(&parcels, problems);
    let boundary = union_all(parcels.iter().flat_map(|p| &p.outline.0), CRUMB_M2);
    if parcels.len() == raw.len() && !raw.is_empty() {
        check_size(&boundary, problems);
    }
    (parcels, boundary)
}

/// A valid outline of one parcel.
fn mend(
    name: &str,
    outline: &MultiPolygon<f64>,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<MultiPolygon<f64>> {
    let mut pieces = Vec::new();
    let before = problems.0.len();
    for polygon in &outline.0 {
        match repair(polygon) {
            Ok(repaired) => {
                if let Some(note) = &repaired.note {
                    findings.push(
                        Finding::new(
                            Severity::Warning,
                            NAME,
                            "boundary_repaired",
                            format!(
                                "The outline of {name} was not valid and was mended: {note}; its area changed by {:.0} m2. \
                                 Check it on the map.",
                                repaired.changed_area_m2
                            ),
                        )
                        .at(Place::Named(name.to_owned())),
                    );
                }
                pieces.extend(repaired.polygons.0);
            }
            Err(error) => problems.push(outline_problem(name, &error)),
        }
    }
    if outline.0.is_empty() {
        problems.push(Problem::data("boundary_empty", format!("parcel `{name}` has no outline")));
    }
    (problems.0.len() == before).then(|| union_all(&pieces, CRUMB_M2))
}

fn outline_problem(name: &str, error: &RepairError) -> Problem {
    match error {
        RepairError::Ambiguous { crossings, .. } => {
            let places: Vec<String> = crossings.iter().take(3).map(|c| format!("E {:.1} N {:.1}", c.x, c.y)).collect();
            Problem::data(
                "boundary_crosses_itself",
                format!(
                    "the outline of `{name}` crosses itself at {} and could mean several shapes",
                    places.join(", ")
                ),
            )
            .hint("redraw the outline there, or draw the parts as parcels of their own")
        }
        RepairError::NoArea { .. } => Problem::data("boundary_without_area", format!("parcel `{name}`: {error}")),
        RepairError::NotFinite { .. } => Problem::data("boundary_not_finite", format!("parcel `{name}`: {error}")),
    }
}

fn check_overlaps(parcels: &[Parcel], problems: &mut Problems) {
    for (i, a) in parcels.iter().enumerate() {
        for b in &parcels[i + 1..] {
            let (Some(ra), Some(rb)) = (a.outline.bounding_rect(), b.outline.bounding_rect()) else { continue };
            let apart = ra.max().x < rb.min().x
                || rb.max().x < ra.min().x
                || ra.max().y < rb.min().y
                || rb.max().y < ra.min().y;
            if apart {
                continue;
            }
            let common = intersection(&a.outline, &b.outline, 0.0);
            let (area_m2, smaller_m2) =
                (common.unsigned_area(), a.outline.unsigned_area().min(b.outline.unsigned_area()));
            let limit_m2 = OVERLAP_M2.min(OVERLAP_RATIO * smaller_m2);
            if area_m2 <= limit_m2 {
                continue;
            }
            let at = common.interior_point().map_or(String::new(), |p| format!(" near E {:.0} N {:.0}", p.x(), p.y()));
            problems.push(
                Problem::data(
                    "parcels_overlap",
                    format!(
                        "parcels `{}` and `{}` overlap by {area_m2:.0} m2{at}; at most {limit_m2:.0} m2 is taken for drawing error",
                        a.name, b.name
                    ),
                )
                .hint("cut the shared land out of one of them, or join them into one parcel"),
            );
        }
    }
}

fn check_size(boundary: &MultiPolygon<f64>, problems: &mut Problems) {
    let area_ha = boundary.unsigned_area() / M2_PER_HA;
    let (least, most) = AREA_LIMITS_HA;
    if area_ha < least {
        problems.push(
            Problem::data(
                "boundary_too_small",
                format!("the boundary holds {area_ha:.3} ha; at least {least} ha is needed"),
            )
            .hint("check the coordinate system and units of the boundary file"),
        );
    } else if area_ha > most {
        problems.push(
            Problem::data(
                "boundary_too_large",
                format!("the boundary holds {area_ha:.0} ha; at most {most:.0} ha is possible in one run"),
            )
            .hint("check the coordinate system of the boundary file, or run the parts one by one"),
        );
    }
}
