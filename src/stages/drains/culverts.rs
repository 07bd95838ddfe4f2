//! Mapped pipes beside what they have to pass: the peak of the design rain on the land as it is and after the works.

use super::crossing::{culvert, passes_m3_s};
use super::outflow::{Here, LongestWays, Works, change, gathered};
use super::params::DrainsParams;
use crate::finding::{Finding, Place, Severity};
use crate::land::drains::CulvertCheck;
use crate::land::terrain::OpenedBank;
use crate::methods::flow::catchment_of;
use crate::stages::drains::DrainsInput;
use geo::{Coord, Distance, Euclidean, Line};

/// A drain that comes this near to a pipe runs through it, metres.
const THROUGH_M: f64 = 4.0;

/// One check a mapped pipe the flow takes.
pub fn checks(input: &DrainsInput<'_>, works: &Works<'_>, p: &DrainsParams) -> Vec<CulvertCheck> {
    let mapped: Vec<&OpenedBank> = input.terrain.opened_banks.iter().filter(|b| b.culvert.is_some()).collect();
    if mapped.is_empty() {
        return Vec::new();
    }
    let ways = LongestWays::of(input);
    mapped.into_iter().filter_map(|bank| check(input, works, &ways, bank, p)).collect()
}

fn check(
    input: &DrainsInput<'_>,
    works: &Works<'_>,
    ways: &LongestWays<'_>,
    bank: &OpenedBank,
    p: &DrainsParams,
) -> Option<CulvertCheck> {
    let (flow, upstream) = (&input.terrain.flow, &input.terrain.accumulation.0);
    // Its catchment is read where most land drains, the lower end left out: other water joins there.
    let way = &bank.line.0[..bank.line.0.len() - 1];
    let gathers = |at: &Coord<f64>| upstream.at(*at).unwrap_or(0.0);
    let mouth = way.iter().copied().max_by(|a, b| gathers(a).total_cmp(&gathers(b)))?;
    let cell = flow.spec.cell_at(mouth)?;
    let above = catchment_of(flow, flow.spec.index(cell));
    let before_min = ways.travel_min(mouth, bank.catchment_ha).max(p.least_travel_min);
    let name = bank.culvert.clone().unwrap_or_default();
    let here = Here { name, at: way[0], above: &above, before_ha: bank.catchment_ha, before_min };
    let above_it = |at: Coord<f64>| flow.spec.cell_at(at).is_some_and(|c| above[flow.spec.index(c)]);
    let through = |node: usize| {
        let nodes = &works.net.nodes;
        let mut at = node;
        while let Some(down) = nodes[at].down {
            if Euclidean.distance(&Line::new(nodes[at].at, nodes[down].at), &bank.line) <= THROUGH_M {
                return Some(works.loads.travel_min[at]);
            }
            at = down;
        }
        above_it(nodes[at].at).then(|| works.loads.travel_min[at])
    };
    let told = change(gathered(input, works, here, through), works.rain, p);
    let mut check = CulvertCheck {
        name: told.name,
        at: told.at,
        length_m: bank.length_m,
        diameter_m: bank.diameter_m,
        catchment_ha: told.catchment_ha,
        peak_m3_s: told.peak_m3_s,
        passes_m3_s: bank.diameter_m.map(|d| passes_m3_s(1_000.0 * d, bank.length_m, p)),
        needs: (0.0, 0),
    };
    check.needs = culvert(check.peak(), bank.length_m, p);
    Some(check)
}

/// Pipes too small, pipes of unknown size, and those that carry what comes.
pub fn findings(checks: &[CulvertCheck], p: &DrainsParams) -> Vec<Finding> {
    let mut all = Vec::new();
    let mut carrying = Vec::new();
    for c in checks {
        let comes = format!(
            "at the design rain {:.2} m3/s come to it today ({:.1} ha) and {:.2} m3/s after the works ({:.1} ha)",
            c.peak_m3_s.0, c.catchment_ha.0, c.peak_m3_s.1, c.catchment_ha.1
        );
        let needs = match c.needs {
            (mm, 1) => format!("{mm:.0} mm"),
            (mm, pipes) => format!("{pipes} pipes of {mm:.0} mm"),
        };
        let (severity, code, text) = match (c.carries(), c.passes_m3_s) {
            (Some(true), _) => {
                carrying.push(c.name.as_str());
                continue;
            }
            (Some(false), Some(passes)) => (
                Severity::Warning,
                "culvert_small",
                format!(
                    "The mapped culvert {} passes {passes:.2} m3/s with {:.2} m of rise; {comes}. It would take {needs}. Water \
                     stands above it or goes over the bank: have its owner and a drainage engineer decide before it is sent more.",
                    c.name, p.culvert_head_m
                ),
            ),
            _ => (
                // What is sent more than today must be known to pass.
                if c.peak_m3_s.1 > c.peak_m3_s.0 { Severity::Warning } else { Severity::Note },
                "culvert_size_unknown",
                format!(
                    "The size of the mapped culvert {} is not known; {comes}: {needs} would pass it. Measure it.",
                    c.name
                ),
            ),
        };
        let place = Place::Point { east_m: c.at.x, north_m: c.at.y };
        all.push(Finding::new(severity, "drains", code, text).at(place));
    }
    if !carrying.is_empty() {
        let text = format!(
            "Mapped culverts that pass the peak of the design rain before and after the works, full and with {:.2} m of rise: {}. \
             Look whether they are clear and sound.",
            p.culvert_head_m,
            carrying.join(", ")
        );
        all.push(Finding::new(Severity::Note, "drains", "culverts_carry", text));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::land::drains::DrainsTo;
    use crate::stages::drains::test_farm::Farm;
    use geo::LineString;

    fn bank(name: &str, from: Coord<f64>, to: Coord<f64>, diameter_m: Option<f64>, catchment_ha: f64) -> OpenedBank {
        let line = LineString(vec![from, to]);
        OpenedBank { culvert: Some(name.to_owned()), diameter_m, line, length_m: 12.0, depth_m: 0.5, catchment_ha }
    }

    /// A pipe in the middle of the land loses what the rows lead away; one a drain runs through gets all they bring.
    #[test]
    fn pipes_meet_the_storm_before_and_after() {
        // A plane with a trough down the middle of the western block.
        let height = |x: f64, y: f64| 10.0 + 0.001 * y + 0.0006 * (400.0 - x) + 0.02 * (x - 102.0).abs().min(90.0);
        let mut farm = Farm::new(height, 8.8);
        let p = DrainsParams {
            culvert_head_m: 0.5,
            least_travel_min: 60.0,
            rain_duration_min: vec![30.0, 60.0, 720.0],
            rain_intensity_mm_h: vec![90.0, 60.0, 10.0],
            runoff_before_ratio: 0.5,
            runoff_after_ratio: 0.6,
            ..DrainsParams::default()
        };
        let first = farm.run(&p).value;
        let main = first.drains.iter().find(|d| matches!(d.to, DrainsTo::Outlet(_))).expect("a drain to the outlet");
        let (a, b) = (main.stations[0].at, main.stations[1].at);
        let at = |x: f64, y: f64| Coord { x, y };
        farm.terrain.opened_banks = vec![
            bank("middle", at(102.0, 252.0), at(102.0, 242.0), Some(0.6), 3.6),
            bank("mouth", at(a.x, a.y + 1.0), at(b.x, b.y + 1.0), None, 0.0),
            OpenedBank { culvert: None, ..bank("", at(300.0, 252.0), at(300.0, 242.0), None, 9.0) },
        ];
        let run = farm.run(&p);
        let [middle, mouth] = run.value.culverts.as_slice() else { panic!("{:?}", run.value.culverts) };
        // Rational formula by hand: 0.5 x 60 mm/h x 3.6 ha / 360.
        assert!((middle.peak_m3_s.0 - 0.3).abs() < 1e-9, "{middle:?}");
        // Every row drains at its southern end, so only headland and other land still comes.
        assert!(middle.catchment_ha.1 < 1.0 && middle.peak_m3_s.1 < middle.peak_m3_s.0, "{middle:?}");
        // FHWA HDS-5 outlet control, hand-computed: 600 mm, 12 m, n 0.013, Ke 0.5, 0.5 m of head.
        assert!((middle.passes_m3_s.unwrap() - 0.6262).abs() < 1e-3);
        assert_eq!((middle.carries(), mouth.carries()), (Some(true), None));
        // The land of all rows, hectares, as the drain that goes through gathers it.
        assert!(mouth.catchment_ha.0.abs() < 1e-9 && mouth.catchment_ha.1 > 10.0, "{mouth:?}");
        // Not above the rain of an hour, in which all of it gathers at the earliest.
        let hour = 0.6 * 60.0 * mouth.catchment_ha.1 / 360.0;
        assert!(mouth.peak_m3_s.1 > 0.5 * hour && mouth.peak_m3_s.1 < hour + 1e-9, "{mouth:?}");
        let codes: Vec<&str> =
            run.findings.iter().filter(|f| f.code.contains("culvert")).map(|f| f.code.as_str()).collect();
        assert_eq!(codes, ["culvert_size_unknown", "culverts_carry"]);
        farm.terrain.opened_banks[0].catchment_ha = 9.0;
        let run = farm.run(&p);
        let told = run.findings.iter().find(|f| f.code == "culvert_small").expect("0.75 m3/s do not go through 600 mm");
        assert!(
            told.message.contains("passes 0.63 m3/s") && told.message.contains("It would take 675 mm"),
            "{}",
            told.message
        );
    }
}
