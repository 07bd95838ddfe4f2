//! Hauls over ground with obstacles, priced crossings, several blocks and places for borrow and spoil.
//!
//! Earth is gathered into cells of 10 to 20 m; what meets inside a cell is a short push. The rest flows over a network of
//! sixteen steps a cell at the least sum of volume times priced metres. Places that give (borrow) or take (spoil) earth
//! have a price in metres and, if wanted, a capacity. What no way reaches stays where it is and is named by cell.
//! The flow is then taken apart into hauls with their paths. Because a way can be cut anywhere, this form is right
//! only when a cubic metre costs the same for each metre; for prices that bend with distance see
//! [`haul_price`](super::haul_price).
//! Shapes and units: grids row by row, metres, cubic metres in cut measure (fill times the cut:fill ratio), moments in m4
//! (m3 times m). Inside, volumes are whole litres and costs whole micrometres, so optimum and proof agree exactly.
//! Ties: as in [`transshipment`](super::transshipment). Which cut meets which fill is not unique; the moment is.
//! Source: [`Bibliography::Bassetti2020`](crate::bibliography::Bibliography::Bassetti2020), transport on grids by flow between
//! near cells; [`Bibliography::AhujaMagnantiOrlin1993`](crate::bibliography::Bibliography::AhujaMagnantiOrlin1993), flow
//! decomposition (section 3.5). The straight-line bracket: a way made of the two nearest of 16 directions is at most
//! `1/cos(a/2)` too long, with `a = atan(1/2)` the widest gap.
//! How we know: the dense transport problem on shortest ways (`agrees_with_brute_force`), a worked line
//! (`mass_haul_line`), properties (`straight_bracket`, `nothing_is_lost`, `moments_are_bounded`), hand cases
//! (`places_have_price_and_room`, `islands_are_named`, `ratio_scales_the_fill`).

mod arrows;
mod ground;
mod strip;
#[cfg(test)]
mod tests;

pub use arrows::{HaulArrow, HaulGroup, PairSum, between_groups, gather_arrows};
pub use ground::{Crossing, HaulGround, MOST_CROSSING_M, StepGraph};

use super::transshipment::Transshipment;
use crate::grid::GridSpec;
use geo::Coord;
use ground::{metres, number, units};

/// Straight distance times this is never less than the way over the 16 steps of open ground: `1/cos(atan(1/2)/2)`.
pub const FAN_OVERLENGTH: f64 = 1.027_486_3;
const LITRES_PER_M3: f64 = 1_000.0;
/// The largest sum of volumes, m3: below it no whole number can overflow.
const MOST_VOLUME_M3: f64 = 1e12;

/// Why hauls over a grid are refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum HaulError {
    /// A list does not fit the grid.
    #[error("{length} {what} for a grid of {cells} cells")]
    Length {
        /// Which list.
        what: &'static str,
        /// Its length.
        length: usize,
        /// Cells of the grid.
        cells: usize,
    },
    /// A number is out of its range.
    #[error("{what} {value} is not finite or out of its range")]
    Number {
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// A point lies off the grid.
    #[error("{what} at {x:.3}, {y:.3} lies off the haul grid")]
    OffGrid {
        /// What lies there.
        what: &'static str,
        /// East, metres.
        x: f64,
        /// North, metres.
        y: f64,
    },
}

/// A volume in cut measure: fill (negative) needs the cut:fill ratio times its volume of earth as it lies.
#[must_use]
pub fn in_cut_measure(volume_m3: f64, cut_fill_ratio: f64) -> f64 {
    if volume_m3 < 0.0 { volume_m3 * cut_fill_ratio } else { volume_m3 }
}

/// Earth of each cell of a haul grid.
#[derive(Debug, Clone, PartialEq)]
pub struct GridEarth {
    /// Cut less fill of each cell, m3 of cut measure.
    pub net_m3: Vec<f64>,
    /// Cut that meets fill inside its own cell, m3: a short push, not a haul.
    pub on_the_spot_m3: f64,
}

impl GridEarth {
    /// Gathers places with cut (positive) or fill (negative), m3 of cut measure; see [`in_cut_measure`].
    ///
    /// # Errors
    /// [`HaulError`] when a place lies off the grid or a volume is not finite.
    pub fn gather(spec: GridSpec, points: impl IntoIterator<Item = (Coord<f64>, f64)>) -> Result<Self, HaulError> {
        let mut sums = vec![(0.0, 0.0); spec.len()];
        for (at, volume_m3) in points {
            let off_grid = HaulError::OffGrid { what: "earth", x: at.x, y: at.y };
            let (cut, fill) = &mut sums[spec.index(spec.cell_at(at).ok_or(off_grid)?)];
            if !f64::is_finite(volume_m3) {
                return Err(HaulError::Number { what: "volume", value: volume_m3 });
            }
            *(if volume_m3 > 0.0 { cut } else { fill }) += volume_m3.abs();
        }
        let on_the_spot_m3 = sums.iter().map(|(cut, fill)| f64::min(*cut, *fill)).sum();
        Ok(Self { net_m3: sums.into_iter().map(|(cut, fill)| cut - fill).collect(), on_the_spot_m3 })
    }
}

/// Whether a place gives or takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceKind {
    /// Gives earth.
    Borrow,
    /// Takes earth.
    Spoil,
}

/// A place outside the blocks that gives or takes earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Where; hauls end at its cell, or at the nearest cell that can be driven on.
    pub at: Coord<f64>,
    /// What it does.
    pub kind: PlaceKind,
    /// How much, m3 of cut measure; nothing when there is no limit.
    pub capacity_m3: Option<f64>,
    /// What a cubic metre costs there, as metres of level haul.
    pub price_m: f64,
}

/// Where a haul begins or ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HaulEnd {
    /// A cell of the grid, by its number.
    Cell(u32),
    /// A place, by its number.
    Place(u32),
}

/// Earth carried along one path.
#[derive(Debug, Clone, PartialEq)]
pub struct PathHaul {
    /// Where from.
    pub from: HaulEnd,
    /// Where to.
    pub to: HaulEnd,
    /// Earth, m3 of cut measure.
    pub volume_m3: f64,
    /// Length of the way over the ground, metres.
    pub length_m: f64,
    /// Priced length, metres: with climbs, crossings and the price of a place.
    pub priced_m: f64,
    /// The way, from cell centre to cell centre, without points on straight runs.
    pub path: Vec<Coord<f64>>,
}

/// What stays in a cell because nothing reaches it or every place is full.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unplaced {
    /// The cell's number.
    pub cell: u32,
    /// Earth left (positive) or missing (negative), m3 of cut measure.
    pub volume_m3: f64,
}

/// The hauls of least priced moment.
#[derive(Debug, Clone, PartialEq)]
pub struct GridHaul {
    /// All hauls, by the number of the giving cell, borrow places last.
    pub hauls: Vec<PathHaul>,
    /// What stays or is missing, by cell.
    pub unplaced: Vec<Unplaced>,
    /// Sum of volume times priced length, m4.
    pub priced_moment_m4: f64,
    /// What the potentials prove to be the least priced moment, m4.
    pub least_moment_m4: f64,
    /// Whether both are equal as whole numbers (litres times micrometres), and the potentials a solution of the dual.
    pub is_proven: bool,
    /// Worth of a cubic metre at each cell, metres of haul above the least of its connected piece of ground: earth runs from
    /// low to high, and nowhere does it rise faster than a haul costs.
    pub potential_m: Vec<f64>,
    /// Lowest and highest value the moment over straight lines can have, m4; only for open ground without places or
    /// unplaced earth.
    pub straight_moment_m4: Option<(f64, f64)>,
}

impl GridHaul {
    /// Earth carried, m3.
    #[must_use]
    pub fn hauled_m3(&self) -> f64 {
        self.hauls.iter().map(|h| h.volume_m3).sum()
    }

    /// Mean length of hauls over the ground, metres, weighted by volume; zero without hauls.
    #[must_use]
    pub fn mean_haul_m(&self) -> f64 {
        let volume = self.hauled_m3();
        let moment: f64 = self.hauls.iter().map(|h| h.volume_m3 * h.length_m).sum();
        if volume > 0.0 { moment / volume } else { 0.0 }
    }

    /// Volume in each band of length: up to the first limit, ..., beyond the last; a length equal to a limit is below it.
    #[must_use]
    pub fn bands_m3(&self, limits_m: &[f64]) -> Vec<f64> {
        let mut bands = vec![0.0; limits_m.len() + 1];
        for haul in &self.hauls {
            bands[limits_m.partition_point(|limit| *limit < haul.length_m)] += haul.volume_m3;
        }
        bands
    }
}

/// The hauls of least priced moment.
///
/// All that can be placed is placed, however far; what cannot is in [`GridHaul::unplaced`]. Volumes are rounded to litres
/// in such a way that their sum stays within half a litre.
///
/// # Errors
/// [`HaulError`] when a list does not fit the grid or a number is out of its range.
pub fn haul_over_grid(ground: &HaulGround, earth: &GridEarth, places: &[Place]) -> Result<GridHaul, HaulError> {
    let graph = ground.graph()?;
    check(ground, earth, places)?;
    let spec = &ground.spec;
    let mut supply = litres(&earth.net_m3);
    supply.resize(spec.len() + places.len(), 0);
    let links = places.iter().map(|p| nearest_passable(ground, p)).collect::<Vec<_>>();
    let penalty = penalty(&graph, places, &links)?;
    let mut network = Transshipment::new(&supply, penalty);
    for from in 0..spec.len() {
        for step in graph.start[from]..graph.start[from + 1] {
            network.add_arc(from, graph.to[step] as usize, graph.cost[step], None);
        }
    }
    for (i, (place, link)) in places.iter().zip(&links).enumerate() {
        let Some((cell, off_m)) = *link else { continue };
        let (node, outside) = (spec.len() + i, network.outside());
        let room = place.capacity_m3.map(|c| litres(&[c])[0]);
        let price = units(place.price_m + off_m);
        match place.kind {
            PlaceKind::Borrow => {
                network.add_arc(outside, node, 0, room);
                network.add_arc(node, cell, price, None);
            }
            PlaceKind::Spoil => {
                network.add_arc(cell, node, price, None);
                network.add_arc(node, outside, 0, room);
            }
        }
    }
    network.solve();
    Ok(result(ground, &graph, places, &network, penalty))
}

/// The plan from a solved network.
fn result(ground: &HaulGround, graph: &StepGraph, places: &[Place], network: &Transshipment, penalty: i64) -> GridHaul {
    let cells = ground.spec.len();
    let left: Vec<i64> = (0..cells).map(|cell| network.unserved(cell)).collect();
    let penalties: i128 = left.iter().map(|l| i128::from(l.abs()) * i128::from(penalty)).sum();
    let (primal, dual) = (network.primal(), network.dual());
    let unplaced: Vec<Unplaced> = (0..cells)
        .filter(|cell| left[*cell] != 0)
        .map(|cell| Unplaced { cell: number(cell), volume_m3: cubic_metres(left[cell]) })
        .collect();
    let priced_moment_m4 = moment(primal - penalties);
    let is_straight = ground.is_open() && places.is_empty() && unplaced.is_empty();
    GridHaul {
        hauls: strip::hauls(ground, network, places),
        unplaced,
        priced_moment_m4,
        least_moment_m4: dual.map_or(0.0, |d| moment(d - penalties)),
        is_proven: dual == Some(primal),
        potential_m: relative_potentials(graph, network),
        straight_moment_m4: is_straight.then(|| (priced_moment_m4 / FAN_OVERLENGTH, priced_moment_m4)),
    }
}

fn check(ground: &HaulGround, earth: &GridEarth, places: &[Place]) -> Result<(), HaulError> {
    let cells = ground.spec.len();
    if earth.net_m3.len() != cells {
        return Err(HaulError::Length { what: "volumes", length: earth.net_m3.len(), cells });
    }
    let total: f64 = earth.net_m3.iter().map(|v| v.abs()).sum();
    // A sum that is no number lies in no range.
    if !(0.0..MOST_VOLUME_M3).contains(&total) {
        return Err(HaulError::Number { what: "sum of volumes", value: total });
    }
    for place in places {
        if !(0.0..=MOST_CROSSING_M).contains(&place.price_m) {
            return Err(HaulError::Number { what: "price of a place", value: place.price_m });
        }
        if let Some(capacity) = place.capacity_m3.filter(|c| !(0.0..MOST_VOLUME_M3).contains(c)) {
            return Err(HaulError::Number { what: "capacity of a place", value: capacity });
        }
        if ground.spec.cell_at(place.at).is_none() {
            return Err(HaulError::OffGrid { what: "a place", x: place.at.x, y: place.at.y });
        }
    }
    Ok(())
}

/// The cell where hauls to a place end, and how far the place is from it when it lies on no cell that can be driven on.
fn nearest_passable(ground: &HaulGround, place: &Place) -> Option<(usize, f64)> {
    let own = ground.spec.index(ground.spec.cell_at(place.at)?);
    if ground.passable[own] {
        return Some((own, 0.0));
    }
    let distance = |cell: usize| {
        let centre = ground.spec.centre(ground.spec.cell(cell));
        (centre.x - place.at.x).hypot(centre.y - place.at.y)
    };
    let cells = (0..ground.spec.len()).filter(|c| ground.passable[*c]).map(|c| (c, distance(c)));
    cells.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// A price above every way, so that what can be placed is placed.
fn penalty(graph: &StepGraph, places: &[Place], links: &[Option<(usize, f64)>]) -> Result<i64, HaulError> {
    let longest = graph.cost.iter().max().copied().unwrap_or(0);
    let ends = places.iter().zip(links).map(|(p, link)| units(p.price_m + link.map_or(0.0, |l| l.1))).max();
    let cells = i64::try_from(graph.start.len()).unwrap_or(i64::MAX);
    // Four penalties in a row must fit a whole number.
    longest
        .checked_mul(cells)
        .and_then(|way| way.checked_add(2 * ends.unwrap_or(0) + 1))
        .filter(|p| *p < i64::MAX / 4)
        .ok_or(HaulError::Number { what: "cost of the longest way on the grid", value: f64::INFINITY })
}

/// Whole litres whose running sum stays within half a litre of the exact one, so that a balance stays a balance.
fn litres(volumes_m3: &[f64]) -> Vec<i64> {
    let mut carried = 0.0;
    volumes_m3
        .iter()
        .map(|v| {
            // A cell without earth stays empty; it takes no rounding from others.
            if *v == 0.0 {
                return 0;
            }
            let wanted = v * LITRES_PER_M3 + carried;
            carried = wanted - wanted.round();
            #[expect(clippy::cast_possible_truncation, reason = "sums are checked to be far below the largest number")]
            let whole = wanted.round() as i64;
            whole
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "a litre in a thousand million cubic metres is not lost")]
fn cubic_metres(litres: i64) -> f64 {
    litres as f64 / LITRES_PER_M3
}

#[expect(clippy::cast_precision_loss, reason = "for reports; the proof compares whole numbers")]
fn moment(litres_by_units: i128) -> f64 {
    litres_by_units as f64 / (LITRES_PER_M3 * ground::UNITS_PER_M)
}

/// Potentials above the least of each connected piece of ground.
fn relative_potentials(graph: &StepGraph, network: &Transshipment) -> Vec<f64> {
    let pieces = graph.pieces();
    let mut least = vec![i64::MAX; pieces.iter().max().map_or(0, |p| *p as usize + 1)];
    for (cell, piece) in pieces.iter().enumerate() {
        let low = &mut least[*piece as usize];
        *low = (*low).min(network.potential(cell));
    }
    pieces.iter().enumerate().map(|(cell, p)| metres(network.potential(cell) - least[*p as usize])).collect()
}
