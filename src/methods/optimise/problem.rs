//! The fit to be made, what an answer is, and why there may be none.
//!
//! Source: difference constraints, [`Bibliography::Cormen2009`](crate::bibliography::Bibliography::Cormen2009).
//! How we know: hand cases of masks, rounding, costs and refusals.

/// Ticks in a metre: a tick is 0.01 mm.
pub const TICKS_PER_M: f64 = 100_000.0;

/// A height in metres as the nearest tick.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "heights on earth are far below 2^63 ticks")]
pub fn ticks(height_m: f64) -> i64 {
    (height_m * TICKS_PER_M).round() as i64
}

/// A range of steps in metres as ticks, rounded inwards: whatever keeps the whole ticks keeps the metres too.
///
/// Limits closer together than a tick give a step whose least exceeds its most; [`LatticeFit::fault`] says so.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "steps are far below 2^63 ticks")]
pub fn ticks_inward(least_m: f64, most_m: f64) -> Step {
    // A limit meant to be a whole tick must not move by one because of the last bit of a product.
    const HAIR: f64 = 1e-6;
    Step { least: (least_m * TICKS_PER_M - HAIR).ceil() as i64, most: (most_m * TICKS_PER_M + HAIR).floor() as i64 }
}

/// What the height of the next point may be above this one, ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// Least; negative where it may fall.
    pub least: i64,
    /// Most.
    pub most: i64,
}

/// The steps of one direction of a lattice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Steps {
    /// The same everywhere.
    Alike(Step),
    /// One for each point, to its next neighbour in this direction; those without a neighbour are not read.
    Each(Vec<Step>),
}

impl Steps {
    /// The step from a point to its next neighbour.
    #[must_use]
    pub fn at(&self, point: usize) -> Step {
        match self {
            Self::Alike(step) => *step,
            Self::Each(steps) => steps[point],
        }
    }
}

/// A fit on a lattice of lanes and stations; point `lane * stations + station`.
#[derive(Debug, Clone, PartialEq)]
pub struct LatticeFit {
    /// Number of lanes.
    pub lanes: usize,
    /// Points in a lane.
    pub stations: usize,
    /// Which points take part, one for each point.
    pub inside: Vec<bool>,
    /// Given heights, ticks; read only inside.
    pub ground: Vec<i64>,
    /// What a tick below the given height costs, not negative.
    pub cut_weight: Vec<i64>,
    /// What a tick above the given height costs, not negative.
    pub fill_weight: Vec<i64>,
    /// Least heights, ticks; empty when free. `i64::MIN` frees a single point.
    pub lowest: Vec<i64>,
    /// Greatest heights, ticks; empty when free. `i64::MAX` frees a single point.
    pub highest: Vec<i64>,
    /// Steps from a station to the next of its lane, when both are inside.
    pub along: Steps,
    /// Steps from a lane to the next at the same station, when both are inside.
    pub across: Steps,
    /// Greatest change of the step along a lane from one station to the next, ticks; `None` when free.
    pub most_bend: Option<i64>,
}

/// `height[to] - height[from] <= most`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link {
    /// Point the height is compared with.
    pub from: u32,
    /// Point that is held down.
    pub to: u32,
    /// Most it may stand above, ticks; negative when it must lie below. `i64::MAX` is no limit.
    pub most: i64,
}

/// A fit on any graph.
#[derive(Debug, Clone, PartialEq)]
pub struct GraphFit {
    /// Given heights, ticks.
    pub ground: Vec<i64>,
    /// What a tick below the given height costs, not negative.
    pub cut_weight: Vec<i64>,
    /// What a tick above the given height costs, not negative.
    pub fill_weight: Vec<i64>,
    /// Least heights, ticks; empty when free. `i64::MIN` frees a single point.
    pub lowest: Vec<i64>,
    /// Greatest heights, ticks; empty when free. `i64::MAX` frees a single point.
    pub highest: Vec<i64>,
    /// Limits between points.
    pub links: Vec<Link>,
}

/// How an answer was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Engine {
    /// Network simplex: the optimum.
    Exact,
    /// First-order method: a feasible surface and a bound on how far it may be from the optimum.
    Fast,
}

/// Which engine is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Choice {
    /// Exact when the size allows and the constraints are differences, else fast to a gap of 0.5 %.
    BySize,
    /// Exact or refused.
    Exact,
    /// Fast, stopped at this gap, as a ratio of the bound.
    Fast {
        /// Gap to stop at.
        gap: f64,
    },
}

/// Proof of how good a surface is: the cost of a surface that keeps every limit, and a bound no surface can beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Certificate {
    /// Cost of the surface handed over, weight times ticks.
    pub cost: i64,
    /// No surface within the limits costs less than this.
    pub bound: f64,
    /// How it was found.
    pub engine: Engine,
}

impl Certificate {
    /// Share by which the cost exceeds the bound; zero when proven optimal.
    #[must_use]
    pub fn gap(&self) -> f64 {
        let over = (self.cost as f64 - self.bound).max(0.0);
        if over == 0.0 { 0.0 } else { over / self.bound.max(f64::MIN_POSITIVE) }
    }
}

/// A surface that keeps every limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// Heights, ticks, one for each point; outside a mask the given height.
    pub heights: Vec<i64>,
    /// Its certificate.
    pub certificate: Certificate,
}

/// What one link of a conflicting chain is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConflictLink {
    /// The height of this point may not lie below this.
    Lowest {
        /// The point.
        point: u32,
        /// Least height, ticks.
        height: i64,
    },
    /// The height of this point may not lie above this.
    Highest {
        /// The point.
        point: u32,
        /// Greatest height, ticks.
        height: i64,
    },
    /// A limit between two points.
    Between(Link),
}

/// Limits that cannot be kept together: going round the chain every height would have to lie below itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// The links, each beginning where the one before ends; a least and a greatest height close the chain through the
    /// datum.
    pub chain: Vec<ConflictLink>,
    /// By how much the limits overlap, ticks, positive.
    pub excess: i64,
}

/// What is asked of the exact engine and cannot be proven by it, or is not a proper fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// Lists of different lengths.
    Lengths,
    /// A negative weight.
    NegativeWeight,
    /// A cut:fill ratio below one: the surfaces with enough cut are then no convex set, and blends prove nothing.
    Ratio,
    /// A step whose least exceeds its most, or a least height above the greatest.
    EmptyRange,
    /// A link to a point that is not there.
    NoSuchPoint,
    /// Heights or weights so large that the sums do not fit 63 bits.
    TooLarge,
    /// Limits on the change of grade are not differences of two heights.
    BendLimit,
    /// The answer failed its own proof: a mistake in the engine, not in the question.
    Unproven,
    /// No surface within the limits on bends was found, though there may be one.
    NoneFound,
}

/// No surface.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// The limits cannot be kept together.
    Conflict(Conflict),
    /// The question is not one this engine answers.
    Fault(Reason),
}

impl LatticeFit {
    /// Number of points, the masked ones included.
    #[must_use]
    pub fn len(&self) -> usize {
        self.lanes * self.stations
    }

    /// Whether no point takes part.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        !self.inside.contains(&true)
    }

    /// Limits of one point's height, ticks.
    #[must_use]
    pub fn range(&self, point: usize) -> (i64, i64) {
        (self.lowest.get(point).copied().unwrap_or(i64::MIN), self.highest.get(point).copied().unwrap_or(i64::MAX))
    }

    /// Every pair of neighbours inside with the step between them.
    pub fn steps(&self) -> impl Iterator<Item = (usize, usize, Step)> + '_ {
        (0..self.len()).filter(|p| self.inside[*p]).flat_map(move |p| {
            let (lane, station) = (p / self.stations, p % self.stations);
            let along = (station + 1 < self.stations && self.inside[p + 1]).then(|| (p, p + 1, self.along.at(p)));
            let next = p + self.stations;
            let across = (lane + 1 < self.lanes && self.inside[next]).then(|| (p, next, self.across.at(p)));
            along.into_iter().chain(across)
        })
    }

    /// What makes this no proper fit, if anything.
    #[must_use]
    pub fn fault(&self) -> Option<Reason> {
        let n = self.len();
        let listed = |list: &[i64]| list.is_empty() || list.len() == n;
        let each = |steps: &Steps| matches!(steps, Steps::Alike(_)) || matches!(steps, Steps::Each(s) if s.len() == n);
        if [self.inside.len(), self.ground.len(), self.cut_weight.len(), self.fill_weight.len()] != [n; 4]
            || !listed(&self.lowest)
            || !listed(&self.highest)
            || !each(&self.along)
            || !each(&self.across)
        {
            return Some(Reason::Lengths);
        }
        let mut inside = (0..n).filter(|p| self.inside[*p]);
        if inside.clone().any(|p| self.cut_weight[p] < 0 || self.fill_weight[p] < 0) {
            return Some(Reason::NegativeWeight);
        }
        let crossed = inside.any(|p| self.range(p).0 > self.range(p).1);
        (crossed || self.steps().any(|(_, _, s)| s.least > s.most)).then_some(Reason::EmptyRange)
    }

    /// Cost of a surface, weight times ticks.
    #[must_use]
    pub fn cost(&self, heights: &[i64]) -> i64 {
        (0..self.len())
            .filter(|p| self.inside[*p])
            .map(|p| {
                let cut = self.ground[p] - heights[p];
                if cut > 0 { self.cut_weight[p] * cut } else { self.fill_weight[p] * -cut }
            })
            .sum()
    }

    /// Whether a surface keeps every limit.
    #[must_use]
    pub fn keeps(&self, heights: &[i64]) -> bool {
        let ranges = (0..self.len()).filter(|p| self.inside[*p]).all(|p| {
            let (low, high) = self.range(p);
            (low..=high).contains(&heights[p])
        });
        let steps = self.steps().all(|(p, q, s)| (s.least..=s.most).contains(&(heights[q] - heights[p])));
        ranges && steps && self.most_bend.is_none_or(|most| self.bends(heights).all(|bend| bend.abs() <= most))
    }

    /// Changes of the step along the lanes, ticks.
    pub fn bends<'a>(&'a self, heights: &'a [i64]) -> impl Iterator<Item = i64> + 'a {
        (0..self.len()).filter_map(move |p| {
            let station = p % self.stations;
            let three = station >= 1 && station + 1 < self.stations;
            (three && self.inside[p - 1] && self.inside[p] && self.inside[p + 1])
                .then(|| heights[p - 1] - 2 * heights[p] + heights[p + 1])
        })
    }

    /// The same fit on a graph of the points inside, with the point each node stands for.
    ///
    /// # Errors
    /// [`Reason::BendLimit`] when the change of grade is limited, and whatever [`LatticeFit::fault`] finds.
    pub fn graph(&self) -> Result<(GraphFit, Vec<u32>), Reason> {
        if let Some(reason) = self.fault() {
            return Err(reason);
        }
        if self.most_bend.is_some() {
            return Err(Reason::BendLimit);
        }
        let (mut points, mut node) = (Vec::new(), vec![u32::MAX; self.len()]);
        for p in (0..self.len()).filter(|p| self.inside[*p]) {
            node[p] = u32::try_from(points.len()).map_err(|_| Reason::TooLarge)?;
            points.push(u32::try_from(p).map_err(|_| Reason::TooLarge)?);
        }
        let pick = |list: &[i64]| -> Vec<i64> {
            if list.is_empty() { Vec::new() } else { points.iter().map(|p| list[*p as usize]).collect() }
        };
        let links = self
            .steps()
            .flat_map(|(p, q, step)| {
                let (from, to) = (node[p], node[q]);
                [Link { from, to, most: step.most }, Link { from: to, to: from, most: step.least.saturating_neg() }]
            })
            .collect();
        let graph = GraphFit {
            ground: pick(&self.ground),
            cut_weight: pick(&self.cut_weight),
            fill_weight: pick(&self.fill_weight),
            lowest: pick(&self.lowest),
            highest: pick(&self.highest),
            links,
        };
        Ok((graph, points))
    }
}

impl GraphFit {
    /// Limits of one point's height, ticks.
    #[must_use]
    pub fn range(&self, point: usize) -> (i64, i64) {
        (self.lowest.get(point).copied().unwrap_or(i64::MIN), self.highest.get(point).copied().unwrap_or(i64::MAX))
    }

    /// Cost of a surface, weight times ticks.
    #[must_use]
    pub fn cost(&self, heights: &[i64]) -> i64 {
        (0..self.ground.len())
            .map(|p| {
                let cut = self.ground[p] - heights[p];
                if cut > 0 { self.cut_weight[p] * cut } else { self.fill_weight[p] * -cut }
            })
            .sum()
    }

    /// What makes this no proper fit, if anything.
    #[must_use]
    pub fn fault(&self) -> Option<Reason> {
        let n = self.ground.len();
        let listed = |list: &[i64]| list.is_empty() || list.len() == n;
        if [self.cut_weight.len(), self.fill_weight.len()] != [n; 2] || !listed(&self.lowest) || !listed(&self.highest)
        {
            return Some(Reason::Lengths);
        }
        if self.links.iter().any(|l| l.from.max(l.to) as usize >= n) {
            return Some(Reason::NoSuchPoint);
        }
        if self.cut_weight.iter().chain(&self.fill_weight).any(|w| *w < 0) {
            return Some(Reason::NegativeWeight);
        }
        (0..n).any(|p| self.range(p).0 > self.range(p).1).then_some(Reason::EmptyRange)
    }

    /// Whether a surface keeps every limit.
    #[must_use]
    pub fn keeps(&self, heights: &[i64]) -> bool {
        let ranges = heights.iter().enumerate().all(|(p, z)| {
            let (low, high) = self.range(p);
            (low..=high).contains(z)
        });
        ranges && self.links.iter().all(|l| heights[l.to as usize] - heights[l.from as usize] <= l.most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn three_by_two() -> LatticeFit {
        let down = Steps::Alike(Step { least: -10, most: -1 });
        LatticeFit {
            lanes: 2,
            stations: 3,
            inside: vec![true, true, true, true, false, true],
            ground: vec![5, 4, 3, 2, 1, 0],
            cut_weight: vec![1; 6],
            fill_weight: vec![2; 6],
            lowest: Vec::new(),
            highest: Vec::new(),
            along: down,
            across: Steps::Alike(Step { least: -3, most: 3 }),
            most_bend: None,
        }
    }

    #[test]
    fn limits_are_rounded_inwards() {
        assert_eq!(ticks_inward(-0.000_508, -0.000_502), Step { least: -50, most: -51 });
        assert_eq!(ticks_inward(-0.000_51, -0.000_5), Step { least: -51, most: -50 });
        assert_eq!(ticks_inward(0.001_000, 0.001_009), Step { least: 100, most: 100 });
    }

    #[test]
    fn a_mask_breaks_lanes_apart() {
        let fit = three_by_two();
        let (graph, points) = fit.graph().unwrap();
        assert_eq!(points, [0, 1, 2, 3, 5]);
        // Along: 0-1, 1-2; across: 0-3, 2-5; nothing joins 3 and 5 over the gap.
        assert_eq!(graph.links.len(), 8);
        assert_eq!(fit.steps().map(|(p, q, _)| (p, q)).collect::<Vec<_>>(), [(0, 1), (0, 3), (1, 2), (2, 5)]);
    }

    #[test]
    fn cost_tells_cut_from_fill() {
        let fit = three_by_two();
        let heights = [4, 4, 3, 4, 99, 0];
        assert_eq!(fit.cost(&heights), 1 + 2 * 2);
        assert!(!fit.keeps(&heights), "a level step is no fall");
        assert!(fit.keeps(&[5, 4, 3, 2, 99, 0]));
    }

    #[test]
    fn improper_questions_are_named() {
        let mut fit = three_by_two();
        fit.along = Steps::Alike(Step { least: 1, most: 0 });
        assert_eq!(fit.fault(), Some(Reason::EmptyRange));
        let mut fit = three_by_two();
        fit.cut_weight[0] = -1;
        assert_eq!(fit.fault(), Some(Reason::NegativeWeight));
        let mut fit = three_by_two();
        fit.lowest = vec![0; 5];
        assert_eq!(fit.fault(), Some(Reason::Lengths));
        let mut fit = three_by_two();
        fit.most_bend = Some(0);
        assert_eq!(fit.graph().unwrap_err(), Reason::BendLimit);
    }
}
