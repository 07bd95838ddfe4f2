//! Quantities with a unit in their type: the only place where units are converted.
//!
//! Public boundaries of `land` and `stages` speak these types; hot loops inside `methods` use plain
//! `f64` with the unit in the name. Every type is built by a named constructor and read by a named
//! getter, so a percentage can never be taken for a ratio.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A fall or rise along a line, kept as a ratio (metres per metre).
///
/// Sign: positive means the ground falls in the direction the line is read.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, Default)]
pub struct Slope(f64);

impl Slope {
    /// From metres per metre.
    #[must_use]
    pub const fn from_ratio(ratio: f64) -> Self {
        Self(ratio)
    }
    /// From per cent (0.1 % is 1 m in 1,000 m).
    #[must_use]
    pub fn from_percent(pct: f64) -> Self {
        Self(pct / 100.0)
    }
    /// Metres per metre.
    #[must_use]
    pub const fn ratio(self) -> f64 {
        self.0
    }
    /// Per cent.
    #[must_use]
    pub fn percent(self) -> f64 {
        self.0 * 100.0
    }
    /// The trade's way of saying it: `0.12 % (1:833)`; a flat line has no `1:n`.
    #[must_use]
    pub fn label(self) -> String {
        let pct = self.percent();
        if self.0.abs() < 5e-6 {
            format!("{pct:.2} % (level)")
        } else {
            format!("{pct:.2} % (1:{:.0})", (1.0 / self.0).abs())
        }
    }
}

/// A direction on the plan, clockwise from grid north, kept in degrees in `[0, 360)`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, Default)]
pub struct Bearing(f64);

impl Bearing {
    /// From degrees clockwise from grid north; any finite value is wrapped into `[0, 360)`.
    #[must_use]
    pub fn from_degrees(deg: f64) -> Self {
        let wrapped = deg.rem_euclid(360.0);
        // rem_euclid of a tiny negative number rounds to 360 itself.
        Self(if wrapped >= 360.0 { 0.0 } else { wrapped })
    }
    /// From an east and a north component (any length but zero).
    #[must_use]
    pub fn from_east_north(east: f64, north: f64) -> Self {
        Self::from_degrees(east.atan2(north).to_degrees())
    }
    /// Degrees clockwise from grid north, `[0, 360)`.
    #[must_use]
    pub const fn degrees(self) -> f64 {
        self.0
    }
    /// Unit vector (east, north) along the bearing.
    #[must_use]
    pub fn east_north(self) -> (f64, f64) {
        self.0.to_radians().sin_cos()
    }
    /// The same line read the other way.
    #[must_use]
    pub fn reversed(self) -> Self {
        Self::from_degrees(self.0 + 180.0)
    }
    /// The axis of the line, without a sense: `[0, 180)`.
    #[must_use]
    pub fn axis(self) -> Self {
        Self(self.0 % 180.0)
    }
    /// Smallest angle between two axes, degrees in `[0, 90]`.
    #[must_use]
    pub fn axis_angle_to(self, other: Self) -> f64 {
        let d = (self.0 - other.0).rem_euclid(180.0);
        d.min(180.0 - d)
    }
}

/// Money in whole cents of the currency named in the pipeline file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, Default)]
pub struct Money(i64);

impl Money {
    /// No money.
    pub const ZERO: Self = Self(0);
    /// From whole cents.
    #[must_use]
    pub const fn from_cents(cents: i64) -> Self {
        Self(cents)
    }
    /// From dollars, rounded to the nearest cent.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "sums far beyond any farm saturate")]
    pub fn from_dollars(dollars: f64) -> Self {
        Self((dollars * 100.0).round() as i64)
    }
    /// Whole cents.
    #[must_use]
    pub const fn cents(self) -> i64 {
        self.0
    }
    /// Dollars.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "exact below 9e15 cents")]
    pub fn dollars(self) -> f64 {
        self.0 as f64 / 100.0
    }
}

impl std::ops::Add for Money {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl std::ops::Sub for Money {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl std::iter::Sum for Money {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        Self(iter.map(|m| m.0).sum())
    }
}

/// A value with its range: the least, the likely and the most one should reckon with.
///
/// Written in a pipeline file as three numbers, `[low, likely, high]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema, Default)]
#[serde(from = "[f64; 3]", into = "[f64; 3]")]
#[schemars(with = "[f64; 3]")]
pub struct Range {
    /// Low end.
    pub low: f64,
    /// Most likely value.
    pub likely: f64,
    /// High end.
    pub high: f64,
}

impl Range {
    /// Low, likely and high, in that order.
    #[must_use]
    pub const fn new(low: f64, likely: f64, high: f64) -> Self {
        Self { low, likely, high }
    }
    /// The same value three times: known exactly.
    #[must_use]
    pub const fn exact(value: f64) -> Self {
        Self::new(value, value, value)
    }
    /// `f` applied to each of the three.
    #[must_use]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        Self::new(f(self.low), f(self.likely), f(self.high))
    }
    /// Low with low, likely with likely, high with high.
    #[must_use]
    pub fn zip(self, other: Self, f: impl Fn(f64, f64) -> f64) -> Self {
        Self::new(f(self.low, other.low), f(self.likely, other.likely), f(self.high, other.high))
    }
    /// Whether low <= likely <= high and all are finite.
    #[must_use]
    pub fn is_ordered(self) -> bool {
        self.low <= self.likely && self.likely <= self.high && self.low.is_finite() && self.high.is_finite()
    }
}

impl From<[f64; 3]> for Range {
    fn from([low, likely, high]: [f64; 3]) -> Self {
        Self { low, likely, high }
    }
}

impl From<Range> for [f64; 3] {
    fn from(r: Range) -> Self {
        [r.low, r.likely, r.high]
    }
}

/// Square metres in a hectare.
pub const M2_PER_HA: f64 = 10_000.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slope_says_both_forms() {
        assert_eq!(Slope::from_percent(0.125).label(), "0.12 % (1:800)");
        assert_eq!(Slope::from_ratio(0.0).label(), "0.00 % (level)");
    }

    #[test]
    fn bearings_wrap_and_reverse() {
        assert!((Bearing::from_degrees(-10.0).degrees() - 350.0).abs() < 1e-12);
        assert!((Bearing::from_degrees(350.0).reversed().degrees() - 170.0).abs() < 1e-12);
        assert!((Bearing::from_degrees(-1e-20).degrees()).abs() < 1e-12);
        assert!((Bearing::from_degrees(179.0).axis_angle_to(Bearing::from_degrees(1.0)) - 2.0).abs() < 1e-12);
        assert!((Bearing::from_east_north(1.0, 0.0).degrees() - 90.0).abs() < 1e-12);
    }

    #[test]
    fn money_rounds_once() {
        assert_eq!(Money::from_dollars(1.005).cents(), 100);
        assert_eq!(Money::from_dollars(-2.5).cents(), -250);
    }
}
