//! The search for a periodic steady state: from coarse steps to those as stated, each from where the one before ended.
//! What the coarse ones found is also what errors are told by.

use std::sync::atomic::Ordering;

use joulestep_engine::cycle::steady::{CycleError, Effort};
use joulestep_engine::cycle::stretch::{Queue, Stretch, in_order};
use joulestep_engine::run::setup::Setup;
use joulestep_models::arrangement::builder::CircuitLayout;
use joulestep_models::arrangement::cycle::{Cycle, Search, Why, solve};
use joulestep_models::arrangement::losses::Task;
use rayon::prelude::*;

use super::progress::Progress;
use crate::input::scenario::build::{build_with, repeating};
use crate::judge::Level;
use crate::output::answer::Estimation;
use crate::study::{Context, Question, StudyError};

/// Periods in which a search at coarse steps must come to its end.
const QUICK: u32 = 8;

/// Solves stretches on all threads of rayon, each thread some of them in lanes. What becomes of one depends neither on
/// the thread nor on its company.
fn on_all_threads(stretches: Vec<Stretch<'_>>) -> Vec<Stretch<'_>> {
    let threads = rayon::current_num_threads();
    let queue = Queue::new(stretches, threads);
    let solved: Vec<_> = (0..threads).into_par_iter().with_max_len(1).map(|_| queue.solve()).collect();
    in_order(solved.into_iter().flatten())
}

fn side_by_side(tasks: Vec<Task<'_>>) {
    tasks.into_par_iter().with_max_len(1).for_each(|task| task());
}

/// What was found at each level, coarsest first.
struct Chain(Vec<(Level, Cycle)>);

fn explained(why: &Why) -> StudyError {
    match why {
        Why::Cycle(CycleError::Stopped) => StudyError::Interrupted,
        Why::NotPeriodic => StudyError::Refused(why.to_string()),
        _ => StudyError::Numerical(why.to_string()),
    }
}

/// Whether levels are twice as far apart: a period of many edges is long, and its borders are found at coarse steps.
/// Linearly implicit steps are as wrong as their bounds, and do not bring borders together at such ones.
pub(super) fn far_apart(layout: &CircuitLayout, setup: &Setup<f64>) -> bool {
    layout.carrier.is_some() && setup.method.rosenbrock.is_none()
}

/// The periodic steady state at the context's level, for which the setup was made.
///
/// # Errors
/// There is none, or the user asked to stop.
pub(super) fn found(
    question: &Question,
    context: &Context<'_>,
    effort: Effort,
    (layout, setup, far_apart): (&CircuitLayout, Setup<f64>, bool),
) -> Result<Cycle, StudyError> {
    let own = context.level;
    let known = question.left::<Chain>();
    let known = known.as_ref().map_or(&[][..], |chain| &chain.0);
    if let Some((_, cycle)) = known.iter().find(|k| k.0 == own) {
        return Ok(cycle.clone());
    }
    let [near, far] = Level::COARSER;
    let coarser = [far, near].into_iter().filter(|&level| {
        level > own && (context.estimation != Estimation::None && !context.brief || level == far)
    });
    let coarser: Vec<Level> = coarser.filter(|_| known.is_empty()).collect();
    let as_coarse: Vec<Level> = coarser.iter().map(|level| level.spaced(far_apart)).collect();
    let progress = Progress::new(context.quiet, &as_coarse, own.spaced(far_apart));
    let tell = |periods: f64| {
        progress.at(periods);
        !context.stop.load(Ordering::Relaxed)
    };
    let mut chain: Vec<(Level, Cycle)> = Vec::new();
    // A search that needs a Jacobian is for the steps as stated: coarse ones are too rough for differences.
    let quick = Effort { warm_up: 1, most: effort.most.min(QUICK), ..effort };
    for level in coarser {
        let mut setup = build_with(question.scenario()?, &context.reductions())?.setup;
        repeating(&mut setup.gauges);
        level.spaced(far_apart).apply(&mut setup);
        let from = chain.last().map(|c| c.1.guess());
        let search = Search {
            effort: quick,
            from: from.as_ref(),
            compares: false,
            rough: true,
            tell: &tell,
            solve: &on_all_threads,
            beside: &side_by_side,
        };
        match solve(layout, setup, &search) {
            Ok(cycle) => chain.push((level, cycle)),
            Err(Why::Cycle(CycleError::Stopped)) => return Err(StudyError::Interrupted),
            // Whether there is such a state is for the steps as stated to say.
            Err(_) => break,
        }
        progress.next();
    }
    progress.last();
    // Of what was found before, the finest.
    let from = chain.last().or(known.last()).map(|c| c.1.guess());
    let compares = own > Level::STATED && from.is_some();
    let search = Search {
        effort,
        from: from.as_ref(),
        compares,
        rough: false,
        tell: &tell,
        solve: &on_all_threads,
        beside: &side_by_side,
    };
    let cycle = solve(layout, setup, &search).map_err(|why| explained(&why))?;
    progress.done();
    if own == Level::STATED {
        chain.push((own, cycle.clone()));
        question.leave(Chain(chain));
    }
    Ok(cycle)
}
