//! The heights of the demo property: a plain, what the river left on it, and what people built and planted.

use crate::layout::{self, Place};
use crate::random::{SplitMix64, hashed, scramble};

/// Fall of the plain along the long axis.
const FALL_ALONG_RATIO: f64 = 0.0014;
/// Fall of the plain towards the creek.
const FALL_ACROSS_RATIO: f64 = 0.0005;
/// Height of the plain at the origin, AHD.
const PLAIN_M: f64 = 9.2;
/// Depth of the creek bed below the plain.
const CREEK_DEPTH_M: f64 = 2.6;

/// One gentle swell of the plain.
struct Swell {
    along: f64,
    across: f64,
    phase: f64,
    height_m: f64,
}

/// The ground, ready to be asked for heights.
pub struct Ground {
    seed: u64,
    swells: Vec<Swell>,
    boundary: Vec<Place>,
    boundary_line: Vec<Place>,
    tributary: Vec<Place>,
    swale: Vec<Place>,
    bank_gully: Vec<Place>,
    drain: Vec<Place>,
    road: Vec<Place>,
    power_line: Vec<Place>,
    tracks: Vec<Vec<Place>>,
    lagoon: Vec<Place>,
    heritage: Vec<Place>,
}

impl Ground {
    /// Draws the swells of the plain from `seed`.
    pub fn new(seed: u64) -> Self {
        let mut random = SplitMix64::new(seed ^ 0x5EED);
        let swells = (0..12)
            .map(|_| {
                let (length_m, heading) = (random.between(140.0, 320.0), random.between(0.0, std::f64::consts::PI));
                let wave_number = std::f64::consts::TAU / length_m;
                Swell {
                    along: wave_number * heading.cos(),
                    across: wave_number * heading.sin(),
                    phase: random.between(0.0, std::f64::consts::TAU),
                    height_m: 0.045 * length_m / 320.0,
                }
            })
            .collect();
        let boundary = layout::boundary();
        let mut boundary_line = boundary.clone();
        boundary_line.push(boundary[0]);
        Self {
            seed,
            swells,
            boundary,
            boundary_line,
            tributary: layout::tributary(),
            swale: layout::swale(),
            bank_gully: layout::bank_gully(),
            drain: layout::neighbour_drain(),
            road: layout::road(),
            power_line: layout::power_line(),
            tracks: layout::farm_tracks().into_iter().map(|(_, _, line)| line).collect(),
            lagoon: layout::lagoon_edge(8.0),
            heritage: layout::heritage(),
        }
    }

    /// Height at a place without survey noise.
    pub fn height_m(&self, p: Place) -> f64 {
        let (to_swale, down_swale) = layout::nearest(&self.swale, p);
        let in_swale = hump(to_swale / 27.0);
        let mut height_m = self.flat_m(p, in_swale) + self.texture_m(p);
        height_m -= in_swale * swale_depth_m(down_swale);
        height_m -= 0.4 * (1.0 - self.lagoon_radius(p).powi(2)).max(0.0);
        height_m += self.road_m(p) * (1.0 - 0.85 * in_swale) + house_pad_m(p) + self.bed_m(p, in_swale);
        self.watercourses_m(p, height_m)
    }

    /// The plain with its swells and the old levee beside the creek, which the swale breaks through.
    fn flat_m(&self, p: Place, in_swale: f64) -> f64 {
        let swells: f64 =
            self.swells.iter().map(|s| s.height_m * (s.along * p.0 + s.across * p.1 + s.phase).sin()).sum();
        let from_valley = (p.1 - layout::valley_v(p.0)) / 90.0;
        let levee_m = 0.35 * (-from_valley * from_valley).exp() * (1.0 - in_swale);
        let to_outlet = (p.0 - layout::OUTLET_EAST.0).hypot(p.1 - layout::OUTLET_EAST.1) / 110.0;
        plain_m(p) + swells + levee_m - 0.14 * (-to_outlet * to_outlet).exp()
    }

    /// Tussocks, stumps and wheel marks.
    fn texture_m(&self, p: Place) -> f64 {
        0.022 * lattice_noise(self.seed ^ 0x7E47, p, 7.0) + 0.03 * lattice_noise(self.seed ^ 0x11F7, p, 31.0)
    }

    /// 0 in the middle of the lagoon, 1 at its water line.
    fn lagoon_radius(&self, p: Place) -> f64 {
        let (sin, cos) = (-0.9f64).sin_cos();
        let (du, dv) = (p.0 - layout::LAGOON.0, p.1 - layout::LAGOON.1);
        ((du * cos + dv * sin) / layout::LAGOON_AXES_M.0).hypot((dv * cos - du * sin) / layout::LAGOON_AXES_M.1)
    }

    /// The formation of the road and the table drain on the property's side of it.
    fn road_m(&self, p: Place) -> f64 {
        let (distance_m, _) = layout::nearest(&self.road, p);
        let formation_m = 0.38 * ramp((6.5 - distance_m) / 2.5);
        formation_m - 0.3 * hump((distance_m - 9.5) / 3.0)
    }

    /// The old tree bed at a place, or nothing where none was made.
    pub fn bed_m(&self, p: Place, in_swale: f64) -> f64 {
        if !self.planted(p) {
            return 0.0;
        }
        let (across, _) = layout::bed_frame(p);
        let crest = 0.5 + 0.5 * (std::f64::consts::TAU * across / layout::BED_SPACING_M).cos();
        let vigour = 0.5 + 0.5 * lattice_noise(self.seed ^ 0xBED5, p, 85.0);
        (0.15 + 0.1 * vigour) * crest.powf(1.4) * (1.0 - 0.45 * in_swale)
    }

    /// Were tree beds made here?
    pub fn planted(&self, p: Place) -> bool {
        let (_, along) = layout::bed_frame(p);
        let clear = |line: &[Place], distance_m: f64| layout::nearest(line, p).0 > distance_m;
        along.rem_euclid(layout::BREAK_INTERVAL_M) > 7.0
            && layout::inside(&self.boundary, p)
            && clear(&self.boundary_line, 9.0)
            && p.1 > layout::creek_v(p.0) + 44.0
            && clear(&self.tributary, 20.0)
            && clear(&self.power_line, 15.0)
            && self.tracks.iter().all(|track| clear(track, 5.0))
            && !layout::inside(&self.lagoon, p)
            && !(layout::inside(&self.heritage, p) || layout::nearest(&self.heritage, p).0 < 8.0)
    }

    /// Cuts the creek, the gully, the swale's mouth and the neighbour's drain into the ground.
    fn watercourses_m(&self, p: Place, ground_m: f64) -> f64 {
        let mut height_m = ground_m;
        let (distance_m, down) = layout::nearest(&self.tributary, p);
        let head_m = plain_m(self.tributary[0]) - 1.2;
        let mouth_m = creek_bed_m(376.0) + 0.1;
        height_m = carve(height_m, head_m + (mouth_m - head_m) * down, distance_m, 0.8, 4.6);
        let (distance_m, down) = layout::nearest(&self.swale, p);
        if down > 0.93 {
            let lip_m = outlet_creek_level_m();
            height_m = carve(height_m, lip_m + 1.0 * (1.0 - down) / 0.07, distance_m, 1.0, 5.0);
        }
        let (distance_m, down) = layout::nearest(&self.bank_gully, p);
        let lip_m = outlet_creek_level_m();
        let foot_m = creek_bed_m(layout::OUTLET_CREEK.0);
        height_m = carve(height_m, lip_m + (foot_m - lip_m) * down, distance_m, 1.0, 5.0);
        let (distance_m, down) = layout::nearest(&self.drain, p);
        height_m = carve(height_m, outlet_east_level_m() - 0.15 * down, distance_m, 0.9, 3.4);
        let slant = (layout::creek_v(p.0 + 0.5) - layout::creek_v(p.0 - 0.5)).hypot(1.0);
        let to_creek_m = (p.1 - layout::creek_v(p.0)).abs() / slant;
        carve(height_m, creek_bed_m(p.0), to_creek_m, 2.2, 7.5 + 0.8 * (p.0 / 53.0).sin())
    }
}

/// Level of the outlet over the creek bank, AHD.
pub fn outlet_creek_level_m() -> f64 {
    plain_m(layout::OUTLET_CREEK) - 1.1
}

/// Level of the outlet into the neighbour's drain, AHD.
pub fn outlet_east_level_m() -> f64 {
    plain_m(layout::OUTLET_EAST) - 1.05
}

fn plain_m((u, v): Place) -> f64 {
    PLAIN_M - FALL_ALONG_RATIO * u + FALL_ACROSS_RATIO * v
}

fn creek_bed_m(u: f64) -> f64 {
    plain_m((u, 70.0)) - CREEK_DEPTH_M + 0.06 * (u / 41.0).sin() * (u / 17.0).cos()
}

/// The swale is shallow at the road and deepens to its mouth.
fn swale_depth_m(down: f64) -> f64 {
    0.38 + 0.2 * down
}

fn house_pad_m((u, v): Place) -> f64 {
    0.4 * ramp((16.0 - (u - 190.0).abs()) / 3.0) * ramp((11.0 - (v - 760.0).abs()) / 3.0)
}

/// A channel with a flat bed and smooth batters; never raises the ground.
fn carve(ground_m: f64, bed_m: f64, distance_m: f64, half_bed_m: f64, half_top_m: f64) -> f64 {
    if bed_m >= ground_m || distance_m >= half_top_m {
        return ground_m;
    }
    ground_m + (bed_m - ground_m) * ramp((half_top_m - distance_m) / (half_top_m - half_bed_m))
}

/// 0 below 0, 1 above 1, smooth between.
fn ramp(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A smooth bump: 1 at 0, nothing beyond 1.
fn hump(t: f64) -> f64 {
    ramp(1.0 - t.abs())
}

/// Smooth noise between -1 and 1: random values on a lattice of `cell_m`, blended smoothly.
fn lattice_noise(seed: u64, (u, v): Place, cell_m: f64) -> f64 {
    let (column, row) = ((u / cell_m).floor(), (v / cell_m).floor());
    let (across, along) = (ramp(u / cell_m - column), ramp(v / cell_m - row));
    let corner = |i: f64, j: f64| {
        let key = ((column + i) as i64 as u64) ^ ((row + j) as i64 as u64).rotate_left(32);
        2.0 * hashed(seed ^ scramble(key)) - 1.0
    };
    let south = corner(0.0, 0.0) * (1.0 - across) + corner(1.0, 0.0) * across;
    let north = corner(0.0, 1.0) * (1.0 - across) + corner(1.0, 1.0) * across;
    south * (1.0 - along) + north * along
}
