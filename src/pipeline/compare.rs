//! As-built against design: how far a later survey lies from the surface that was to be built.

use crate::finding::{Problem, Problems};
use crate::land::survey::{RawElevation, RawSurvey};
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

/// Compares what was read as elevation (the later survey) with what was read as given surface (the design).
///
/// # Errors
/// When one of them is missing or they do not meet.
pub fn compare(raw: &RawSurvey) -> Result<Difference, Problems> {
    let missing = |what: &str| Problem::data("nothing_to_compare", format!("there is no {what} to compare"));
    let design = &raw.given_surface.as_ref().ok_or_else(|| missing("design surface"))?.0;
    let survey = raw.elevation.as_ref().ok_or_else(|| missing("survey"))?;
    let cell_m2 = design.spec.cell_area_m2();
    let (differences, outside, share_m2): (Vec<f64>, usize, f64) = match survey {
        RawElevation::Raster { heights, .. } => {
            let all: Vec<Option<f64>> = design
                .iter()
                .map(|(cell, level)| Some(heights.bilinear(design.spec.centre(cell))? - f64::from(level)))
                .collect();
            let found: Vec<f64> = all.iter().flatten().copied().collect();
            let outside = all.len() - found.len();
            (found, outside, cell_m2)
        }
        RawElevation::Points { points, .. } => {
            // The cell itself must be formed: a point beside the formed area has nothing to be compared with.
            let at = |p: &crate::land::survey::SurveyPoint| {
                design.at(p.at)?;
                Some(p.height_m - design.bilinear(p.at)?)
            };
            let found: Vec<f64> = points.iter().filter_map(at).collect();
            let share = design.count_valid() as f64 * cell_m2 / found.len().max(1) as f64;
            (found, points.len(), share)
        }
    };
    if differences.is_empty() {
        let problem =
            Problem::data("surfaces_do_not_meet", "the survey and the design surface have no place in common");
        return Err(problem
            .hint("check the coordinate system of the survey and that it covers the formed blocks")
            .into());
    }
    let outside = match survey {
        RawElevation::Raster { .. } => outside,
        RawElevation::Points { .. } => outside - differences.len(),
    };
    Ok(summed(&differences, outside, share_m2))
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
