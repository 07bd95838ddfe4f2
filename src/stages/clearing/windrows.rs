//! Where the windrows lie: between the future rows, clear of water and of what must not burn.

use super::params::{ClearingParams, SpacingChoice};
use crate::land::blocks::RowBlock;
use crate::land::clearing::Windrow;
use crate::land::site::Site;
use crate::land::water::WaterModel;
use crate::methods::earthwork::push::{LineStacking, mean_distance_to_lines_m};
use crate::methods::shapes::{Frame, RowFrame, buffer_lines, buffer_polygon, difference, intersection, union_all};
use crate::stages::row_frame;
use crate::units::M2_PER_HA;
use geo::{Area, Coord, Distance, Euclidean, LineString, MultiLineString, MultiPolygon, Point, Polygon, Simplify};

/// Windrows along rows that bend are drawn no finer than this, metres.
const DRAWN_M: f64 = 0.2;
/// Pieces shorter than this are not worth a windrow, metres.
const SHORTEST_M: f64 = 10.0;
/// Slivers below this are dropped from the land windrows may use, square metres.
const SLIVER_M2: f64 = 10.0;
/// A width that is a whole number of spacings stays one in spite of rounding.
const ROUNDING: f64 = 1e-6;
/// A block edge further from a bank than this is no place for a bank stack, metres.
const BANK_WITHIN_M: f64 = 80.0;

/// The windrows of one block.
pub struct BlockWindrows {
    /// Parts between gaps, without numbers.
    pub windrows: Vec<Windrow>,
    /// Mean distance debris is pushed, metres.
    pub mean_push_m: f64,
    /// Dry debris of the block, tonnes.
    pub debris_t: f64,
    /// Whether they lie along a bank and stay.
    pub stays: bool,
}

/// Land no windrow and no heap may use: gaps at flow lines, stand-offs of waterways, power lines and kept land.
#[must_use]
pub fn forbidden(site: &Site, water: &WaterModel, p: &ClearingParams) -> MultiPolygon<f64> {
    let lines = |all: Vec<LineString<f64>>, half_m: f64| buffer_lines(&MultiLineString(all), half_m);
    let mut parts: Vec<Polygon<f64>> = Vec::new();
    parts.extend(lines(water.drainage_lines.iter().map(|d| d.line.clone()).collect(), p.gap_m / 2.0));
    for waterway in &site.layers.waterways {
        let own_m = waterway.width_m.unwrap_or(0.0) / 2.0;
        parts.extend(lines(vec![waterway.line.clone()], own_m + p.off_waterway_m));
        if let Some(banks) = &waterway.banks {
            parts.extend(buffer_polygon(banks, p.off_waterway_m));
        }
    }
    parts.extend(lines(site.layers.power_lines.iter().map(|l| l.line.clone()).collect(), p.off_power_line_m));
    for keep in &site.layers.keep_areas {
        parts.extend(buffer_polygon(&keep.outline, p.off_keep_area_m));
    }
    union_all(&parts, 0.0)
}

/// Distance between windrows, metres on the ground.
#[must_use]
pub fn spacing_m(p: &ClearingParams) -> f64 {
    match p.spacing {
        SpacingChoice::Given => p.windrow_spacing_m,
        SpacingChoice::Cheapest => cheapest_spacing_m(p).min(p.windrow_spacing_m),
    }
}

/// Cheapest distance between windrows for the load and the two prices, metres.
#[must_use]
pub fn cheapest_spacing_m(p: &ClearingParams) -> f64 {
    LineStacking {
        load_t_m2: load_t_ha(p) / M2_PER_HA,
        push_cost_per_t_m: p.push_cost_per_t_m,
        line_cost_per_m: p.windrow_cost_per_m,
    }
    .best_spacing_m()
}

/// Dry debris, tonnes a hectare.
#[must_use]
pub fn load_t_ha(p: &ClearingParams) -> f64 {
    p.debris_t_ha + p.stumps_t_ha
}

/// Land of a block, hectares on the ground.
#[must_use]
pub fn block_ha(site: &Site, block: &RowBlock) -> f64 {
    let at = block.outline.exterior().0.first().copied().unwrap_or_default();
    site.geodesy.ground_area_m2(at, block.outline.unsigned_area()) / M2_PER_HA
}

/// Windrows between the future rows: parallel, evenly spread, each part between two gaps on its own.
#[must_use]
pub fn along_rows(site: &Site, block: &RowBlock, forbidden: &MultiPolygon<f64>, p: &ClearingParams) -> BlockWindrows {
    let debris_t = block_ha(site, block) * load_t_ha(p);
    let mut result = BlockWindrows { windrows: Vec::new(), mean_push_m: 0.0, debris_t, stays: false };
    let allowed = difference(&block.cropped, forbidden, SLIVER_M2);
    let straight = || Frame::about(block.bearing, &block.cropped).map(RowFrame::Straight);
    let Some(frame) = row_frame::bent(block).or_else(straight) else { return result };
    let Some((_, (left_m, right_m))) = frame.extent(&block.cropped) else { return result };
    let scale = site.geodesy.scale_at(frame.leave(left_m, 0.0));
    let wanted_m = spacing_m(p) * scale;
    // Evenly spread: every windrow gathers from the same width, none wider than wanted.
    let even_m = (right_m - left_m) / ((right_m - left_m) / wanted_m - ROUNDING).ceil().max(1.0);
    let mut parts = Vec::new();
    for piece in frame.clip(&allowed, even_m, left_m + even_m / 2.0).unwrap_or_default() {
        let line = frame.drawn(piece.across_m, piece.from_m, piece.to_m);
        parts.extend(between_gaps(&LineString(line).simplify(DRAWN_M).0, p, scale));
    }
    result.mean_push_m = mean_distance_to_lines_m(even_m / scale);
    result.windrows = loaded(parts, debris_t, false, p);
    result
}

/// Windrows along the edge of a block nearest to a bank; `None` when no edge lies near one.
#[must_use]
pub fn along_bank(
    site: &Site,
    water: &WaterModel,
    block: &RowBlock,
    forbidden: &MultiPolygon<f64>,
    p: &ClearingParams,
) -> Option<BlockWindrows> {
    let banks = banks(site, water);
    let area_ha = block_ha(site, block);
    let debris_t = area_ha * load_t_ha(p);
    let inset = buffer_polygon(&MultiPolygon(vec![block.outline.clone()]), -(p.windrow_width_m / 2.0 + 1.0));
    let near = buffer_lines(&MultiLineString(banks.clone()), BANK_WITHIN_M);
    let usable = difference(&intersection(&inset, &near, SLIVER_M2), forbidden, SLIVER_M2);
    let scale = site.geodesy.scale_at(block.outline.exterior().0.first().copied()?);
    let mut parts = Vec::new();
    for ring in inset.0.iter().map(Polygon::exterior) {
        for run in runs_inside(ring, &usable) {
            parts.extend(between_gaps(&run, p, scale));
        }
    }
    let length_m: f64 = parts.iter().map(line_length_m).sum::<f64>() / scale;
    if length_m < SHORTEST_M {
        return None;
    }
    // Pushed across the whole depth of the block to its edge: on average half of area over edge length.
    let mean_push_m = area_ha * M2_PER_HA / length_m / 2.0;
    Some(BlockWindrows { windrows: loaded(parts, debris_t, true, p), mean_push_m, debris_t, stays: true })
}

/// Lines whose banks can take a stack: mapped waterways and flow lines that stay open.
fn banks(site: &Site, water: &WaterModel) -> Vec<LineString<f64>> {
    let mapped = site.layers.waterways.iter().map(|w| w.line.clone());
    let open = water.drainage_lines.iter().filter(|d| d.stays_open).map(|d| d.line.clone());
    mapped.chain(open).collect()
}

/// The runs of a ring that lie inside a shape, sampled every few metres.
fn runs_inside(ring: &LineString<f64>, shape: &MultiPolygon<f64>) -> Vec<Vec<Coord<f64>>> {
    const STEP_M: f64 = 4.0;
    let mut runs: Vec<Vec<Coord<f64>>> = vec![Vec::new()];
    for pair in ring.0.windows(2) {
        let along = pair[1] - pair[0];
        let steps = (along.x.hypot(along.y) / STEP_M).ceil().max(1.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of steps along one block")]
        let count = steps as u32;
        for k in 0..count {
            let at = pair[0] + along * (f64::from(k) / steps);
            // The ring is the edge of the shape itself, so "inside" allows for rounding.
            if Euclidean.distance(&Point(at), shape) < 0.01 {
                if let Some(run) = runs.last_mut() {
                    run.push(at);
                }
            } else if runs.last().is_some_and(|run| !run.is_empty()) {
                runs.push(Vec::new());
            }
        }
    }
    runs.retain(|run| run.len() > 1);
    runs
}

/// Cuts a line into parts with a gap after each.
fn between_gaps(line: &[Coord<f64>], p: &ClearingParams, scale: f64) -> Vec<LineString<f64>> {
    let (gap_m, every_m) = (p.gap_m * scale, p.gap_every_m * scale);
    let total_m = line_length_m(&LineString(line.to_vec()));
    let part_m = (every_m - gap_m).max(SHORTEST_M);
    let mut parts = Vec::new();
    let mut from_m = 0.0;
    while from_m < total_m {
        let to_m = f64::min(from_m + part_m, total_m);
        if to_m - from_m >= SHORTEST_M {
            parts.push(LineString(cut_out(line, from_m, to_m)));
        }
        from_m = to_m + gap_m;
    }
    parts
}

/// The stretch of a line between two distances from its start.
fn cut_out(line: &[Coord<f64>], from_m: f64, to_m: f64) -> Vec<Coord<f64>> {
    let mut points = Vec::new();
    let mut at_m = 0.0;
    for pair in line.windows(2) {
        let along = pair[1] - pair[0];
        let length_m = along.x.hypot(along.y);
        let (a, b) = ((from_m - at_m).max(0.0), (to_m - at_m).min(length_m));
        if length_m > 0.0 && a < b {
            if points.is_empty() {
                points.push(pair[0] + along * (a / length_m));
            }
            points.push(pair[0] + along * (b / length_m));
        }
        at_m += length_m;
    }
    points
}

/// Length of a line on the plan, metres.
#[must_use]
pub fn line_length_m(line: &LineString<f64>) -> f64 {
    line.0.windows(2).map(|p| (p[1].x - p[0].x).hypot(p[1].y - p[0].y)).sum()
}

/// Shares the debris of a block among its parts by length.
fn loaded(parts: Vec<LineString<f64>>, debris_t: f64, stays: bool, p: &ClearingParams) -> Vec<Windrow> {
    let total_m: f64 = parts.iter().map(line_length_m).sum();
    parts
        .into_iter()
        .map(|line| {
            let load_t = debris_t * line_length_m(&line) / total_m;
            Windrow { id: 0, line, width_m: p.windrow_width_m, load_t, stays }
        })
        .collect()
}
