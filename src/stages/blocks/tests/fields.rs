//! Real field outlines: robustness on all of them, and gains over plain baselines on those large enough.
//!
//! Outlines © OpenStreetMap contributors, ODbL 1.0 (see `fixtures/outlines/PROVENANCE.md`); the ground under them is made.

use super::*;
use crate::methods::shapes::{reflex_vertices, split_across};
use geo::LineString;

/// One outline of the fixture, metres.
#[derive(serde::Deserialize)]
struct Field {
    name: String,
    area_ha: f64,
    rings: Vec<Vec<[f64; 2]>>,
}

fn fields() -> Vec<(Field, Polygon<f64>)> {
    let text = include_str!("../../../../fixtures/outlines/fields.json");
    let list: Vec<Field> = serde_json::from_str(text).unwrap();
    let ring = |r: &Vec<[f64; 2]>| -> LineString<f64> { r.iter().map(|c| Coord { x: c[0], y: c[1] }).collect() };
    list.into_iter()
        .map(|f| {
            let polygon = Polygon::new(ring(&f.rings[0]), f.rings[1..].iter().map(ring).collect());
            (f, polygon)
        })
        .collect()
}

/// A gentle fall to the south-east with swells 20 cm high: every field has bearings that drain and some that do not.
fn swells(polygon: &Polygon<f64>) -> Ground {
    let rect = geo::BoundingRect::bounding_rect(polygon).unwrap();
    let spec = GridSpec::covering(
        Rect::new(rect.min() - Coord { x: 30.0, y: 30.0 }, rect.max() + Coord { x: 30.0, y: 30.0 }),
        5.0,
    );
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        let c = spec.centre(spec.cell(i));
        let z = 20.0 - 0.0012 * c.x + 0.0009 * c.y + 0.2 * (c.x / 90.0).sin() * (c.y / 110.0).cos();
        raster.set(spec.cell(i), z as f32);
    }
    ground_of(raster)
}

/// Yearly cost of a layout in one block at one bearing, cut where rows or area exceed the limits.
fn unsplit(layout: &Layout<'_>, edges: &PieceEdges, whole: &Outline, bearing: Bearing) -> f64 {
    let Some(trial) = layout.judge.judge(whole, bearing, Look::Close) else { return f64::INFINITY };
    let parts = limits::within_limits(layout.judge, edges, Part { outline: whole.clone(), trial });
    layout.cost(whole, &parts.into_iter().map(|p| layout.solved(layout.phased(p))).collect::<Vec<_>>())
}

/// Trapezoid split and merge (Oksanen & Visala 2009, in outline): cut along one direction at every re-entrant corner, each
/// part at its own longest edge, neighbours merged as long as that is cheaper.
fn trapezoids(layout: &Layout<'_>, edges: &PieceEdges, whole: &Outline, direction: Bearing) -> f64 {
    let mut parts = vec![whole.polygon.clone()];
    for corner in reflex_vertices(&whole.polygon.simplify(3.0), 20.0) {
        parts = parts.iter().flat_map(|p| split_across(p, corner.at, direction)).collect();
    }
    parts.retain(|p| p.unsigned_area() > 1.0);
    let price = |p: &Polygon<f64>| -> f64 {
        let outline = Outline::of(p, edges);
        let bearing = edge_bearings_by_length(p).first().map(|b| b.0);
        let lost = outline.area_m2 * layout.judge.margin_per_m2();
        if outline.area_m2 < layout.judge.params.min_block_ha * M2_PER_HA {
            return lost;
        }
        let quick = bearing.and_then(|b| layout.judge.judge(&outline, b, Look::Quick));
        quick.map_or(lost, |t| t.yearly())
    };
    while let Some((i, j, both)) =
        (0..parts.len()).flat_map(|i| (i + 1..parts.len()).map(move |j| (i, j))).find_map(|(i, j)| {
            let both = union_all([&parts[i], &parts[j]], 1.0);
            let [one] = both.0.as_slice() else { return None };
            (price(one) < price(&parts[i]) + price(&parts[j])).then(|| (i, j, one.clone()))
        })
    {
        parts.remove(j);
        parts[i] = both;
    }
    let laid: Vec<Part> = parts
        .iter()
        .filter(|p| p.unsigned_area() >= layout.judge.params.min_block_ha * M2_PER_HA)
        .filter_map(|p| {
            let outline = Outline::of(p, edges);
            let bearing = edge_bearings_by_length(p).first()?.0;
            Some(Part { trial: layout.judge.judge(&outline, bearing, Look::Close)?, outline })
        })
        .flat_map(|p| limits::within_limits(layout.judge, edges, p))
        .map(|p| layout.solved(layout.phased(p)))
        .collect();
    layout.cost(whole, &laid)
}

/// Field, area, blocks, yearly cost and that of the three baselines, rows over their bound, money over its bound.
fn gains(field: &Field, polygon: &Polygon<f64>, beaten: &mut Vec<String>) -> Option<[f64; 7]> {
    let (ground, rates, params) = (swells(polygon), Rates::default(), BlocksParams::default());
    let site = site(Vec::new());
    let around = Surroundings::of(&site);
    let judge = Judge {
        params: &params,
        rates: &rates,
        ground: Some(&ground.concept.0),
        reach: None,
        loading: None,
        scale: 1.0,
    };
    let edges = PieceEdges::of(polygon, &around);
    let whole = Outline::of(polygon, &edges);
    let layout = Layout {
        judge: &judge,
        site: &site,
        around: &around,
        fixed: Fixed::default(),
        locked: &geo::MultiLineString(Vec::new()),
        free: None,
        sums: Default::default(),
        known: Default::default(),
    };
    let parts = layout.parts(&whole, &edges);
    if parts.is_empty() {
        return None;
    }
    let ours = layout.cost(&whole, &parts);
    let longest = edge_bearings_by_length(polygon).first()?.0;
    let narrow = minimum_width(polygon)?.bearing;
    let baselines = [
        unsplit(&layout, &edges, &whole, longest),
        unsplit(&layout, &edges, &whole, narrow),
        trapezoids(&layout, &edges, &whole, longest),
    ];
    let planted = parts.iter().flat_map(|p| &p.trial.lengths_m).sum::<f64>() * params.row_spacing_m;
    let rows = parts.iter().map(|p| p.trial.lengths_m.len()).sum::<usize>() as f64;
    let bound = bounds::bounds(&judge, polygon, planted);
    assert!(rows >= bound.rows && ours >= bound.yearly, "{}: a bound is beaten", field.name);
    for (what, cost) in ["longest edge", "least width", "trapezoids"].into_iter().zip(baselines) {
        // The baselines are among the starts of the search and priced alike: only the last digits may differ.
        if ours > cost * (1.0 + 1e-6) {
            beaten.push(format!("{}: {ours:.0} against {cost:.0} by {what}", field.name));
        }
    }
    Some([parts.len() as f64, ours, baselines[0], baselines[1], baselines[2], rows / bound.rows, ours / bound.yearly])
}

/// `cargo test --release --lib stages::blocks::tests::fields::gains_over_baselines -- --ignored --nocapture`
#[test]
#[ignore = "minutes; part of make test-long"]
fn gains_over_baselines() {
    use std::io::Write;
    let mut out = std::io::stdout();
    writeln!(out, "field       ha blocks    yearly  longest edge  least width  trapezoids  rows/bound  money/bound")
        .unwrap();
    let (mut compared, mut beaten) = (0, Vec::new());
    for (field, polygon) in fields().iter().filter(|(f, _)| f.area_ha >= 3.0) {
        let Some(g) = gains(field, polygon, &mut beaten) else { continue };
        compared += 1;
        let saved = |cost: f64| 100.0 * (1.0 - g[1] / cost);
        writeln!(
            out,
            "{:8} {:6.1} {:6.0} {:9.0} {:12.1}% {:11.1}% {:10.1}% {:11.2} {:12.2}",
            field.name,
            field.area_ha,
            g[0],
            g[1],
            saved(g[2]),
            saved(g[3]),
            saved(g[4]),
            g[5],
            g[6]
        )
        .unwrap();
    }
    assert!(beaten.is_empty(), "{beaten:#?}");
    assert!(compared >= 20, "{compared} fields compared");
}

#[test]
#[ignore = "minutes; part of make test-long"]
fn every_outline_is_laid_out() {
    for (field, polygon) in fields() {
        let ground = swells(&polygon);
        let (site, water, rates) = (site(Vec::new()), water(polygon.clone()), Rates::default());
        let cancel = AtomicBool::new(false);
        let ctx = Ctx { progress: &Silent, cancel: &cancel };
        for curved_rows in [CurvedRows::Never, CurvedRows::IfCheaper] {
            let input = BlocksInput { site: &site, ground: Some(&ground), water: Some(&water), rates: &rates };
            match Blocks::run(input, &BlocksParams { curved_rows, ..BlocksParams::default() }, &ctx) {
                Ok(outcome) => sound(&outcome.value, &polygon),
                Err(problems) => assert_eq!(problems.0[0].code, "no_room_for_a_row", "{}", field.name),
            }
        }
    }
}
