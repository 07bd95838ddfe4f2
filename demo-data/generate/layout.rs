//! Where everything on the demo property lies, in the property's own frame: `u` metres along its long axis, down the
//! flat, and `v` metres across it, away from the creek.

/// A place in the property's frame.
pub type Place = (f64, f64);

/// Grid bearing of the long axis, degrees.
pub const AXIS_BEARING_DEG: f64 = 82.0;
/// Angle from the long axis to the old tree beds, degrees towards north.
pub const BED_ANGLE_DEG: f64 = 32.0;
/// Distance between old tree beds.
pub const BED_SPACING_M: f64 = 4.0;
/// The planters left a break across the beds at this interval.
pub const BREAK_INTERVAL_M: f64 = 230.0;
/// Where the long axis begins, MGA2020 zone 56. This lies in open sea, so that no real holding is meant.
pub const ORIGIN: Place = (368_200.0, 7_810_100.0);
/// Length of the property along `u`.
pub const LENGTH_M: f64 = 1720.0;

/// From the property's frame to easting and northing.
pub fn to_grid((u, v): Place) -> Place {
    let (sin, cos) = AXIS_BEARING_DEG.to_radians().sin_cos();
    (ORIGIN.0 + u * sin - v * cos, ORIGIN.1 + u * cos + v * sin)
}

/// From easting and northing to the property's frame.
pub fn from_grid((easting, northing): Place) -> Place {
    let (sin, cos) = AXIS_BEARING_DEG.to_radians().sin_cos();
    let (e, n) = (easting - ORIGIN.0, northing - ORIGIN.1);
    (e * sin + n * cos, n * sin - e * cos)
}

/// Position across and along the old beds.
pub fn bed_frame((u, v): Place) -> Place {
    let (sin, cos) = BED_ANGLE_DEG.to_radians().sin_cos();
    (v * cos - u * sin, u * cos + v * sin)
}

/// Back from the frame of the beds.
pub fn from_bed_frame((across, along): Place) -> Place {
    let (sin, cos) = BED_ANGLE_DEG.to_radians().sin_cos();
    (along * cos - across * sin, along * sin + across * cos)
}

/// The valley line that the creek wanders about.
pub fn valley_v(u: f64) -> f64 {
    70.0 + 30.0 * (wave(u, 1150.0) + 0.6).sin()
}

/// The thread of the creek.
pub fn creek_v(u: f64) -> f64 {
    valley_v(u) + 22.0 * (0.7 + 0.3 * wave(u, 610.0).sin()) * (wave(u, 205.0) + 1.0).sin()
}

fn wave(u: f64, length_m: f64) -> f64 {
    std::f64::consts::TAU * u / length_m
}

fn along(from: f64, to: f64, step: f64, v: impl Fn(f64) -> f64) -> Vec<Place> {
    let count = ((to - from) / step).round() as usize;
    (0..=count).map(|i| from + (to - from) * i as f64 / count as f64).map(|u| (u, v(u))).collect()
}

/// The title boundary, anticlockwise, not closed. It follows the far bank of the creek and leaves out a house block in
/// the north-west corner.
pub fn boundary() -> Vec<Place> {
    let mut ring = along(0.0, LENGTH_M, 43.0, |u| valley_v(u) - 45.0);
    ring.extend([
        (1728.0, 480.0),
        (1702.0, 921.0),
        (960.0, 896.0),
        (336.0, 884.0),
        (329.0, 622.0),
        (-12.0, 606.0),
        (-16.0, 300.0),
    ]);
    ring
}

/// The creek from beyond one side of the property to beyond the other.
pub fn creek() -> Vec<Place> {
    along(-90.0, LENGTH_M + 90.0, 10.0, creek_v)
}

/// The gully that joins the creek.
pub fn tributary() -> Vec<Place> {
    rounded(&[
        (-120.0, 545.0),
        (-20.0, 505.0),
        (70.0, 470.0),
        (140.0, 385.0),
        (235.0, 320.0),
        (290.0, 215.0),
        (376.0, creek_v(376.0)),
    ])
}

/// The old swale from the road to the creek bank.
pub fn swale() -> Vec<Place> {
    rounded(&[
        (505.0, 1160.0),
        (590.0, 860.0),
        (655.0, 735.0),
        (800.0, 590.0),
        (955.0, 470.0),
        (1040.0, 325.0),
        (1080.0, 215.0),
        OUTLET_CREEK,
    ])
}

/// Where the swale drops over the creek bank.
pub const OUTLET_CREEK: Place = (1092.0, 106.0);
/// The short gully that the swale has cut through the bank, from its mouth to the creek.
pub fn bank_gully() -> Vec<Place> {
    vec![OUTLET_CREEK, (1097.0, creek_v(1097.0))]
}

/// Where the neighbour's drain begins at the low side.
pub const OUTLET_EAST: Place = (1719.0, 246.0);

/// The neighbour's drain that leads on from the eastern outlet.
pub fn neighbour_drain() -> Vec<Place> {
    vec![OUTLET_EAST, (1775.0, 240.0), (1860.0, 205.0)]
}

/// The road along the northern side.
pub fn road() -> Vec<Place> {
    vec![(-140.0, 891.0), (336.0, 901.0), (960.0, 913.0), (1702.0, 938.0), (2000.0, 948.0)]
}

/// Farm tracks, with a name and a width.
pub fn farm_tracks() -> Vec<(&'static str, f64, Vec<Place>)> {
    vec![
        ("North track", 6.0, vec![(905.0, 912.0), (905.0, 880.0), (1300.0, 892.0), (1685.0, 905.0)]),
        ("Levee track", 5.0, along(345.0, 1050.0, 47.0, |u| valley_v(u) + 72.0)),
        ("Old headland track", 5.0, vec![(905.0, 880.0), (760.0, 700.0), (470.0, 420.0), (360.0, 168.0)]),
    ]
}

/// The power line, from north to south.
pub fn power_line() -> Vec<Place> {
    vec![(1124.0, 1240.0), (1262.0, 640.0), (1345.0, 280.0), (1468.0, -200.0)]
}

/// The water pipe from the house block to the old stock trough.
pub fn water_pipe() -> Vec<Place> {
    vec![(250.0, 640.0), (420.0, 560.0), (470.0, 420.0), (520.0, 330.0)]
}

/// The place where a crop could be loaded onto the road.
pub const LOADING_PLACE: Place = (918.0, 888.0);
/// Middle of the lagoon at the head of the swale.
pub const LAGOON: Place = (640.0, 762.0);
/// Half-axes of the lagoon.
pub const LAGOON_AXES_M: Place = (78.0, 42.0);

/// The kept edge of the lagoon, `margin_m` outside its water line.
pub fn lagoon_edge(margin_m: f64) -> Vec<Place> {
    let (sin, cos) = (-0.9f64).sin_cos();
    (0..36)
        .map(|i| f64::from(i) * std::f64::consts::TAU / 36.0)
        .map(|t| ((LAGOON_AXES_M.0 + margin_m) * t.cos(), (LAGOON_AXES_M.1 + margin_m) * t.sin()))
        .map(|(a, b)| (LAGOON.0 + a * cos - b * sin, LAGOON.1 + a * sin + b * cos))
        .collect()
}

/// The heritage site: an old hut and well.
pub fn heritage() -> Vec<Place> {
    vec![(1470.0, 800.0), (1508.0, 803.0), (1506.0, 838.0), (1468.0, 834.0)]
}

/// Remnant trees on the creek bank between two positions along the axis.
pub fn remnant(from: f64, to: f64) -> Vec<Place> {
    let far = along(from, to, 25.0, |u| valley_v(u) - 45.0);
    let near = along(from, to, 25.0, |u| creek_v(u) + 26.0 + 6.0 * (u / 37.0).sin() + 3.0 * (u / 11.0).cos());
    far.into_iter().chain(near.into_iter().rev()).collect()
}

/// Rounds the corners of a line (Chaikin, 1974, three passes), ends kept.
fn rounded(line: &[Place]) -> Vec<Place> {
    let mut points = line.to_vec();
    for _ in 0..3 {
        let mut next = vec![points[0]];
        for pair in points.windows(2) {
            let mix = |t: f64| (pair[0].0 + (pair[1].0 - pair[0].0) * t, pair[0].1 + (pair[1].1 - pair[0].1) * t);
            next.extend([mix(0.25), mix(0.75)]);
        }
        next.push(points[points.len() - 1]);
        points = next;
    }
    points
}

/// Distance from a place to a line, and how far along the line the nearest place is (0 to 1).
pub fn nearest(line: &[Place], p: Place) -> (f64, f64) {
    let mut best = (f64::INFINITY, 0.0);
    let mut run = 0.0;
    for pair in line.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let (du, dv) = (b.0 - a.0, b.1 - a.1);
        let length = du.hypot(dv);
        let t = (((p.0 - a.0) * du + (p.1 - a.1) * dv) / (length * length)).clamp(0.0, 1.0);
        let distance = (p.0 - a.0 - t * du).hypot(p.1 - a.1 - t * dv);
        if distance < best.0 {
            best = (distance, run + t * length);
        }
        run += length;
    }
    (best.0, best.1 / run)
}

/// Is the place inside the ring? Even-odd rule.
pub fn inside(ring: &[Place], p: Place) -> bool {
    let mut within = false;
    let mut previous = ring[ring.len() - 1];
    for &corner in ring {
        if (corner.1 > p.1) != (previous.1 > p.1)
            && p.0 < (previous.0 - corner.0) * (p.1 - corner.1) / (previous.1 - corner.1) + corner.0
        {
            within = !within;
        }
        previous = corner;
    }
    within
}
