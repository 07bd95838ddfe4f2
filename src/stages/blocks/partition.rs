//! Cuts a piece of land into blocks: recursive cuts first, then moves on pairs of neighbours, each weighed in full.

use super::judge::{Judge, Look, Trial};
use super::outline::{Outline, PieceEdges};
use super::search::{self, Fixed};
use crate::methods::in_order::map_in_order;
use crate::methods::shapes::{edge_bearings_by_length, reflex_vertices, split_across, union_all};
use crate::units::{Bearing, M2_PER_HA};
use geo::{Area, Coord, Line, Polygon, Simplify};

/// Cuts weighed with a full list of bearings after all have been weighed with a few.
const CLOSE_LOOKS: usize = 4;
/// A cut must save this share of the yearly cost to be taken: fewer blocks are worth something by themselves.
const LEAST_SAVING_RATIO: f64 = 0.01;
/// Re-entrant corners tried at each level, sharpest first, and levels of cutting.
const CORNERS: usize = 8;
const LEVELS: u32 = 5;
/// A part cut off and left in grass is at least this share of the least block.
const LEAST_GRASS_RATIO: f64 = 0.1;
/// Rounds of moves on neighbours.
const ROUNDS: usize = 3;
/// How far a border is slid, metres.
const SLIDES_M: [f64; 6] = [-60.0, -25.0, -8.0, 8.0, 25.0, 60.0];
/// Parts whose bearings are closer than this share one bearing when it costs no more than the second number, as a ratio.
const SHARED_DEG: f64 = 3.0;
pub(super) const SHARED_RATIO: f64 = 0.005;
/// Borders shorter than this are no common border, metres.
const BORDER_M: f64 = 20.0;

/// A part of a piece with what a quick look at it came to.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) outline: Outline,
    pub(super) trial: Trial,
}

/// A straight line a piece may be cut along.
#[derive(Debug, Clone, Copy)]
pub(super) struct CutLine {
    pub(super) at: Coord<f64>,
    pub(super) bearing: Bearing,
}

/// What cutting needs to know.
pub(super) struct Cutter<'a> {
    pub(super) judge: &'a Judge<'a>,
    pub(super) edges: &'a PieceEdges,
    pub(super) fixed: Fixed,
    /// Whether a part below the least block may be cut off and left in grass.
    pub(super) grass: bool,
    /// Lines proposed besides those through corners.
    pub(super) lines: &'a [CutLine],
    /// Bearings of the blocks laid out before on other pieces.
    pub(super) known: &'a [Bearing],
}

impl Cutter<'_> {
    /// The piece in parts, every part with its own best bearing at a quick look.
    pub(super) fn parts(&self, piece: Outline) -> Vec<Part> {
        let Some(trial) = search::quick(self.judge, &piece, self.fixed, &[]) else { return Vec::new() };
        let mut parts = self.cut(Part { outline: piece, trial }, LEVELS);
        self.moved(&mut parts);
        parts
    }

    /// The piece cut along one direction at every re-entrant corner, then put together again as the moves see fit: where
    /// one cut alone gains nothing but several together do.
    pub(super) fn trapezoids(&self, piece: &Outline, direction: Bearing) -> Vec<Part> {
        let mut polygons = across_corners(piece, direction);
        self.absorb_small(&mut polygons);
        let (_, mut parts) = self.weigh(&polygons, |o| self.rough(o, direction));
        self.moved(&mut parts);
        parts
    }

    /// Trapezoid split and merge (Oksanen & Visala 2009, in outline): cut along one direction at every re-entrant corner,
    /// each part at its own longest edge, neighbours merged as long as that is cheaper; what stays below the least block is
    /// left in grass.
    pub(super) fn split_and_merge(&self, piece: &Outline, direction: Bearing) -> Vec<Part> {
        let mut parts: Vec<(Outline, Option<Trial>)> =
            across_corners(piece, direction).iter().map(|p| self.at_longest_edge(p)).collect();
        while let Some((i, j, both)) = self.first_merger(&parts) {
            parts.remove(j);
            parts[i] = both;
        }
        parts.into_iter().filter_map(|(outline, trial)| Some(Part { trial: trial?, outline })).collect()
    }

    /// The first two neighbours that are cheaper as one.
    fn first_merger(&self, parts: &[(Outline, Option<Trial>)]) -> Option<(usize, usize, (Outline, Option<Trial>))> {
        let cost = |(outline, trial): &(Outline, Option<Trial>)| {
            trial.as_ref().map_or_else(|| self.in_grass(outline.area_m2), Trial::yearly)
        };
        let pairs = (0..parts.len()).flat_map(|i| (i + 1..parts.len()).map(move |j| (i, j)));
        pairs.into_iter().find_map(|(i, j)| {
            common_border(&parts[i].0, &parts[j].0, 0.1)?;
            let both = union_all([&parts[i].0.polygon, &parts[j].0.polygon], 1.0);
            let [one] = both.0.as_slice() else { return None };
            let merged = self.at_longest_edge(one);
            (cost(&merged) < cost(&parts[i]) + cost(&parts[j])).then_some((i, j, merged))
        })
    }

    /// A polygon with its rows along its longest edge; no rows when it is below the least block.
    fn at_longest_edge(&self, polygon: &Polygon<f64>) -> (Outline, Option<Trial>) {
        let outline = Outline::of(polygon, self.edges);
        let bearing = self.fixed.bearing.or_else(|| Some(edge_bearings_by_length(polygon).first()?.0));
        let large = outline.area_m2 >= self.least_m2();
        let trial = bearing.filter(|_| large).and_then(|b| self.judge.judge(&outline, b.axis(), Look::Quick));
        (outline, trial)
    }

    /// Rounds of moves until nothing gains, then bearings shared.
    pub(super) fn moved(&self, parts: &mut Vec<Part>) {
        for _ in 0..ROUNDS {
            if !self.improve(parts) {
                break;
            }
        }
        self.share_bearings(parts);
    }

    /// Yearly cost of land left without rows.
    fn in_grass(&self, area_m2: f64) -> f64 {
        area_m2 / self.judge.scale.powi(2) * self.judge.grass_per_m2()
    }

    /// Joins every polygon too small for a block, the smallest first, to the neighbour it shares most of its outline with.
    fn absorb_small(&self, polygons: &mut Vec<Polygon<f64>>) {
        loop {
            let small = (0..polygons.len())
                .filter(|i| polygons[*i].unsigned_area() < self.least_m2())
                .min_by(|a, b| polygons[*a].unsigned_area().total_cmp(&polygons[*b].unsigned_area()));
            let Some(i) = small else { return };
            let length = |p: &Polygon<f64>| p.exterior().lines().map(|l| l.dx().hypot(l.dy())).sum::<f64>();
            let joined = (0..polygons.len())
                .filter(|j| *j != i)
                .filter_map(|j| match union_all([&polygons[i], &polygons[j]], 1.0).0.as_slice() {
                    [one] => Some((length(&polygons[i]) + length(&polygons[j]) - length(one), j, one.clone())),
                    _ => None,
                })
                .reduce(|a, b| if b.0 > a.0 { b } else { a });
            let Some((_, j, one)) = joined else { return };
            polygons[j] = one;
            polygons.remove(i);
        }
    }

    fn least_m2(&self) -> f64 {
        self.judge.params.min_block_ha * M2_PER_HA
    }

    fn cut(&self, whole: Part, levels: u32) -> Vec<Part> {
        if levels == 0 || whole.outline.area_m2 < 2.0 * self.least_m2() {
            return vec![whole];
        }
        let weighed = map_in_order(&self.cuts(&whole), |p| self.weigh(p, |o| self.rough(o, whole.trial.bearing)));
        let mut choices: Vec<(f64, Vec<Part>)> = weighed.into_iter().filter(|(_, parts)| !parts.is_empty()).collect();
        choices.sort_by(|a, b| a.0.total_cmp(&b.0));
        let cheapest = choices
            .into_iter()
            .take(CLOSE_LOOKS)
            .map(|(cost, parts)| self.weigh_again(cost, parts, whole.trial.bearing))
            .reduce(|a, b| if b.0 < a.0 { b } else { a });
        match cheapest {
            Some((cost, parts)) if cost < whole.trial.yearly() * (1.0 - LEAST_SAVING_RATIO) => {
                parts.into_iter().flat_map(|part| self.cut(part, levels - 1)).collect()
            }
            _ => vec![whole],
        }
    }

    /// A few bearings: the whole's and the longest edges.
    fn rough(&self, outline: &Outline, whole: Bearing) -> Option<Trial> {
        let list = match self.fixed.bearing {
            Some(b) => vec![b.axis()],
            None => {
                let edges = edge_bearings_by_length(&outline.polygon.simplify(3.0));
                std::iter::once(whole).chain(edges.into_iter().take(3).map(|(b, _)| b)).collect()
            }
        };
        list.into_iter()
            .filter_map(|b| self.judge.judge(outline, b, Look::Quick))
            .reduce(|a, b| if b.yearly() < a.yearly() { b } else { a })
    }

    /// Yearly cost of polygons with the land they leave in grass: those below the least block and those no row fits on.
    fn weigh(&self, polygons: &[Polygon<f64>], look: impl Fn(&Outline) -> Option<Trial>) -> (f64, Vec<Part>) {
        let (mut cost, mut parts) = (0.0, Vec::new());
        for polygon in polygons {
            let outline = Outline::of(polygon, self.edges);
            let large = outline.area_m2 >= self.least_m2();
            match large.then(|| look(&outline)).flatten() {
                Some(trial) => {
                    cost += trial.yearly();
                    parts.push(Part { outline, trial });
                }
                None => cost += self.in_grass(outline.area_m2),
            }
        }
        (cost, parts)
    }

    /// Parts with the best of a full list of bearings, and what all comes to then.
    fn weigh_again(&self, mut cost: f64, mut parts: Vec<Part>, whole: Bearing) -> (f64, Vec<Part>) {
        for part in &mut parts {
            if let Some(trial) = search::quick(self.judge, &part.outline, self.fixed, &[whole]) {
                cost += trial.yearly() - part.trial.yearly();
                part.trial = trial;
            }
        }
        (cost, parts)
    }

    /// Ways to cut a part: through its re-entrant corners along either edge, along and across the rows; along proposed
    /// lines; across the rows at the middle.
    fn cuts(&self, part: &Part) -> Vec<Vec<Polygon<f64>>> {
        let rows = part.trial.bearing;
        let across = Bearing::from_degrees(rows.degrees() + 90.0);
        let simple = part.outline.polygon.simplify(3.0);
        let mut corners = reflex_vertices(&simple, 20.0);
        corners.sort_by(|a, b| b.turn_deg.total_cmp(&a.turn_deg));
        let through = corners
            .into_iter()
            .take(CORNERS)
            .flat_map(|c| [c.bearing_in, c.bearing_out, rows, across].map(|bearing| CutLine { at: c.at, bearing }));
        let lines: Vec<CutLine> = through.chain(self.lines.iter().copied()).collect();
        map_in_order(&lines, |line| self.split(&part.outline.polygon, *line)).into_iter().flatten().collect()
    }

    /// The parts a line cuts a polygon into, when one at least is large enough for a block. What is not is left in grass,
    /// which is worth a thought only where it is no mere splinter.
    fn split(&self, polygon: &Polygon<f64>, line: CutLine) -> Option<Vec<Polygon<f64>>> {
        let parts: Vec<Polygon<f64>> =
            split_across(polygon, line.at, line.bearing).into_iter().filter(|p| p.unsigned_area() > 1.0).collect();
        let least_m2 = if self.grass { LEAST_GRASS_RATIO * self.least_m2() } else { self.least_m2() };
        let worth = |p: &Polygon<f64>| p.unsigned_area() >= least_m2;
        let large = parts.iter().any(|p| p.unsigned_area() >= self.least_m2());
        (large && parts.len() >= 2 && parts.iter().all(worth)).then_some(parts)
    }

    /// One round over all pairs of neighbours; whether anything was gained.
    fn improve(&self, parts: &mut Vec<Part>) -> bool {
        let (mut gained, mut i) = (false, 0);
        while i < parts.len() {
            let mut j = i + 1;
            while j < parts.len() {
                if let Some(better) = self.move_border(&parts[i], &parts[j]) {
                    parts.remove(j);
                    parts.remove(i);
                    parts.splice(i..i, better);
                    gained = true;
                }
                j += 1;
            }
            i += 1;
        }
        gained
    }

    /// The best of: one block of both, the border slid, turned along or across either's rows; `None` when nothing gains.
    fn move_border(&self, a: &Part, b: &Part) -> Option<Vec<Part>> {
        let border = common_border(&a.outline, &b.outline, BORDER_M)?;
        let both = union_all([&a.outline.polygon, &b.outline.polygon], 1.0);
        let [whole] = both.0.as_slice() else { return None };
        let now = a.trial.yearly() + b.trial.yearly();
        let also = [a.trial.bearing, b.trial.bearing];
        let look = |o: &Outline| {
            let list = self.fixed.bearing.map_or_else(|| also.to_vec(), |f| vec![f.axis()]);
            list.into_iter()
                .filter_map(|x| self.judge.judge(o, x, Look::Quick))
                .reduce(|a, b| if b.yearly() < a.yearly() { b } else { a })
        };
        let mut choices: Vec<Vec<Polygon<f64>>> = vec![vec![whole.clone()]];
        let along = Bearing::from_east_north(border.dx(), border.dy());
        let (east, north) = along.east_north();
        let middle = (border.start + border.end) / 2.0;
        let slid =
            SLIDES_M.iter().map(|d| CutLine { at: middle + Coord { x: north * d, y: -east * d }, bearing: along });
        let turned = also
            .iter()
            .flat_map(|x| [*x, Bearing::from_degrees(x.degrees() + 90.0)])
            .map(|bearing| CutLine { at: middle, bearing });
        let lines: Vec<CutLine> = slid.chain(turned).collect();
        choices.extend(lines.into_iter().filter_map(|line| self.split(whole, line)));
        map_in_order(&choices, |polygons| self.weigh(polygons, look))
            .into_iter()
            .filter(|(cost, parts)| !parts.is_empty() && *cost < now * (1.0 - 0.2 * LEAST_SAVING_RATIO))
            .reduce(|a, b| if b.0 < a.0 { b } else { a })
            .map(|(_, parts)| parts)
    }

    /// Turns parts within a few degrees of each other onto one bearing where that costs next to nothing.
    fn share_bearings(&self, parts: &mut [Part]) {
        for i in 0..parts.len() {
            let mine = parts[i].trial.bearing;
            let larger = parts.iter().filter(|p| p.outline.area_m2 > parts[i].outline.area_m2);
            let near = |b: &Bearing| (1e-6..=SHARED_DEG).contains(&mine.axis_angle_to(*b));
            let others: Vec<Bearing> =
                self.known.iter().copied().chain(larger.map(|p| p.trial.bearing)).filter(near).collect();
            let shared = others
                .into_iter()
                .filter_map(|b| self.judge.judge(&parts[i].outline, b, Look::Quick))
                .find(|t| t.yearly() <= parts[i].trial.yearly() * (1.0 + SHARED_RATIO));
            if let Some(trial) = shared {
                parts[i].trial = trial;
            }
        }
    }
}

/// A piece cut along one direction at every re-entrant corner.
fn across_corners(piece: &Outline, direction: Bearing) -> Vec<Polygon<f64>> {
    let mut polygons = vec![piece.polygon.clone()];
    for corner in reflex_vertices(&piece.polygon.simplify(3.0), 20.0) {
        polygons = polygons.iter().flat_map(|p| split_across(p, corner.at, direction)).collect();
    }
    polygons.retain(|p| p.unsigned_area() > 1.0);
    polygons
}

/// The longest edge two outlines have in common (the longer one of either), when it is long enough.
fn common_border(a: &Outline, b: &Outline, least_m: f64) -> Option<Line<f64>> {
    let inner = |o: &Outline| -> Vec<Line<f64>> {
        let faces = |(_, beside): &&(Line<f64>, super::outline::Beside)| *beside == super::outline::Beside::Block;
        o.edges.iter().filter(faces).map(|(l, _)| *l).collect()
    };
    let (mine, theirs) = (inner(a), inner(b));
    let length = |l: &Line<f64>| l.dx().hypot(l.dy());
    mine.iter()
        .flat_map(|l| theirs.iter().map(move |m| (l, m)))
        .filter(|(l, m)| overlap_m(l, m) >= least_m)
        .map(|(l, m)| if length(m) > length(l) { *m } else { *l })
        .reduce(|p, q| if length(&q) > length(&p) { q } else { p })
}

/// Length two segments run on the same line, metres.
fn overlap_m(a: &Line<f64>, b: &Line<f64>) -> f64 {
    let length = a.dx().hypot(a.dy());
    let (ux, uy) = (a.dx() / length, a.dy() / length);
    let place = |c: Coord<f64>| {
        let (x, y) = (c.x - a.start.x, c.y - a.start.y);
        (x * ux + y * uy, (x * uy - y * ux).abs())
    };
    let (s, e) = (place(b.start), place(b.end));
    if s.1.max(e.1) > 0.05 {
        return 0.0;
    }
    s.0.max(e.0).min(length) - s.0.min(e.0).max(0.0)
}
