//! As-built against design: how far a later survey lies from the surface that was to be built.

use crate::finding::{Problem, Problems};
use crate::land::as_built::Tolerances;
use crate::land::blocks::RowFall;
use crate::land::survey::{ElevationModel, RawElevation, RawSurvey, SurveyPoint};
use crate::stages::as_built;
use geo::{Coord, LineString};
use serde::{Deserialize, Serialize};

/// The difference table. A difference is survey less design: positive where too much soil was left.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Difference {
    /// Cells or points compared.
    pub compared: usize,
    /// Points or cells of the survey outside the formed area.
    pub outside: usize,
    /// Mean difference, metres.
    pub mean_m: f64,
    /// Standard deviation, metres; zero for a single value.
    pub sd_m: f64,
    /// Root of the mean square, metres.
    pub rms_m: f64,
    /// Greatest difference upward and downward, metres.
    pub greatest_m: (f64, f64),
    /// Share within 25 mm.
    pub within_25_mm_ratio: f64,
    /// Share within 50 mm.
    pub within_50_mm_ratio: f64,
    /// Area compared, square metres on the grid: cells for a raster, the formed area for points.
    pub area_m2: f64,
    /// Soil still to be cut, cubic metres; for points the mean excess times the area.
    pub too_high_m3: f64,
    /// Soil still to be filled, cubic metres.
    pub too_low_m3: f64,
}

/// One row on the finished ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowAsBuilt {
    /// Name: block and number.
    pub row: String,
    /// Mean fall from high end to low end, per cent; `None` where the survey does not cover the row.
    pub fall_mean_pct: Option<f64>,
    /// Deepest water that stands in it before it runs on, metres.
    pub reverse_depth_m: Option<f64>,
}

/// One limit and what was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// What was judged.
    pub item: String,
    /// What was found.
    pub found: f64,
    /// The limit.
    pub limit: f64,
    /// Unit of both.
    pub unit: String,
    /// Whether the limit holds; `None` when it could not be judged.
    pub holds: Option<bool>,
}

/// Everything a comparison found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AsBuilt {
    /// Heights.
    pub difference: Difference,
    /// Rows, in the order of the run.
    pub rows: Vec<RowAsBuilt>,
    /// Limit by limit.
    pub judgements: Vec<Judgement>,
    /// Whether every limit holds. What could not be judged does not stand in the way, but is said.
    pub accepted: bool,
    /// Places compared and their difference, metres; for the map.
    #[serde(skip)]
    pub places: Vec<(Coord<f64>, f64)>,
    /// Side of what one place stands for, metres; `None` for single points.
    #[serde(skip)]
    pub cell_m: Option<f64>,
}

/// Compares what was read as elevation (the later survey) with what was read as given surface (the design), and the rows
/// of the run (read as lines, high end first) with the finished ground.
///
/// # Errors
/// When one of them is missing or they do not meet.
pub fn compare(raw: &RawSurvey, names: &[String], limits: &Tolerances) -> Result<AsBuilt, Problems> {
    let missing = |what: &str| Problem::data("nothing_to_compare", format!("there is no {what} to compare"));
    let surface = raw.given_surface.as_ref().ok_or_else(|| missing("design surface"))?;
    let design = &surface.0;
    let survey = raw.elevation.as_ref().ok_or_else(|| missing("survey"))?;
    let cell_m2 = design.spec.cell_area_m2();
    let (places, outside): (Vec<(Coord<f64>, f64)>, usize) = match survey {
        RawElevation::Raster { heights, .. } => {
            let mut found = Vec::new();
            for (cell, level) in design.iter() {
                let centre = design.spec.centre(cell);
                found.extend(heights.bilinear(centre).map(|built| (centre, built - f64::from(level))));
            }
            let outside = design.count_valid() - found.len();
            (found, outside)
        }
        RawElevation::Points { points, .. } => {
            // The cell itself must be formed: a point beside the formed area has nothing to be compared with.
            let at = |p: &SurveyPoint| {
                design.at(p.at)?;
                Some((p.at, p.height_m - design.bilinear(p.at)?))
            };
            let found: Vec<_> = points.iter().filter_map(at).collect();
            let outside = points.len() - found.len();
            (found, outside)
        }
    };
    if places.is_empty() {
        let problem =
            Problem::data("surfaces_do_not_meet", "the survey and the design surface have no place in common");
        return Err(problem
            .hint("check the coordinate system of the survey and that it covers the formed blocks")
            .into());
    }
    let (share_m2, cell_m) = match survey {
        RawElevation::Raster { .. } => (cell_m2, Some(design.spec.cell_m)),
        RawElevation::Points { .. } => (design.count_valid() as f64 * cell_m2 / places.len() as f64, None),
    };
    let differences: Vec<f64> = places.iter().map(|(_, d)| *d).collect();
    let difference = summed(&differences, outside, share_m2);
    let rows = rows(survey, surface, &raw.layers.old_tree_rows, names);
    let judgements = judge(&difference, &rows, limits);
    let accepted = judgements.iter().all(|j| j.holds != Some(false));
    Ok(AsBuilt { difference, rows, judgements, accepted, places, cell_m })
}

fn rows(
    survey: &RawElevation,
    design: &ElevationModel,
    lines: &[LineString<f64>],
    names: &[String],
) -> Vec<RowAsBuilt> {
    let gridded;
    let surface = match survey {
        RawElevation::Raster { heights, .. } => heights,
        RawElevation::Points { points, .. } => match as_built::surface(points, design.0.spec) {
            Some(surface) => {
                gridded = surface;
                &gridded
            }
            None => return Vec::new(),
        },
    };
    let falls = as_built::row_falls(surface, lines);
    let named = |(i, fall): (usize, Option<RowFall>)| RowAsBuilt {
        row: names.get(i).cloned().unwrap_or_else(|| format!("row {}", i + 1)),
        fall_mean_pct: fall.map(|f| f.mean.percent()),
        reverse_depth_m: fall.map(|f| f.reverse_depth_m),
    };
    falls.into_iter().enumerate().map(named).collect()
}

fn judge(d: &Difference, rows: &[RowAsBuilt], limits: &Tolerances) -> Vec<Judgement> {
    let least = |item: &str, ratio: f64, limit: f64| Judgement {
        item: item.to_owned(),
        found: ratio * 100.0,
        limit,
        unit: "%".to_owned(),
        holds: Some(ratio * 100.0 >= limit - 1e-9),
    };
    let most = |item: &str, found_mm: Option<f64>, limit: f64| Judgement {
        item: item.to_owned(),
        found: found_mm.unwrap_or(0.0),
        limit,
        unit: "mm".to_owned(),
        holds: found_mm.map(|found| found <= limit + 1e-6),
    };
    let deepest = rows.iter().filter_map(|r| r.reverse_depth_m).reduce(f64::max);
    vec![
        least("least within 25 mm", d.within_25_mm_ratio, limits.within_25_mm_min_pct),
        least("least within 50 mm", d.within_50_mm_ratio, limits.within_50_mm_min_pct),
        most("largest mean difference", Some(d.mean_m.abs() * 1_000.0), limits.mean_max_mm),
        most("deepest water in a row", deepest.map(|m| m * 1_000.0), limits.reverse_max_mm),
    ]
}

impl AsBuilt {
    /// Names of the rows in which water stands deeper than the limit, and the depth, metres.
    pub fn reversed(&self, limits: &Tolerances) -> impl Iterator<Item = (&str, f64)> {
        let limit_m = limits.reverse_max_mm / 1_000.0 + 1e-9;
        self.rows.iter().filter_map(move |r| Some((r.row.as_str(), r.reverse_depth_m.filter(|d| *d > limit_m)?)))
    }
}

fn summed(differences: &[f64], outside: usize, share_m2: f64) -> Difference {
    let n = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / n;
    let squares: f64 = differences.iter().map(|d| (d - mean).powi(2)).sum();
    let within = |limit: f64| differences.iter().filter(|d| d.abs() <= limit + 1e-9).count() as f64 / n;
    Difference {
        compared: differences.len(),
        outside,
        mean_m: mean,
        sd_m: if differences.len() > 1 { (squares / (n - 1.0)).sqrt() } else { 0.0 },
        rms_m: (differences.iter().map(|d| d * d).sum::<f64>() / n).sqrt(),
        greatest_m: (
            differences.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            differences.iter().copied().fold(f64::INFINITY, f64::min),
        ),
        within_25_mm_ratio: within(0.025),
        within_50_mm_ratio: within(0.050),
        area_m2: n * share_m2,
        too_high_m3: differences.iter().map(|d| d.max(0.0)).sum::<f64>() * share_m2,
        too_low_m3: differences.iter().map(|d| (-d).max(0.0)).sum::<f64>() * share_m2,
    }
}

impl Difference {
    /// The table: name, value and unit of each line.
    #[must_use]
    pub fn lines(&self) -> Vec<(&'static str, String, &'static str)> {
        let mm = |m: f64| format!("{:.0}", m * 1_000.0);
        let pct = |ratio: f64| format!("{:.1}", ratio * 100.0);
        vec![
            ("compared", self.compared.to_string(), ""),
            ("not compared", self.outside.to_string(), ""),
            ("area", format!("{:.2}", self.area_m2 / crate::units::M2_PER_HA), "ha"),
            ("mean difference", mm(self.mean_m), "mm"),
            ("standard deviation", mm(self.sd_m), "mm"),
            ("root mean square", mm(self.rms_m), "mm"),
            ("highest", mm(self.greatest_m.0), "mm"),
            ("lowest", mm(self.greatest_m.1), "mm"),
            ("within 25 mm", pct(self.within_25_mm_ratio), "%"),
            ("within 50 mm", pct(self.within_50_mm_ratio), "%"),
            ("still to cut", format!("{:.0}", self.too_high_m3), "m3"),
            ("still to fill", format!("{:.0}", self.too_low_m3), "m3"),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Arithmetic by hand: -30, 0, 20 and 50 mm, one square metre each.
    #[test]
    fn the_table_of_four_known_differences() {
        let d = summed(&[-0.030, 0.0, 0.020, 0.050], 1, 1.0);
        assert!((d.mean_m - 0.010).abs() < 1e-12);
        // Squares about the mean: 1600 + 100 + 100 + 1600 mm2, over n - 1 = 3.
        assert!((d.sd_m - (3_400.0_f64 / 3.0).sqrt() / 1_000.0).abs() < 1e-12);
        assert!((d.within_25_mm_ratio - 0.5).abs() < 1e-12 && (d.within_50_mm_ratio - 1.0).abs() < 1e-12);
        assert!((d.too_high_m3 - 0.070).abs() < 1e-12 && (d.too_low_m3 - 0.030).abs() < 1e-12);
        assert_eq!((d.compared, d.outside), (4, 1));
    }
}
