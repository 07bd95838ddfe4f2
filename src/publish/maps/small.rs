//! Maps that stand inside pages: the overview, one block, and the map one can work with.

use super::canvas::{Canvas, Layer};
use super::{design, extent, ground, ink};
use crate::land::blocks::RowBlock;
use crate::publish::drawing::{Drawing, Frame};
use crate::publish::{Results, view};
use geo::{BoundingRect, Coord, Rect};

/// A map of the given size in millimetres round some land, drawn by `paint`; `id` sets it apart on a page.
fn drawn(id: &str, title: &str, land: Rect<f64>, size: (f64, f64), paint: impl FnOnce(&mut Canvas, &str)) -> String {
    let frame = Frame::fitted(land, (0.0, 0.0), size);
    let mut c = Canvas::new(frame);
    paint(&mut c, id);
    let mut d = Drawing::new();
    d.raw(&ink::patterns(id));
    d.raw(&c.into_groups(id));
    scale_bar(&mut d, &frame);
    d.finish(id, title, size.0, size.1)
}

/// A plain scale bar and a north arrow in the corners of a map.
fn scale_bar(d: &mut Drawing, f: &Frame) {
    let m = super::study::nice(0.12 * f.size.0 / f.scale);
    let (x, y) = (f.corner.0 + 3.0, f.corner.1 + f.size.1 - 3.0);
    let (long, size) = (m * f.scale, (0.014 * f.size.0).clamp(2.0, 3.4));
    d.path(&format!("M{x:.2} {:.2}v1.4h{long:.2}v-1.4", y - 1.4), "fill=\"none\" stroke=\"#000\" stroke-width=\"0.4\"");
    d.label((x + long + 1.5, y + 0.3), &format!("{m} m"), size, "");
    let n = f.corner.0 + f.size.0 - 5.0;
    d.path(
        &format!("M{n:.2} {:.2}l2 7l-2 -1.7l-2 1.7Z", f.corner.1 + 3.0),
        "fill=\"#222\" stroke=\"#fff\" stroke-width=\"0.2\"",
    );
    d.label((n, f.corner.1 + 13.0), "N", 2.6, "text-anchor=\"middle\"");
}

/// Height that goes with a width for the property, between flat and square.
fn height_for(land: Rect<f64>, width: f64) -> f64 {
    (width * land.height() / land.width().max(1.0)).clamp(0.35 * width, 0.9 * width)
}

/// The plan at a glance.
pub(in crate::publish) fn overview(results: &Results<'_>, id: &str, width: f64) -> Option<(String, (f64, f64))> {
    let land = extent(results)?;
    let size = (width, height_for(land, width));
    let svg = drawn(id, &format!("Plan of {}", results.site.name), land, size, |c, p| {
        design::row_arrows(c, results);
        design::layout(c, results);
        design::block_names(c, results, design::no_words);
        ground::keep(c, results, p, false);
        ground::waterways(c, results, true);
        ground::standing(c, results, false);
        design::drains(c, results, false);
        ground::boundary(c, results, false);
    });
    Some((svg, size))
}

/// The drawing of the page's map, its layers (id and title), and its frame.
pub(in crate::publish) type PageDrawing = (String, Vec<(&'static str, &'static str)>, Frame);

/// The map of the page: every layer of the plan, each in its own groups. Gives the layers used.
pub(in crate::publish) fn page_map(results: &Results<'_>) -> Option<PageDrawing> {
    let land = extent(results)?;
    let size = (300.0, height_for(land, 300.0));
    let frame = Frame::fitted(land, (0.0, 0.0), size);
    let mut c = Canvas::new(frame);
    design::row_arrows(&mut c, results);
    design::layout(&mut c, results);
    design::block_names(&mut c, results, design::no_words);
    design::earth(&mut c, results, "map");
    ground::contours(&mut c, results, false);
    ground::keep(&mut c, results, "map", true);
    ground::waterways(&mut c, results, true);
    ground::standing(&mut c, results, true);
    ground::outlets(&mut c, results);
    design::drains(&mut c, results, true);
    design::drain_names(&mut c, results, false, &|_| true);
    design::debris(&mut c, results, None);
    ground::boundary(&mut c, results, false);
    let used = c.used();
    let mut d = Drawing::new();
    d.raw(&ink::patterns("map"));
    d.raw(&c.into_groups("map"));
    Some((d.finish("map", &format!("Plan of {}", results.site.name), size.0, size.1), used, frame))
}

/// What a block's map is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::publish) enum Trade {
    /// Clearing: windrows and heaps.
    Clearing,
    /// Earthmoving: cut, fill and hauls.
    Earth,
    /// Drains with their levels.
    Drains,
}

/// One block with what one trade does in it, and a little of what lies round it.
pub(in crate::publish) fn block_map(
    results: &Results<'_>,
    block: &RowBlock,
    id: &str,
    size: (f64, f64),
    trade: Trade,
) -> Option<String> {
    let land = block.outline.bounding_rect()?;
    let edge = 0.06 * land.width().max(land.height());
    let land = Rect::new(land.min() - Coord { x: edge, y: edge }, land.max() + Coord { x: edge, y: edge });
    Some(drawn(id, &format!("Map of block {}", block.name), land, size, |c, p| {
        // Drains are named on the sheet of whoever digs them; others see where they come.
        let digs = trade == Trade::Drains;
        match trade {
            Trade::Clearing => {
                ground::contours(c, results, false);
                design::outlines(c, results);
                design::debris(c, results, Some(block));
            }
            Trade::Earth => {
                design::haul(c, results, Some(block));
                design::earth(c, results, p);
                design::outlines(c, results);
            }
            Trade::Drains => {
                ground::outlets(c, results);
                ground::contours(c, results, false);
                design::outlines(c, results);
            }
        }
        design::drains(c, results, digs);
        if digs {
            design::drain_names(c, results, true, &|d| view::digs(d, block));
            design::crossings(c, results);
        }
        design::block_names(c, results, design::no_words);
        ground::keep(c, results, p, true);
        ground::waterways(c, results, true);
        ground::standing(c, results, true);
        ground::boundary(c, results, false);
        // What lies outside the block steps back.
        let path = c.frame.area(&block.outline);
        let veil = format!("M0 0H{}V{}H0Z{path}", size.0, size.1);
        c.on(Layer::Boundary).path(&veil, "fill=\"#fff\" fill-opacity=\"0.5\" fill-rule=\"evenodd\"");
        c.on(Layer::Boundary).path(&path, "fill=\"none\" stroke=\"#000\" stroke-width=\"0.5\"");
    }))
}
