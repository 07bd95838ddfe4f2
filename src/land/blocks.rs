//! Row blocks, rows, headlands and tracks.

use crate::units::{Bearing, Slope};
use geo::{Coord, LineString, MultiPolygon, Polygon};
use serde::{Deserialize, Serialize};

/// Number of a row block: north to south, then west to east, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct BlockId(pub u32);

impl std::fmt::Display for BlockId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// Fall along one row on one surface. Positive fall runs from the row's first point to its last.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RowFall {
    /// End-to-end fall.
    pub mean: Slope,
    /// Least fall over the stated window.
    pub least: Slope,
    /// Greatest fall over the stated window.
    pub greatest: Slope,
    /// Deepest water that stands in the row before it runs on, metres.
    pub reverse_depth_m: f64,
    /// Height of the high end, metres.
    pub high_level_m: f64,
    /// Height of the low end, metres.
    pub low_level_m: f64,
}

/// One crop row, drawn the way its water runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Number within the block, left to right as seen along the block's bearing, from 1.
    pub number: u32,
    /// Centre line from the high end to the low end.
    pub line: LineString<f64>,
    /// Length on the ground, metres.
    pub length_m: f64,
    /// Fall on the ground as it lies; `None` when no ground was given.
    pub fall: Option<RowFall>,
}

impl Row {
    /// The low end, where the row's water leaves.
    #[must_use]
    pub fn low_end(&self) -> Coord<f64> {
        self.line.0.last().copied().unwrap_or_default()
    }
    /// The high end.
    #[must_use]
    pub fn high_end(&self) -> Coord<f64> {
        self.line.0.first().copied().unwrap_or_default()
    }
    /// The place halfway along.
    #[must_use]
    pub fn middle(&self) -> Coord<f64> {
        self.at_share(0.5)
    }
    /// The place a share of the row's length from the high end.
    #[must_use]
    pub fn at_share(&self, share_ratio: f64) -> Coord<f64> {
        if let [high, low] = self.line.0.as_slice() {
            return *high + (*low - *high) * share_ratio;
        }
        let length = |l: &geo::Line<f64>| l.dx().hypot(l.dy());
        let mut left_m = share_ratio * self.line.lines().map(|l| length(&l)).sum::<f64>();
        for piece in self.line.lines() {
            let long_m = length(&piece);
            if left_m <= long_m && long_m > 0.0 {
                return piece.start + (piece.end - piece.start) * (left_m / long_m);
            }
            left_m -= long_m;
        }
        self.low_end()
    }
}

/// What a headland is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeadlandKind {
    /// Machines turn here.
    Turning,
    /// Runs beside the rows.
    Side,
}

/// Grassed strip between rows and the block's edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Headland {
    /// What it is for.
    pub kind: HeadlandKind,
    /// Outline.
    pub outline: Polygon<f64>,
    /// Width, metres on the ground.
    pub width_m: f64,
}

/// What a layout costs in a year, term by term, dollars. What is paid once is spread over the stated years, with
/// interest and contingency.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct YearlyCost {
    /// Turns at row ends.
    pub turning: f64,
    /// Margin lost on land under headlands and on land too short to plant, and the grass there.
    pub headland: f64,
    /// Margin lost on land under drains along the low ends.
    pub drain_land: f64,
    /// Digging of drains along the low ends.
    pub drain_digging: f64,
    /// Extra time in short rows.
    pub short_rows: f64,
    /// Drains across rows longer than the furrow can carry.
    pub long_rows: f64,
    /// Ponding or scour where the fall stays outside the limits.
    pub fall: f64,
    /// Earth with its haul.
    pub earth: f64,
    /// Haul of the crop to the loading place.
    pub crop_haul: f64,
    /// Rows whose low end lies below the drain reach.
    pub undrained: f64,
}

impl YearlyCost {
    /// The terms in order, with their names.
    #[must_use]
    pub const fn terms(&self) -> [(&'static str, f64); 10] {
        [
            ("turning", self.turning),
            ("headland", self.headland),
            ("drain_land", self.drain_land),
            ("drain_digging", self.drain_digging),
            ("short_rows", self.short_rows),
            ("long_rows", self.long_rows),
            ("fall", self.fall),
            ("earth", self.earth),
            ("crop_haul", self.crop_haul),
            ("undrained", self.undrained),
        ]
    }
    /// Sum of the terms.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.terms().iter().map(|(_, dollars)| dollars).sum()
    }
    /// Terms added one by one.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        Self {
            turning: self.turning + other.turning,
            headland: self.headland + other.headland,
            drain_land: self.drain_land + other.drain_land,
            drain_digging: self.drain_digging + other.drain_digging,
            short_rows: self.short_rows + other.short_rows,
            long_rows: self.long_rows + other.long_rows,
            fall: self.fall + other.fall,
            earth: self.earth + other.earth,
            crop_haul: self.crop_haul + other.crop_haul,
            undrained: self.undrained + other.undrained,
        }
    }
}

/// What a block was judged by.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Judged {
    /// Yearly cost.
    pub cost: YearlyCost,
    /// Whether rows fall from a crest to both ends.
    pub two_way: bool,
    /// Earth of the least-earth surface on the coarse lattice, cubic metres.
    pub earth_m3: f64,
    /// Share by which that earth may exceed the least possible; `None` when it is a lower bound.
    pub earth_gap_ratio: Option<f64>,
    /// Mean way of the crop to the loading place, metres; `None` when that is not given.
    pub crop_haul_m: Option<f64>,
}

/// The smooth line the rows of a block are parallels of: arcs and straight pieces joined without a kink, straight on
/// beyond both ends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bend {
    /// Where it starts.
    pub start: Coord<f64>,
    /// Heading there, radians clockwise from grid north.
    pub heading_rad: f64,
    /// Length (metres) and curvature (one over metres, positive turns right) of each piece.
    pub pieces: Vec<(f64, f64)>,
}

/// Land with one row direction, one surface and one set of outlets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowBlock {
    /// Number.
    pub id: BlockId,
    /// Name: the user's, else the number.
    pub name: String,
    /// Name of the parcel it lies in, empty when parcels are worked as one.
    pub parcel: String,
    /// Outline, headlands included.
    pub outline: Polygon<f64>,
    /// Land under rows: the outline less its headlands.
    pub cropped: MultiPolygon<f64>,
    /// Direction the water runs down most rows; of rows that bend, the mean direction.
    pub bearing: Bearing,
    /// The line rows that bend are parallels of, drawn the way the water runs; `None` for straight rows.
    pub bent: Option<Bend>,
    /// Row spacing on the ground, metres.
    pub row_spacing_m: f64,
    /// Rows, in order of number.
    pub rows: Vec<Row>,
    /// Headlands.
    pub headlands: Vec<Headland>,
    /// What the layout was judged by.
    pub judged: Judged,
    /// Whether the user drew this block.
    pub given: bool,
}

impl RowBlock {
    /// Total row length, metres on the ground.
    #[must_use]
    pub fn row_metres(&self) -> f64 {
        self.rows.iter().map(|r| r.length_m).sum()
    }
    /// Row lengths, shortest first.
    #[must_use]
    pub fn sorted_lengths_m(&self) -> Vec<f64> {
        let mut lengths: Vec<f64> = self.rows.iter().map(|r| r.length_m).collect();
        lengths.sort_by(f64::total_cmp);
        lengths
    }
    /// The length below which a share of the rows lies (0.5 for the median, 0.1 for P10); zero without rows.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an index inside the list")]
    pub fn length_quantile_m(&self, share_ratio: f64) -> f64 {
        let lengths = self.sorted_lengths_m();
        if lengths.is_empty() {
            return 0.0;
        }
        let at = share_ratio * (lengths.len() - 1) as f64;
        let low = at.floor() as usize;
        let high = at.ceil() as usize;
        lengths[low] + (lengths[high] - lengths[low]) * (at - low as f64)
    }
}

/// One bearing tried on one piece of land: a row of the bearing study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BearingTrial {
    /// The plantable piece, by its number.
    pub piece: u32,
    /// Name of the block when it was tried on one; empty for a whole piece.
    pub block: String,
    /// Axis tried, `[0, 180)`.
    pub bearing: Bearing,
    /// Why it was tried: an edge, the end of the admissible falls, a sweep, the user's wish.
    pub reason: String,
    /// Rows after headlands.
    pub rows: u32,
    /// Mean row length, metres on the ground.
    pub mean_length_m: f64,
    /// Median row length, metres on the ground.
    pub median_length_m: f64,
    /// Length a tenth of the rows stay below, metres on the ground.
    pub p10_length_m: f64,
    /// Turns per hectare of piece.
    pub turns_per_ha: f64,
    /// Share of the piece under headlands.
    pub headland_ratio: f64,
    /// Share of row metres whose fall is within limits on the ground as it lies.
    pub within_fall_ratio: f64,
    /// Earth of the least-earth surface, cubic metres per hectare: of a surface with a known gap, or a bound.
    pub earth_m3_per_ha: f64,
    /// Share by which that earth may exceed the least possible; `None` when the earth is a lower bound.
    pub earth_gap_ratio: Option<f64>,
    /// Whether that surface falls from a crest to both ends.
    pub two_way: bool,
    /// Spacing of the lattice the earth was judged on, metres.
    pub lattice_m: f64,
    /// Yearly cost per hectare, term by term, dollars.
    pub cost_per_ha: YearlyCost,
    /// Yearly cost per hectare, dollars.
    pub yearly_cost_per_ha: f64,
    /// Cost of the earth once, dollars per hectare.
    pub once_cost_per_ha: f64,
    /// Whether it was taken.
    pub chosen: bool,
}

/// Plantable land that got no rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeftOut {
    /// Outline.
    pub outline: Polygon<f64>,
    /// Why, in words.
    pub reason: String,
}

/// A new track that gives access.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedTrack {
    /// Number from 1.
    pub id: u32,
    /// Centre line.
    pub line: LineString<f64>,
    /// Width, metres on the ground.
    pub width_m: f64,
}

/// The layout.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct BlockPlan {
    /// Blocks in order of number.
    pub blocks: Vec<RowBlock>,
    /// New tracks.
    pub tracks: Vec<PlannedTrack>,
    /// The bearing study.
    pub study: Vec<BearingTrial>,
    /// Plantable land without rows.
    pub left_out: Vec<LeftOut>,
    /// Fewest rows any straight layout of the same cropped land could have.
    pub rows_lower_bound: f64,
    /// No straight layout of the plantable land costs less in a year, dollars: turning and lost land; the other terms are
    /// taken at nothing.
    pub yearly_lower_bound: f64,
    /// Rows shorter than this are counted as short, metres on the ground.
    pub short_row_m: f64,
    /// What the layout let a dollar paid once cost in every year; 0 when nothing was priced.
    pub pay_off_per_year: f64,
}
