//! Lattices of several blocks laid beside each other as one, with an empty lane between.

use crate::methods::optimise::{Conflict, ConflictLink, LatticeFit, Link, Step, Steps};

/// One fit of several that have nothing to do with each other but the balance.
pub(super) struct Stack {
    pub(super) fit: LatticeFit,
    /// First lane and size of each part.
    parts: Vec<(usize, usize, usize)>,
}

impl Stack {
    pub(super) fn of(fits: &[LatticeFit]) -> Self {
        if let [only] = fits {
            return Self { fit: only.clone(), parts: vec![(0, only.lanes, only.stations)] };
        }
        let stations = fits.iter().map(|f| f.stations).max().unwrap_or(0);
        let mut parts = Vec::new();
        let mut lanes = 0;
        for fit in fits {
            parts.push((lanes, fit.lanes, fit.stations));
            lanes += fit.lanes + 1;
        }
        let n = lanes * stations;
        let nothing = Step { least: 0, most: 0 };
        let (mut along, mut across) = (vec![nothing; n], vec![nothing; n]);
        let mut all = LatticeFit {
            lanes,
            stations,
            inside: vec![false; n],
            ground: vec![0; n],
            cut_weight: vec![0; n],
            fill_weight: vec![0; n],
            lowest: vec![i64::MIN; n],
            highest: vec![i64::MAX; n],
            along: Steps::Alike(nothing),
            across: Steps::Alike(nothing),
            most_bend: fits.iter().filter_map(|f| f.most_bend).min(),
        };
        for (fit, part) in fits.iter().zip(&parts) {
            for p in 0..fit.len() {
                let q = there(p, *part, stations);
                all.inside[q] = fit.inside[p];
                all.ground[q] = fit.ground[p];
                all.cut_weight[q] = fit.cut_weight[p];
                all.fill_weight[q] = fit.fill_weight[p];
                (all.lowest[q], all.highest[q]) = fit.range(p);
                along[q] = fit.along.at(p);
                across[q] = fit.across.at(p);
            }
        }
        all.along = Steps::Each(along);
        all.across = Steps::Each(across);
        Self { fit: all, parts }
    }

    /// One part with heights of the whole.
    pub(super) fn part(&self, at: usize, heights: &[f64]) -> (LatticeFit, Vec<f64>) {
        let part = self.parts[at];
        let (_, lanes, stations) = part;
        let points: Vec<usize> = (0..lanes * stations).map(|p| there(p, part, self.fit.stations)).collect();
        let pick = |list: &[i64]| points.iter().map(|q| list[*q]).collect::<Vec<i64>>();
        let fit = LatticeFit {
            lanes,
            stations,
            inside: points.iter().map(|q| self.fit.inside[*q]).collect(),
            ground: pick(&self.fit.ground),
            cut_weight: pick(&self.fit.cut_weight),
            fill_weight: pick(&self.fit.fill_weight),
            lowest: Vec::new(),
            highest: Vec::new(),
            along: Steps::Each(points.iter().map(|q| self.fit.along.at(*q)).collect()),
            across: Steps::Each(points.iter().map(|q| self.fit.across.at(*q)).collect()),
            most_bend: self.fit.most_bend,
        };
        (fit, points.iter().map(|q| heights[*q]).collect())
    }

    /// The part a conflict lies in, with its points named as there.
    pub(super) fn single_out(&self, conflict: Conflict) -> (usize, Conflict) {
        let lane = |point: u32| point as usize / self.fit.stations;
        let any = conflict.chain.first().map_or(0, |link| match link {
            ConflictLink::Lowest { point, .. } | ConflictLink::Highest { point, .. } => lane(*point),
            ConflictLink::Between(l) => lane(l.from),
        });
        let at = self.parts.iter().rposition(|(first, _, _)| *first <= any).unwrap_or(0);
        let (first, _, stations) = self.parts[at];
        #[expect(clippy::cast_possible_truncation, reason = "a part is smaller than the whole")]
        let name = |point: u32| {
            let (lane, station) = (point as usize / self.fit.stations, point as usize % self.fit.stations);
            ((lane - first) * stations + station) as u32
        };
        let chain = conflict.chain.into_iter().map(|link| match link {
            ConflictLink::Lowest { point, height } => ConflictLink::Lowest { point: name(point), height },
            ConflictLink::Highest { point, height } => ConflictLink::Highest { point: name(point), height },
            ConflictLink::Between(l) => {
                ConflictLink::Between(Link { from: name(l.from), to: name(l.to), most: l.most })
            }
        });
        (at, Conflict { chain: chain.collect(), excess: conflict.excess })
    }
}

/// Where a point of a part stands in the whole.
fn there(point: usize, (first, _, stations): (usize, usize, usize), all_stations: usize) -> usize {
    (first + point / stations) * all_stations + point % stations
}
