//! The unit heights are in: said by the user, the vertical system or the band; never guessed where feet are likely.

use super::crs::SplitCrs;
use crate::finding::Problem;

/// International foot (international yard and pound agreement, 1959), metres.
pub const FOOT_M: f64 = 0.3048;
/// US survey foot (NBS, Federal Register 1959: 1200/3937 m), metres.
pub const US_FOOT_M: f64 = 1200.0 / 3937.0;

/// A unit and how it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct HeightUnit {
    /// Metres in one unit.
    pub metres: f64,
    /// What to tell the user, when there is something to tell.
    pub note: Option<String>,
}

/// Metres in a unit by one of its usual names.
#[must_use]
pub fn by_name(name: &str) -> Option<f64> {
    match name.trim().to_lowercase().as_str() {
        "m" | "metre" | "metres" | "meter" | "meters" => Some(1.0),
        "ft" | "foot" | "feet" | "international foot" | "foot (international)" => Some(FOOT_M),
        "us-ft" | "ftus" | "us survey foot" | "us_survey_foot" | "foot_us" | "us survey feet" | "sft" => {
            Some(US_FOOT_M)
        }
        _ => None,
    }
}

fn word(metres: f64) -> &'static str {
    if (metres - 1.0).abs() < 1e-9 {
        "metres"
    } else if (metres - FOOT_M).abs() < 1e-9 {
        "feet"
    } else if (metres - US_FOOT_M).abs() < 1e-9 {
        "US survey feet"
    } else {
        "another unit"
    }
}

/// Settles the unit of the heights of a source called `label`.
///
/// # Errors
/// `undeclared_units` when only the plan says feet, `unknown_unit` for a word that is no unit.
pub fn settle(label: &str, said: Option<&str>, crs: &SplitCrs, band_unit: &str) -> Result<HeightUnit, Problem> {
    let declared = crs.vertical_unit_m.or_else(|| by_name(band_unit));
    if let Some(text) = said {
        let metres = by_name(text).ok_or_else(|| {
            Problem::request("unknown_unit", format!("`site.elevation_unit` is `{text}`"))
                .hint("write `m`, `ft` or `us-ft`")
        })?;
        let note = match declared {
            Some(d) if (d - metres).abs() > 1e-9 => Some(format!(
                "{label} says its heights are in {}, but `site.elevation_unit` says {}; the latter was used",
                word(d),
                word(metres)
            )),
            _ => converted(label, metres),
        };
        return Ok(HeightUnit { metres, note });
    }
    if let Some(metres) = declared {
        return Ok(HeightUnit { metres, note: converted(label, metres) });
    }
    if !band_unit.trim().is_empty() {
        return Err(undeclared(label, &format!("says its unit is `{}`, which is not understood", band_unit.trim())));
    }
    if crs.plan.is_projected() && (crs.plan.linear_units() - 1.0).abs() > 1e-9 {
        return Err(undeclared(
            label,
            "is in a foot-based plan system and does not say whether its heights are in feet",
        ));
    }
    Ok(HeightUnit {
        metres: 1.0,
        note: Some(format!(
            "{label} does not say the unit of its heights; metres were taken. Set `site.elevation_unit` to be sure"
        )),
    })
}

fn undeclared(label: &str, what: &str) -> Problem {
    Problem::data("undeclared_units", format!("{label} {what}"))
        .hint("set `elevation_unit = \"m\"`, `\"ft\"` or `\"us-ft\"` under `[site]`")
}

fn converted(label: &str, metres: f64) -> Option<String> {
    ((metres - 1.0).abs() > 1e-9).then(|| {
        format!("heights of {label} are in {} and were converted to metres (1 unit = {metres:.9} m)", word(metres))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::crs;

    fn split(code: &str) -> SplitCrs {
        crs::split(&crs::from_user(code).unwrap())
    }

    #[test]
    fn declared_units_are_taken() {
        // EPSG dataset: 8050 is "MSL height (ft)", 6360 "NAVD88 height (ftUS)", 5711 "AHD height" in metres.
        assert!((settle("x", None, &split("EPSG:7856+8050"), "").unwrap().metres - 0.3048).abs() < 1e-12);
        assert!((settle("x", None, &split("EPSG:7856+6360"), "").unwrap().metres - US_FOOT_M).abs() < 1e-12);
        let plain = settle("x", None, &split("EPSG:7856+5711"), "metre").unwrap();
        assert_eq!(plain, HeightUnit { metres: 1.0, note: None });
    }

    #[test]
    fn feet_are_never_guessed() {
        // EPSG:2236 is a plan in US survey feet.
        assert_eq!(settle("x", None, &split("EPSG:2236"), "").unwrap_err().code, "undeclared_units");
        assert_eq!(settle("x", None, &split("EPSG:7856"), "furlong").unwrap_err().code, "undeclared_units");
        assert!((settle("x", Some("us-ft"), &split("EPSG:2236"), "").unwrap().metres - US_FOOT_M).abs() < 1e-15);
    }
}
