//! Rows that bend: longer where the land bends, never by themselves, never tighter than the machines can steer.

use super::*;
use crate::stages::row_frame;
use geo::{Distance, Euclidean, Line, LineString, Point};

const CENTRE: Coord<f64> = Coord { x: 600.0, y: -100.0 };
const INNER_M: f64 = 400.0;
const OUTER_M: f64 = 520.0;
const SPREAD_DEG: f64 = 100.0;

/// A valley that bends about a centre: a part of a ring, from west over north to east.
fn valley() -> Polygon<f64> {
    let arc = |radius: f64| {
        (0..=200).map(move |k| {
            let t = (90.0 + SPREAD_DEG / 2.0 - SPREAD_DEG * f64::from(k) / 200.0).to_radians();
            CENTRE + Coord { x: radius * t.cos(), y: radius * t.sin() }
        })
    };
    let inner: Vec<Coord<f64>> = arc(INNER_M).collect();
    Polygon::new(arc(OUTER_M).chain(inner.into_iter().rev()).collect(), vec![])
}

/// Ground that falls along the valley, 0.15 % on a middle way, and is level across.
fn valley_ground() -> Ground {
    let Ground { surveyed: ElevationModel(mut raster), .. } = ground(0.0, 0.0);
    for i in 0..raster.spec.len() {
        let from = raster.spec.centre(raster.spec.cell(i)) - CENTRE;
        let clockwise = from.x.atan2(from.y);
        raster.values[i] = (20.0 - 0.0015 * f64::midpoint(INNER_M, OUTER_M) * clockwise) as f32;
    }
    ground_of(raster)
}

fn bending() -> BlocksParams {
    BlocksParams { curved_rows: CurvedRows::IfCheaper, max_row_length_m: 1_000.0, ..BlocksParams::default() }
}

fn yearly(plan: &BlockPlan) -> f64 {
    plan.blocks.iter().map(|b| b.judged.cost.total()).sum()
}

fn mean_m(plan: &BlockPlan) -> f64 {
    let rows: usize = plan.blocks.iter().map(|b| b.rows.len()).sum();
    plan.blocks.iter().map(RowBlock::row_metres).sum::<f64>() / rows as f64
}

/// Least radius of a drawn line, metres: of circles through three places about 20 m apart.
fn least_radius_m(line: &LineString<f64>) -> f64 {
    let places = super::super::row_line::thinned(&line.0, 20.0);
    let radius = |w: &[Coord<f64>]| {
        let side = |a: Coord<f64>, b: Coord<f64>| (a.x - b.x).hypot(a.y - b.y);
        let (u, v) = (w[1] - w[0], w[2] - w[0]);
        // Circumscribed circle: the product of the sides over four times the area (Euclid's geometry, arithmetic).
        side(w[0], w[1]) * side(w[1], w[2]) * side(w[2], w[0]) / (2.0 * (u.x * v.y - u.y * v.x).abs()).max(1e-9)
    };
    places.windows(3).map(radius).fold(f64::INFINITY, f64::min)
}

/// The furthest a row strays from one spacing beside the row before it, metres, on the drawn lines and away from their ends;
/// places with no such row beside them (rows cut in two) are passed over, and may not be many.
fn off_spacing_m(block: &RowBlock) -> f64 {
    let (mut worst, mut beside, mut all) = (0.0_f64, 0, 0);
    for pair in block.rows.windows(2) {
        let pieces: Vec<Line<f64>> = pair[0].line.lines().collect();
        let near =
            |at: Coord<f64>| pieces.iter().map(|l| Euclidean.distance(&Point(at), l)).fold(f64::INFINITY, f64::min);
        let n = pair[1].line.0.len();
        for at in pair[1].line.0.iter().skip(n / 8).take(3 * n / 4).step_by(7) {
            let off_m = (near(*at) - block.row_spacing_m).abs();
            all += 1;
            if off_m < 0.5 * block.row_spacing_m {
                beside += 1;
                worst = worst.max(off_m);
            }
        }
    }
    assert!(10 * beside > 7 * all, "{beside} of {all} places have a row beside them");
    worst
}

#[test]
fn a_bent_valley_gets_bent_rows_when_asked() {
    let ground = valley_ground();
    let straight = plan(valley(), &ground, &BlocksParams { curved_rows: CurvedRows::Never, ..bending() });
    assert!(straight.blocks.iter().all(|b| b.bent.is_none()), "never by itself");
    let bent = plan(valley(), &ground, &bending());
    assert_eq!(bent.blocks.len(), 1, "one block serves the whole valley");
    let block = &bent.blocks[0];
    assert!(block.bent.is_some());
    assert!(mean_m(&bent) > 1.5 * mean_m(&straight), "{} m against {} m", mean_m(&bent), mean_m(&straight));
    assert!(yearly(&bent) < 0.9 * yearly(&straight), "{} against {}", yearly(&bent), yearly(&straight));
    // By hand: between side headlands of 5 m there is room for 110 / 1.83 rows; a row of the mean radius runs
    // 460 m x 100 degrees less two headlands of 8 m.
    assert!((block.rows.len() as f64 - 110.0 / 1.83).abs() < 3.0, "{}", block.rows.len());
    let by_hand_m = f64::midpoint(INNER_M, OUTER_M) * SPREAD_DEG.to_radians() - 16.0;
    assert!((mean_m(&bent) - by_hand_m).abs() < 10.0, "{} m against {by_hand_m} m", mean_m(&bent));
    // The valley falls clockwise, so the water leaves in the east, and every row falls within the limits as it lies.
    for row in &block.rows {
        assert!(row.low_end().x > row.high_end().x);
        let fall = row.fall.unwrap();
        assert!((0.12..0.19).contains(&fall.mean.percent()), "{}", fall.mean.percent());
    }
    assert!(bent.study.iter().any(|t| t.chosen && t.reason.contains("bend")), "the study shows what was taken");
}

#[test]
fn bent_rows_keep_their_radius_and_spacing() {
    for least_m in [150.0, 450.0] {
        let bent = plan(valley(), &valley_ground(), &BlocksParams { least_radius_m: least_m, ..bending() });
        for block in bent.blocks.iter().filter(|b| b.bent.is_some()) {
            let tightest = block.rows.iter().map(|r| least_radius_m(&r.line)).fold(f64::INFINITY, f64::min);
            assert!(tightest > 0.99 * least_m, "{tightest} m, wanted {least_m} m");
            assert!(off_spacing_m(block) < 0.005, "{} m", off_spacing_m(block));
        }
        // 405 m is the innermost row: a wider radius cannot follow the valley all the way round.
        assert!(least_m > 400.0 || bent.blocks.iter().all(|b| b.bent.is_some()));
    }
}

#[test]
fn straight_land_keeps_straight_rows() {
    let plan = plan(rectangle(600.0, 250.0), &ground(0.0015, 0.0), &bending());
    assert!(plan.blocks.iter().all(|b| b.bent.is_none()));
}

#[test]
fn a_wished_bearing_is_not_bent() {
    let plan = plan(valley(), &valley_ground(), &BlocksParams { bearing_deg: 90.0, ..bending() });
    assert!(
        plan.blocks.iter().all(|b| b.bent.is_none() && b.bearing.axis_angle_to(Bearing::from_degrees(90.0)) < 1e-6)
    );
}

#[test]
fn the_line_in_the_plan_is_the_one_rows_are_parallels_of() {
    let block = plan(valley(), &valley_ground(), &bending()).blocks.remove(0);
    let frame = row_frame::bent(&block).unwrap();
    // Rows are numbered left to right and run the way the water runs.
    let across: Vec<f64> = block.rows.iter().map(|r| frame.enter(r.middle()).across_m).collect();
    assert!(across.windows(2).all(|w| (w[1] - w[0] - block.row_spacing_m).abs() < 0.01), "{across:?}");
    let first = &block.rows[0];
    assert!(frame.enter(first.low_end()).along_m > frame.enter(first.high_end()).along_m);
}
