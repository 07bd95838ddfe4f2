//! A fit as a linear programme for HiGHS, a solver from outside: the reference for the exact engine.

use highs::{HighsModelStatus, RowProblem, Sense};
use rowfall::methods::optimise::LatticeFit;

/// What HiGHS makes of a fit.
#[derive(Debug)]
pub enum Answer {
    /// Heights of its optimum, ticks, and what they cost.
    Optimal(Vec<f64>, f64),
    /// It says that no surface keeps the limits.
    Infeasible,
    /// It was stopped first.
    OutOfTime,
}

/// Solves with the dual simplex of HiGHS on one thread.
pub fn solve(fit: &LatticeFit, seconds: f64) -> Answer {
    let mut programme = RowProblem::default();
    // Cut and fill of each point are the columns, so that a height is given height - cut + fill.
    let columns: Vec<_> = (0..fit.len())
        .map(|p| {
            let mut column = |weight: i64| programme.add_column(weight as f64, 0.0..);
            fit.inside[p].then(|| (column(fit.cut_weight[p]), column(fit.fill_weight[p])))
        })
        .collect();
    let free = |limit: i64, end: f64| if limit == i64::MIN || limit == i64::MAX { end } else { limit as f64 };
    for (p, column) in columns.iter().enumerate() {
        let (Some((cut, fill)), (low, high)) = (*column, fit.range(p)) else { continue };
        if (low, high) != (i64::MIN, i64::MAX) {
            let ground = fit.ground[p] as f64;
            let (low, high) = (free(low, f64::NEG_INFINITY) - ground, free(high, f64::INFINITY) - ground);
            programme.add_row(low..=high, [(cut, -1.0), (fill, 1.0)]);
        }
    }
    for (p, q, step) in fit.steps() {
        let (Some(a), Some(b)) = (columns[p], columns[q]) else { continue };
        let rise = (fit.ground[q] - fit.ground[p]) as f64;
        let range = free(step.least, f64::NEG_INFINITY) - rise..=free(step.most, f64::INFINITY) - rise;
        programme.add_row(range, [(b.0, -1.0), (b.1, 1.0), (a.0, 1.0), (a.1, -1.0)]);
    }
    let mut model = programme.optimise(Sense::Minimise);
    model.make_quiet();
    model.set_option("solver", "simplex");
    model.set_option("threads", 1);
    model.set_option("time_limit", seconds);
    let solved = model.solve();
    match solved.status() {
        HighsModelStatus::Optimal | HighsModelStatus::ModelEmpty => {
            let solution = solved.get_solution();
            let mut values = solution.columns().chunks(2);
            let heights = (0..fit.len()).map(|p| {
                let moved = if fit.inside[p] { values.next() } else { None };
                fit.ground[p] as f64 + moved.map_or(0.0, |v| v[1] - v[0])
            });
            Answer::Optimal(heights.collect(), solved.objective_value())
        }
        HighsModelStatus::Infeasible | HighsModelStatus::UnboundedOrInfeasible => Answer::Infeasible,
        HighsModelStatus::ReachedTimeLimit => Answer::OutOfTime,
        other => panic!("HiGHS ended with {other:?}"),
    }
}
