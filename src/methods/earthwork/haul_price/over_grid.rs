//! Priced hauls over the cells of a haul grid: givers and takers from the earth, distances over the ground.
//!
//! Shapes and units: as in [`haul_grid`](crate::methods::earthwork::haul_grid) and its parent. Distances are priced metres of
//! level haul: climbs and crossings count. Complexity: one search over the grid for each giver.
//! Source: shortest ways by [`Bibliography::Dijkstra1959`](crate::bibliography::Bibliography::Dijkstra1959).
//! How we know: linear prices against the flow over the grid (`linear_prices_agree_with_the_grid`).

use super::{HaulSite, MachinePrices, PriceError, PricedPlan, priced_hauls};
use crate::methods::earthwork::haul_grid::{GridEarth, HaulEnd, HaulError, HaulGround, PlaceKind, StepGraph};
use geo::Coord;
use rayon::prelude::*;

/// A place for borrow or spoil with a price in currency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PricedPlace {
    /// Where.
    pub at: Coord<f64>,
    /// What it does.
    pub kind: PlaceKind,
    /// How much, m3 of cut measure; nothing when there is no limit.
    pub capacity_m3: Option<f64>,
    /// What a m3 costs there beside the haul.
    pub price_per_m3: f64,
}

/// A priced plan and what its numbers stand for.
#[derive(Debug, Clone, PartialEq)]
pub struct GridPricedPlan {
    /// The plan; givers and takers are numbers into the lists below.
    pub plan: PricedPlan,
    /// What each giver is.
    pub givers: Vec<HaulEnd>,
    /// What each taker is.
    pub takers: Vec<HaulEnd>,
}

/// Why a priced plan over a grid is refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GridPriceError {
    /// The ground or the earth.
    #[error(transparent)]
    Haul(#[from] HaulError),
    /// A price or a distance.
    #[error(transparent)]
    Price(#[from] PriceError),
}

/// One side of the plan.
#[derive(Default)]
struct Side {
    ends: Vec<HaulEnd>,
    sites: Vec<HaulSite>,
    /// Cell where hauls begin or end.
    cells: Vec<usize>,
}

impl Side {
    fn add(&mut self, end: HaulEnd, site: HaulSite, cell: usize) {
        self.ends.push(end);
        self.sites.push(site);
        self.cells.push(cell);
    }
}

/// The cheapest hauls over a grid when machines change with distance.
///
/// A place on ground that is not to be driven on has no way to it here.
///
/// # Errors
/// [`GridPriceError`] when a list does not fit the grid, a place lies off it, or a number is out of its range.
pub fn priced_hauls_over_grid(
    ground: &HaulGround,
    earth: &GridEarth,
    places: &[PricedPlace],
    prices: &MachinePrices,
) -> Result<GridPricedPlan, GridPriceError> {
    let graph = ground.graph()?;
    if earth.net_m3.len() != ground.spec.len() {
        let (length, cells) = (earth.net_m3.len(), ground.spec.len());
        return Err(HaulError::Length { what: "volumes", length, cells }.into());
    }
    let (givers, takers) = sides(ground, earth, places)?;
    let ways = ways(&graph, &givers.cells, &takers.cells);
    let plan = priced_hauls(&givers.sites, &takers.sites, prices, |i, j| ways[i][j])?;
    Ok(GridPricedPlan { plan, givers: givers.ends, takers: takers.ends })
}

fn sides(ground: &HaulGround, earth: &GridEarth, places: &[PricedPlace]) -> Result<(Side, Side), HaulError> {
    let (mut givers, mut takers) = (Side::default(), Side::default());
    for (cell, net_m3) in earth.net_m3.iter().enumerate() {
        let side = if *net_m3 > 0.0 { &mut givers } else { &mut takers };
        if *net_m3 != 0.0 {
            side.add(HaulEnd::Cell(number(cell)), HaulSite::cell(net_m3.abs()), cell);
        }
    }
    let all: f64 = earth.net_m3.iter().map(|v| v.abs()).sum();
    for (i, place) in places.iter().enumerate() {
        let off_grid = HaulError::OffGrid { what: "a place", x: place.at.x, y: place.at.y };
        let cell = ground.spec.index(ground.spec.cell_at(place.at).ok_or(off_grid)?);
        let site = HaulSite::place(place.capacity_m3.unwrap_or(all), place.price_per_m3);
        let side = if place.kind == PlaceKind::Borrow { &mut givers } else { &mut takers };
        side.add(HaulEnd::Place(number(i)), site, cell);
    }
    Ok((givers, takers))
}

/// Ways from each giver to each taker, metres; infinite where there is none.
fn ways(graph: &StepGraph, givers: &[usize], takers: &[usize]) -> Vec<Vec<f64>> {
    givers
        .par_iter()
        .map(|giver| {
            let reach = graph.distances_m(*giver);
            takers.iter().map(|taker| reach[*taker]).collect()
        })
        .collect()
}

#[expect(clippy::cast_possible_truncation, reason = "grids have fewer cells than 32 bits count")]
fn number(cell: usize) -> u32 {
    cell as u32
}
