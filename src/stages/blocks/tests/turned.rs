//! The plan goes with the land: turned by quarters, shifted by whole cells; rows against another library's clipping.

use super::*;
use crate::methods::shapes::{Frame, row_spans};
use geo::{AffineOps, AffineTransform, BooleanOps, BoundingRect, LineString, MultiLineString, Translate};
use proptest::prelude::*;

/// Ground of 5 m cells under a polygon, by a formula.
fn ground_under(land: &Polygon<f64>, height: impl Fn(Coord<f64>) -> f64) -> Ground {
    let (rect, cell) = (land.bounding_rect().unwrap(), 5.0);
    // Cell edges at multiples of 5 m from the origin: a quarter turn about it takes cells to cells.
    let down = |v: f64| (v / cell).floor() * cell - 4.0 * cell;
    let up = |v: f64| (v / cell).ceil() * cell + 4.0 * cell;
    let low = Coord { x: down(rect.min().x), y: down(rect.min().y) };
    let high = Coord { x: up(rect.max().x), y: up(rect.max().y) };
    let spec = GridSpec::covering(Rect::new(low, high), cell);
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        raster.values[i] = height(spec.centre(spec.cell(i))) as f32;
    }
    ground_of(raster)
}

fn height(c: Coord<f64>) -> f64 {
    20.0 - 0.0014 * c.x - 0.0006 * c.y + 0.1 * (c.x / 80.0).sin() * (c.y / 95.0).cos()
}

fn l_shape() -> Polygon<f64> {
    polygon![(x: 0.0, y: 0.0), (x: 800.0, y: 0.0), (x: 800.0, y: 300.0), (x: 300.0, y: 300.0), (x: 300.0, y: 700.0), (x: 0.0, y: 700.0)]
}

/// Blocks, rows, row metres, yearly cost.
fn sums(plan: &BlockPlan) -> (usize, usize, f64, f64) {
    let rows = plan.blocks.iter().map(|b| b.rows.len()).sum();
    let metres = plan.blocks.iter().map(RowBlock::row_metres).sum();
    (plan.blocks.len(), rows, metres, plan.blocks.iter().map(|b| b.judged.cost.total()).sum())
}

/// Area two plans' blocks have in common when every block of one is laid on the block of the other it covers most.
fn in_common_m2(one: &BlockPlan, other: &BlockPlan, turn: &AffineTransform) -> f64 {
    let shared = |a: &Polygon<f64>, b: &Polygon<f64>| crate::methods::shapes::intersection(a, b, 1.0).unsigned_area();
    let turned = one.blocks.iter().map(|b| b.outline.affine_transform(turn));
    turned.map(|a| other.blocks.iter().map(|b| shared(&a, &b.outline)).fold(0.0, f64::max)).sum()
}

#[test]
fn the_plan_turns_with_the_land() {
    // On an L of legs as wide as each other two cuts cost the same within a thousandth, and rounding takes one or the other.
    let land = polygon![(x: 0.0, y: 0.0), (x: 800.0, y: 0.0), (x: 800.0, y: 240.0), (x: 300.0, y: 240.0), (x: 300.0, y: 700.0), (x: 0.0, y: 700.0)];
    let before = plan(land.clone(), &ground_under(&land, height), &BlocksParams::default());
    let area: f64 = before.blocks.iter().map(|b| b.outline.unsigned_area()).sum();
    for (name, turn, back) in [
        ("90 degrees", [0.0, -1.0, 1.0, 0.0], [0.0, 1.0, -1.0, 0.0]),
        ("180 degrees", [-1.0, 0.0, 0.0, -1.0], [-1.0, 0.0, 0.0, -1.0]),
        ("270 degrees", [0.0, 1.0, -1.0, 0.0], [0.0, -1.0, 1.0, 0.0]),
    ] {
        let matrix = |m: [f64; 4]| AffineTransform::new(m[0], m[1], 0.0, m[2], m[3], 0.0);
        let turned = land.affine_transform(&matrix(turn));
        let lies = |c: Coord<f64>| height(matrix(back).apply(c));
        let after = plan(turned.clone(), &ground_under(&turned, lies), &BlocksParams::default());
        let (a, b) = (sums(&before), sums(&after));
        // Lattice and first row start at the left of the axis, which may be the other side now: the edge effect.
        assert_eq!(a.0, b.0, "{name}");
        assert!(a.1.abs_diff(b.1) <= 2 * a.0 && (a.2 / b.2 - 1.0).abs() < 0.01, "{name}: {a:?} {b:?}");
        assert!((a.3 / b.3 - 1.0).abs() < 0.02, "{name}: {a:?} {b:?}");
        let same = in_common_m2(&before, &after, &matrix(turn));
        assert!(same > 0.97 * area, "{name}: {same} of {area} m2");
    }
}

#[test]
fn the_plan_shifts_with_the_land() {
    let land = l_shape();
    let before = plan(land.clone(), &ground_under(&land, height), &BlocksParams::default());
    let by = Coord { x: 4_095.0, y: -1_280.0 };
    let moved = land.translate(by.x, by.y);
    let lies = |c: Coord<f64>| height(c - by);
    let after = plan(moved.clone(), &ground_under(&moved, lies), &BlocksParams::default());
    assert_eq!(before.blocks.len(), after.blocks.len());
    for (a, b) in before.blocks.iter().zip(&after.blocks) {
        assert_eq!((a.name.as_str(), a.rows.len()), (b.name.as_str(), b.rows.len()));
        for (r, s) in a.rows.iter().zip(&b.rows) {
            let off = |p: Coord<f64>, q: Coord<f64>| (q.x - p.x - by.x).hypot(q.y - p.y - by.y);
            let off_m = off(r.high_end(), s.high_end()).max(off(r.low_end(), s.low_end()));
            assert!(off_m < 1e-3, "row {} of block {} is {off_m} m off", r.number, a.name);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    // The library `geo` (its `BooleanOps::clip`), which the row geometry does not use.
    #[test]
    fn rows_agree_with_another_librarys_clipping(
        radii in prop::collection::vec(60.0..300.0f64, 4..14),
        hole in 5.0..40.0f64,
        degrees in 0.0..180.0f64,
    ) {
        let ring = |radii: &[f64]| -> LineString<f64> {
            radii.iter().enumerate().map(|(i, r)| {
                let t = i as f64 / radii.len() as f64 * std::f64::consts::TAU;
                Coord { x: r * t.cos(), y: r * t.sin() }
            }).collect()
        };
        let land = geo::Orient::orient(
            &Polygon::new(ring(&radii), vec![ring(&[hole; 8])]), geo::orient::Direction::Default,
        );
        let (bearing, spacing) = (Bearing::from_degrees(degrees), 1.83);
        let edges: Vec<_> = geo::LinesIter::lines_iter(&land)
            .map(|line| crate::methods::shapes::ClearEdge { line, clear_m: 0.0 })
            .collect();
        let origin = Coord { x: 0.37, y: 0.19 };
        let spans = row_spans(&edges, bearing, spacing, origin);
        let frame = Frame::new(bearing, origin);
        let lines: Vec<LineString<f64>> = (-180..=180)
            .map(|k| f64::from(k) * spacing)
            .map(|x| LineString(vec![frame.leave(x, -400.0), frame.leave(x, 400.0)]))
            .collect();
        let clipped = land.clip(&MultiLineString(lines), false);
        let length = |l: &LineString<f64>| l.lines().map(|e| e.dx().hypot(e.dy())).sum::<f64>();
        let theirs: f64 = clipped.0.iter().map(length).sum();
        let ours: f64 = spans.iter().map(crate::methods::shapes::ClippedLine::length_m).sum();
        prop_assert!((ours - theirs).abs() < 0.01 + 1e-5 * theirs, "{} {}", ours, theirs);
        prop_assert!((ours * spacing / land.unsigned_area() - 1.0).abs() < 0.03);
    }
}
