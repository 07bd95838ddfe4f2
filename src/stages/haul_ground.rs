//! Ground that earth machines may drive over.

use crate::grid::GridSpec;
use crate::land::site::Site;
use crate::methods::earthwork::haul_grid::{Crossing, HaulGround};
use crate::methods::shapes::cells_inside;
use geo::{BoundingRect, Coord, MultiPoint, Point};

/// What a haul over a mapped waterway is worth, metres of level haul: a crossing has to be found or made (common practice,
/// no source).
const WATERWAY_M: f64 = 500.0;
/// Cells of a haul grid at most; beyond it they grow.
const MOST_CELLS: f64 = 20_000.0;

/// Ground about some points that earth machines may drive over: not what is kept, over waterways at a price.
pub(in crate::stages) fn open_ground(site: &Site, about: &[Coord<f64>], cell_m: f64) -> Option<HaulGround> {
    let bounds = MultiPoint::from_iter(about.iter().map(|at| Point(*at))).bounding_rect()?;
    let cell_m = cell_m.max((bounds.width() * bounds.height() / MOST_CELLS).sqrt());
    let mut ground = HaulGround::open(GridSpec::covering(bounds, cell_m));
    for keep in &site.layers.keep_areas {
        for (free, kept) in ground.passable.iter_mut().zip(cells_inside(ground.spec, &keep.outline)) {
            *free &= !kept;
        }
    }
    let ways = &site.layers.waterways;
    ground.crossings = ways.iter().map(|w| Crossing { line: w.line.clone(), price_m: WATERWAY_M }).collect();
    Some(ground)
}
