//! Where drains may end, and how low.

use super::lines::Upstream;
use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Place, Problem, Problems, Severity};
use crate::grid::Raster;
use crate::land::water::{BoundaryCrossing, Outlet};
use crate::units::M2_PER_HA;
use geo::{Area, Coord, Distance, Euclidean, Point};

/// Ground looked at for the level of an outlet whose level is not given, metres around it.
const LOOK_AROUND_M: f64 = 10.0;
/// An outflow found by the program counts as an outlet from this share of the property draining to it.
const LEAST_SHARE: f64 = 0.10;
/// At most this many outlets are assumed.
const MOST_ASSUMED: usize = 5;
/// A given level this far from the ground is hardly in the same height datum, metres.
const DATUM_DOUBT_M: f64 = 5.0;
/// A given level this far above the ground leaves water standing, metres.
const ABOVE_GROUND_M: f64 = 0.1;

/// The outlets as given, else as assumed.
pub(super) fn find(
    input: &WaterInput<'_>,
    outflows: &[BoundaryCrossing],
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Outlet>, Problems> {
    if input.site.layers.outlets.is_empty() {
        return assumed(input, outflows, findings);
    }
    given(input, params, findings)
}

fn given(input: &WaterInput<'_>, params: &WaterParams, findings: &mut Vec<Finding>) -> Result<Vec<Outlet>, Problems> {
    let surveyed = &input.ground.surveyed.0;
    let mut outlets = Vec::new();
    let mut nearest_m = f64::INFINITY;
    for (id, point) in (1..).zip(&input.site.layers.outlets) {
        let place = Place::Named(point.name.clone());
        let away_m = Euclidean.distance(&Point(point.at), &input.site.boundary);
        nearest_m = nearest_m.min(away_m);
        let ground_m = lowest_ground(surveyed, point.at);
        if away_m > params.outlet_max_distance_m {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    NAME,
                    "outlet_left_out",
                    format!(
                        "Outlet {} lies {away_m:.0} m outside the boundary; limit {:.0} m. It is not used.",
                        point.name, params.outlet_max_distance_m
                    ),
                )
                .at(place),
            );
            continue;
        }
        let Some(level_m) = point.level_m.or_else(|| lowest_ground(&input.terrain.filled.0, point.at)) else {
            findings.push(
                Finding::new(
                    Severity::Severe,
                    NAME,
                    "outlet_without_level",
                    format!(
                        "Outlet {} has no level and no ground height is known there: it is not used. Survey its level.",
                        point.name
                    ),
                )
                .at(place),
            );
            continue;
        };
        let outlet = Outlet {
            id,
            name: point.name.clone(),
            at: point.at,
            level_m,
            tailwater_m: point.tailwater_m,
            assumed: point.level_m.is_none(),
        };
        check_level(&outlet, ground_m, findings);
        outlets.push(outlet);
    }
    if !outlets.is_empty() {
        return Ok(outlets);
    }
    let problem = if nearest_m > params.outlet_max_distance_m {
        Problem::data(
            "outlet_far_from_boundary",
            format!(
                "the nearest of the given outlets lies {nearest_m:.0} m outside the boundary; at most {:.0} m is allowed",
                params.outlet_max_distance_m
            ),
        )
        .hint("check the coordinate system of `site.outlet`, or raise `water.outlet_max_distance_m`")
    } else {
        Problem::data(
            "outlet_without_level",
            "no given outlet has a level, and no ground height is known at any of them",
        )
        .hint("add `level_m` to the outlets")
    };
    Err(problem.into())
}

/// Compares a level with the ground and the tailwater.
fn check_level(outlet: &Outlet, ground_m: Option<f64>, findings: &mut Vec<Finding>) {
    let mut say = |severity, code: &str, message: String| {
        findings.push(Finding::new(severity, NAME, code, message).at(Place::Named(outlet.name.clone())));
    };
    let (name, level_m) = (&outlet.name, outlet.level_m);
    if outlet.assumed {
        say(
            Severity::Warning,
            "outlet_level_assumed",
            format!(
                "Outlet {name} came without a level: the lowest ground beside it, {level_m:.2} m, is used. Survey it."
            ),
        );
    }
    if let Some(ground_m) = ground_m {
        if (level_m - ground_m).abs() > DATUM_DOUBT_M {
            say(
                Severity::Severe,
                "outlet_level_doubtful",
                format!(
                    "Outlet {name} is given at {level_m:.2} m, {:.1} m from the ground there ({ground_m:.2} m): the level is hardly in \
                     the same height datum.",
                    (level_m - ground_m).abs()
                ),
            );
        } else if level_m > ground_m + ABOVE_GROUND_M {
            say(
                Severity::Warning,
                "outlet_above_ground",
                format!(
                    "Outlet {name} is given at {level_m:.2} m, above the lowest ground there ({ground_m:.2} m): water stands below it."
                ),
            );
        }
    }
    if let Some(tailwater_m) = outlet.tailwater_m.filter(|t| *t > level_m) {
        say(
            Severity::Warning,
            "tailwater_above_outlet",
            format!(
                "Water below outlet {name} stands at {tailwater_m:.2} m in a wet week, {:.2} m above its level: drains there run back \
                 or stand full until it falls.",
                tailwater_m - level_m
            ),
        );
    }
}

/// Places where much of the property drains out as it lies.
fn assumed(
    input: &WaterInput<'_>,
    outflows: &[BoundaryCrossing],
    findings: &mut Vec<Finding>,
) -> Result<Vec<Outlet>, Problems> {
    // On the filled surface: the floor of a pit is lower, but no water leaves from it.
    let filled = &input.terrain.filled.0;
    let property_ha = input.site.boundary.unsigned_area() / M2_PER_HA;
    let mut order: Vec<&BoundaryCrossing> = outflows.iter().collect();
    order.sort_by(|a, b| b.inside_ha.total_cmp(&a.inside_ha).then(a.id.cmp(&b.id)));
    let mut outlets = Vec::new();
    for (k, crossing) in order.into_iter().take(MOST_ASSUMED).enumerate() {
        if k > 0 && crossing.inside_ha < LEAST_SHARE * property_ha {
            break;
        }
        let Some(level_m) = lowest_ground(filled, crossing.at) else { continue };
        let id = u32::try_from(outlets.len() + 1).unwrap_or(u32::MAX);
        outlets.push(Outlet {
            id,
            name: format!("assumed outlet {id}"),
            at: crossing.at,
            level_m,
            tailwater_m: None,
            assumed: true,
        });
        findings.push(
            Finding::new(
                Severity::Warning,
                NAME,
                "outlet_assumed",
                format!(
                    "Assumed outlet {id}: {:.1} ha of the property drain out here as the ground lies; level {level_m:.2} m is the lowest \
                     ground within {LOOK_AROUND_M:.0} m that water can leave over. Confirm place, level and the right to drain there.",
                    crossing.inside_ha
                ),
            )
            .at(Place::Point { east_m: crossing.at.x, north_m: crossing.at.y }),
        );
    }
    findings.push(Finding::new(
        Severity::Severe,
        NAME,
        "no_outlet_given",
        "No outlet was given: every drain level in this plan hangs on assumed outlets. Survey where water may leave, and how low.",
    ));
    if outlets.is_empty() {
        return Err(Problem::new(
            crate::finding::ProblemKind::NoDesign,
            "no_outlet",
            "no outlet was given and no water leaves the property on the ground as it lies",
        )
        .hint("give at least one outlet with its level in `site.outlet`")
        .into());
    }
    Ok(outlets)
}

/// Says what drains to each given outlet on the ground as it lies: the largest upstream area near it.
pub(super) fn report_catchments(
    input: &WaterInput<'_>,
    outlets: &[Outlet],
    upstream: &Upstream,
    findings: &mut Vec<Finding>,
) {
    let spec = input.terrain.flow.spec;
    for outlet in outlets.iter().filter(|o| !o.assumed) {
        let near = |i: &usize| {
            let at = spec.centre(spec.cell(*i));
            (at.x - outlet.at.x).hypot(at.y - outlet.at.y) <= LOOK_AROUND_M.max(spec.cell_m)
        };
        let cells = (0..spec.len()).filter(near);
        let Some(mouth) = cells.max_by(|a, b| upstream.all_ha[*a].total_cmp(&upstream.all_ha[*b]).then(b.cmp(a)))
        else {
            continue;
        };
        findings.push(
            Finding::new(
                Severity::Note,
                NAME,
                "outlet_catchment",
                format!(
                    "On the ground as it lies {:.1} ha drain to within {LOOK_AROUND_M:.0} m of outlet {}, {:.1} ha of them inside the \
                     property.",
                    upstream.all_ha[mouth], outlet.name, upstream.inside_ha[mouth]
                ),
            )
            .at(Place::Named(outlet.name.clone())),
        );
    }
}

/// The lowest height of a surface around a place.
fn lowest_ground(surface: &Raster<f32>, at: Coord<f64>) -> Option<f64> {
    let spec = surface.spec;
    let mut lowest: Option<f64> = None;
    let steps = 2.0 * (LOOK_AROUND_M / spec.cell_m).ceil().max(1.0);
    let step_m = 2.0 * LOOK_AROUND_M / steps;
    let mut north_m = -LOOK_AROUND_M;
    while north_m <= LOOK_AROUND_M + 1e-9 {
        let mut east_m = -LOOK_AROUND_M;
        while east_m <= LOOK_AROUND_M + 1e-9 {
            if east_m.hypot(north_m) <= LOOK_AROUND_M
                && let Some(z) = surface.at(Coord { x: at.x + east_m, y: at.y + north_m })
            {
                lowest = Some(lowest.map_or(f64::from(z), |l| l.min(f64::from(z))));
            }
            east_m += step_m;
        }
        north_m += step_m;
    }
    lowest
}
