//! Where drains meet tracks, power lines and buried services, and what that needs.

use super::params::DrainsParams;
use crate::land::blocks::PlannedTrack;
use crate::land::drains::{Crossing, Drain};
use crate::land::site::{BuriedService, Culvert, Site};
use crate::methods::hydraulics::culvert_discharge_m3_s;
use geo::line_intersection::line_intersection;
use geo::{Coord, Distance, Euclidean, Line, LineIntersection, Point};

/// Diameters culverts are made in, millimetres.
const DIAMETERS_MM: [f64; 13] =
    [225.0, 300.0, 375.0, 450.0, 525.0, 600.0, 675.0, 750.0, 900.0, 1_050.0, 1_200.0, 1_500.0, 1_800.0];
/// Manning's n of a concrete pipe (Chow 1959, table 5-6).
const PIPE_N: f64 = 0.013;
/// Entrance loss of a square-edged headwall (FHWA HDS-5).
const ENTRANCE_LOSS: f64 = 0.5;
/// Width of a track where it is not given, metres.
const TRACK_M: f64 = 6.0;
/// Two meetings of one drain with one thing closer than this are one crossing, metres.
const ONE_PLACE_M: f64 = 10.0;

/// All crossings, by drain and then along it.
#[must_use]
pub fn crossings(site: &Site, planned: &[PlannedTrack], drains: &[Drain], p: &DrainsParams) -> Vec<Crossing> {
    let mut found: Vec<Crossing> = Vec::new();
    for drain in drains {
        for track in &site.layers.tracks {
            let name = if track.name.is_empty() { "a track".to_owned() } else { format!("track {}", track.name) };
            let line = &track.line.0;
            track_crossings(drain, line, track.width_m.unwrap_or(TRACK_M), &name, &site.layers.culverts, p, &mut found);
        }
        for track in planned {
            let name = format!("new track {}", track.id);
            track_crossings(drain, &track.line.0, track.width_m, &name, &site.layers.culverts, p, &mut found);
        }
        for power in &site.layers.power_lines {
            for (at, _) in meetings(drain, &power.line.0) {
                let height =
                    power.clearance_m.map_or("its height is not known".to_owned(), |h| format!("lowest wire {h:.1} m"));
                let needs = format!(
                    "overhead power line, {height}: keep machines, booms and tipping bodies outside the exclusion zone of the \
                     network owner, work with a spotter, ask the owner before digging near poles and stays"
                );
                push(&mut found, at, drain.id, "power line".to_owned(), needs, None);
            }
        }
        for service in &site.layers.buried_services {
            for (at, depth_m) in meetings(drain, &service.line.0) {
                push(&mut found, at, drain.id, service.kind.clone(), service_needs(service, depth_m), None);
            }
        }
    }
    for (i, crossing) in found.iter_mut().enumerate() {
        crossing.id = u32::try_from(i + 1).unwrap_or(u32::MAX);
    }
    found
}

fn push(out: &mut Vec<Crossing>, at: Coord<f64>, drain: u32, crosses: String, needs: String, culvert_mm: Option<f64>) {
    let near = |c: &Crossing| (c.at.x - at.x).hypot(c.at.y - at.y) < ONE_PLACE_M;
    if !out.iter().any(|c| c.drain == drain && c.crosses == crosses && near(c)) {
        out.push(Crossing { id: 0, at, drain, crosses, needs, culvert_mm });
    }
}

fn track_crossings(
    drain: &Drain,
    line: &[Coord<f64>],
    width_m: f64,
    name: &str,
    mapped: &[Culvert],
    p: &DrainsParams,
    out: &mut Vec<Crossing>,
) {
    for (at, _) in meetings(drain, line) {
        // Ends of the pipe stand clear of the track's edges by the drain's own depth on either side.
        let length_m = width_m + 4.0 * drain.section.depth_m;
        let (diameter_mm, count) = culvert(drain.rational_m3_s, length_m, p);
        let pipes = if count > 1 {
            format!("{count} culverts of {diameter_mm:.0} mm")
        } else {
            format!("culvert {diameter_mm:.0} mm")
        };
        let ford = if drain.section.depth_m <= p.spoon_depth_m { ", or a bed-level ford of rock" } else { "" };
        let there = mapped.iter().find(|c| Euclidean.distance(&Point(at), &c.line) < ONE_PLACE_M);
        let there = there.map_or_else(String::new, |c| {
            format!("; the mapped culvert {} is there: see whether it passes that", c.name)
        });
        let needs = format!("{pipes}, {length_m:.0} m long, for {:.2} m3/s{ford}{there}", drain.rational_m3_s);
        push(out, at, drain.id, name.to_owned(), needs, Some(diameter_mm));
    }
}

/// What a pipe passes with the allowed rise of water, m3/s.
#[must_use]
pub fn passes_m3_s(diameter_mm: f64, length_m: f64, p: &DrainsParams) -> f64 {
    culvert_discharge_m3_s(diameter_mm / 1_000.0, length_m, PIPE_N, ENTRANCE_LOSS, p.culvert_head_m)
}

/// Smallest diameter (mm) and number of pipes that pass a discharge with the allowed rise of water.
#[must_use]
pub fn culvert(discharge_m3_s: f64, length_m: f64, p: &DrainsParams) -> (f64, u32) {
    let carries = |mm: f64| passes_m3_s(mm, length_m, p);
    let allowed = || DIAMETERS_MM.into_iter().filter(|mm| *mm >= p.culvert_least_mm);
    if let Some(mm) = allowed().find(|mm| carries(*mm) >= discharge_m3_s) {
        return (mm, 1);
    }
    let largest = allowed().next_back().unwrap_or(p.culvert_least_mm);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of pipes, capped")]
    let count = (discharge_m3_s / carries(largest)).ceil().clamp(1.0, 1e6) as u32;
    (largest, count)
}

fn service_needs(service: &BuriedService, depth_m: f64) -> String {
    let clearance = match service.cover_m {
        Some(cover) if cover <= depth_m => {
            format!(
                "the drain is {depth_m:.2} m deep and the {} has {cover:.2} m of cover: it must be lowered, piped over or the drain moved",
                service.kind
            )
        }
        Some(cover) => format!("{:.2} m of soil stays between the drain bed and the {}", cover - depth_m, service.kind),
        None => format!("the cover of the {} is not known", service.kind),
    };
    format!("{clearance}; have it located and exposed by hand or vacuum before digging, with the owner's consent")
}

/// Where a drain meets a line, with the depth of the drain there, in order along the drain.
fn meetings(drain: &Drain, line: &[Coord<f64>]) -> Vec<(Coord<f64>, f64)> {
    let mut all = Vec::new();
    for pair in drain.stations.windows(2) {
        let reach = Line::new(pair[0].at, pair[1].at);
        for other in line.windows(2) {
            if let Some(LineIntersection::SinglePoint { intersection, .. }) =
                line_intersection(reach, Line::new(other[0], other[1]))
            {
                let depth = |i: usize| pair[i].ground_m - pair[i].invert_m;
                all.push((intersection, depth(0).max(depth(1))));
            }
        }
    }
    all
}
