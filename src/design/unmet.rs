//! When a request can't be met: what binds, and what would do.

use super::choice::{Demand, Fineness, Span, Spots, widest};
use super::climate::BandClimate;
use super::erases::sized;
use super::plan::{Effort, Planner, Pool};
use super::request::Request;
use super::search::{Goal, Ranked};
use crate::drive::{Erase, Timing};
use crate::error::{Error, Result, Unmet};
use crate::project::Panel;

/// Factors on the budget that are tried.
const LONGER: [f64; 4] = [1.5, 2.5, 4.0, 8.0];
/// How many of them where the panel's own limit must be raised.
const LONGER_BEYOND: usize = 2;
/// Longest budget that is tried, s.
const LONGEST_S: f64 = 60.0;
/// Tolerances that are tried; the largest still keeps the order of levels.
const TOLERANCES: [f64; 3] = [0.3, 0.4, 0.5];
/// Factor on the limit of net impulse that is tried.
const HIGHER: f64 = 2.0;
/// Levels that most panels show, from which fewer are tried, how many times, and each time what share of the last.
const MOST_LIKELY: usize = 48;
const LEVEL_TRIALS: usize = 10;
const LEVEL_STEP: f64 = 0.7;
/// Shortest ladder worth naming, and how it is sought, L*.
const LEAST_SPAN_LSTAR: f64 = 1.0;
const ROUGH: Fineness = Fineness {
    coarse_lstar: 0.5,
    fine_lstar: 0.1,
};

/// Errs where the shortest of some erases, its rest and one tick a row already take longer than the budget.
pub fn budget_holds_an_erase(panel: &Panel, request: &Request, erases: &[Erase]) -> Result<()> {
    let tick_us = panel.drivers.tick_us.iter().copied().min().unwrap_or(1);
    let one_tick_s =
        panel.rows as f64 * f64::from(tick_us) * 1e-6 + panel.drivers.field_settle_ms * 1e-3;
    let shortest_s = shortest_s(panel, erases);
    let needed_s = shortest_s + one_tick_s;
    if needed_s <= request.budget_s {
        return Ok(());
    }
    let limits = &panel.limits;
    Err(Error::Unmet(Unmet {
        request: asked(
            request,
            (limits.temperature_min_c, limits.temperature_max_c),
        ),
        binding: format!(
            "erase and rest take at least {shortest_s:.2} s and one tick a row {one_tick_s:.2} s more, beyond the budget of {} s",
            request.budget_s
        ),
        would_do: vec![
            format!("a budget well above {needed_s:.2} s"),
            "a shorter erase or rest in panel.toml, where its ghost allows".into(),
        ],
    }))
}

/// Erase and rest of the shortest erase, s.
fn shortest_s(panel: &Panel, erases: &[Erase]) -> f64 {
    let settle_ms = panel.drivers.field_settle_ms;
    erases
        .iter()
        .map(|e| Timing::of(e, &[], panel.rows, settle_ms).total_s())
        .fold(f64::INFINITY, f64::min)
}

/// Why the schemes of `pools`, the last searched last, are not good enough, and what would do: each way is tried by a
/// design that meets it.
pub fn explain(planner: &Planner, pools: &[Pool]) -> Error {
    let band = pools
        .last()
        .map_or(BandClimate::point(planner.range_c.0), |p| p.band);
    let found = pools.last().map_or(Vec::new(), |p| found(planner, p));
    let mut would_do = Vec::new();
    would_do.extend(fewer_levels(planner, &found));
    would_do.extend(laxer(planner));
    would_do.extend(longer(planner));
    would_do.extend(warmer(planner));
    would_do.extend(freer(planner));
    if would_do.is_empty() {
        would_do.push(
            "none of fewer levels, a laxer tolerance, a longer budget, a warmer range or more net charge alone, as far as these were tried; \
             ask for less of several at once"
                .into(),
        );
    }
    Error::Unmet(Unmet {
        request: asked(planner.request, planner.range_c),
        binding: binding(planner, &found, &band),
        would_do,
    })
}

/// Tries a changed request; the span, L*, of the design that meets it.
pub(super) fn span_of(planner: &Planner, request: &Request, range_c: (f64, f64)) -> Option<f64> {
    let trial = Planner {
        request,
        range_c,
        effort: Effort::Quick,
        progress: &|_| {},
        ..*planner
    };
    let design = trial.attempt().ok()?;
    design.bands.iter().map(|b| b.span_lstar).reduce(f64::min)
}

/// A scheme in words, with its spots.
struct Found {
    words: String,
    spots: Spots,
}

pub(super) fn asked(request: &Request, (low_c, high_c): (f64, f64)) -> String {
    let at = match request.temperature_c {
        Some(t) => format!("at {t} °C"),
        None => format!("from {low_c} to {high_c} °C"),
    };
    format!(
        "{} levels in {} s {at}, no error above {} step,",
        request.levels, request.budget_s, request.tolerance_steps
    )
}

fn found(planner: &Planner, pool: &Pool) -> Vec<Found> {
    let search = planner.search(
        pool.band,
        Goal::Widest(planner.demand()),
        planner.request.budget_s,
    );
    let of = |ranked: &Ranked| Found {
        words: ranked.scheme.in_words(),
        spots: search.spots(&ranked.scheme, &pool.band.corners(&ranked.stretch)),
    };
    pool.schemes.iter().map(of).collect()
}

fn at_words(band: &BandClimate) -> String {
    let shown = |c: f64| (c * 100.0).round() / 100.0;
    if band.low_c == band.high_c {
        format!("at {} °C", shown(band.low_c))
    } else {
        format!(
            "between {} and {} °C",
            shown(band.low_c),
            shown(band.high_c)
        )
    }
}

/// What the widest-reaching scheme lacks.
fn binding(planner: &Planner, found: &[Found], band: &BandClimate) -> String {
    let reach = |f: &Found| f.spots.ends().map_or(0.0, |e| e.high - e.low);
    let (at, left) = (at_words(band), time_left(planner, band));
    let Some(best) = found.iter().max_by(|a, b| reach(a).total_cmp(&reach(b))) else {
        return format!("{left}: {at} no scheme on these rails tells dark from light in that");
    };
    let (span, r) = (reach(best), planner.request);
    if span == 0.0 {
        let drivers = &planner.panel.drivers;
        return format!(
            "{left}; {at} no scheme found leaves a pixel with a net impulse within limits.net_impulse_vs, {} V·s{}",
            planner.panel.limits.net_impulse_vs,
            if drivers.resting_balance {
                ", even after the resting balance"
            } else {
                ", as driven"
            }
        );
    }
    let step = span / (r.levels - 1) as f64;
    let room = r.tolerance_steps * step;
    let blur = best.spots.middle_blur_lstar();
    let start = format!(
        "{left}; {at} the farthest-reaching scheme found ({}) takes a pixel over {span:.1} L*, so a step is {step:.2} L* \
         and an error may be {room:.2} L*",
        best.words
    );
    if blur > room {
        format!(
            "{start}; neighbours, rows and temperature alone move a middle grey by ±{blur:.2} L*"
        )
    } else {
        format!("{start}; its ticks don't land that close to every level")
    }
}

/// What the erase leaves of the budget in a band, in words.
fn time_left(planner: &Planner, band: &BandClimate) -> String {
    let panel = planner.panel;
    let shortest_s = shortest_s(panel, &sized(panel, planner.response, band));
    let left_s = (planner.request.budget_s - shortest_s).max(0.0);
    format!(
        "erase and rest take at least {shortest_s:.2} s, which leaves {left_s:.2} s for the fields, {:.1} ms for each of {} rows",
        left_s * 1e3 / panel.rows as f64,
        panel.rows
    )
}

/// The most levels that one of the schemes shows, fewer than asked; 0 for none.
fn most_levels(planner: &Planner, found: &[Found]) -> usize {
    let demand = planner.search_demand();
    let shows = |levels: usize, f: &Found| {
        let demand = Demand { levels, ..demand };
        let ends = f.spots.ends()?;
        let bounds = Span {
            low: LEAST_SPAN_LSTAR,
            high: ends.high - ends.low,
        };
        widest(levels, bounds, ROUGH, |step| {
            f.spots.darkest_targets(demand, step)
        })
    };
    let most = (2..demand.levels)
        .rev()
        .find(|&l| found.iter().any(|f| shows(l, f).is_some()));
    most.unwrap_or(0)
}

/// The most levels that a design was found for, stepping down from a first guess; with its span.
fn levels_that_meet(planner: &Planner, guess: usize, budget_s: f64) -> Option<(usize, f64)> {
    let mut levels = guess;
    for _ in 0..LEVEL_TRIALS {
        if levels < 2 {
            return None;
        }
        let request = Request {
            levels,
            budget_s,
            ..planner.request.clone()
        };
        if let Some(span) = span_of(planner, &request, planner.range_c) {
            return Some((levels, span));
        }
        levels = (levels as f64 * LEVEL_STEP) as usize;
    }
    None
}

fn fewer_levels(planner: &Planner, found: &[Found]) -> Option<String> {
    (planner.progress)("would fewer levels do?");
    let asked = planner.request.levels;
    let guess = most_levels(planner, found)
        .max(MOST_LIKELY.min(asked * 3 / 4))
        .min(asked - 1);
    let (levels, span) = levels_that_meet(planner, guess, planner.request.budget_s)?;
    Some(format!(
        "{levels} levels over {span:.1} L* in the same time at the same tolerance"
    ))
}

fn laxer(planner: &Planner) -> Option<String> {
    (planner.progress)("would a laxer tolerance do?");
    TOLERANCES
        .iter()
        .filter(|&&t| t > planner.request.tolerance_steps)
        .find_map(|&tolerance_steps| {
            let request = Request {
                tolerance_steps,
                ..planner.request.clone()
            };
            let span = span_of(planner, &request, planner.range_c)?;
            Some(format!(
                "a tolerance of {tolerance_steps} step, over {span:.1} L*"
            ))
        })
}

/// Longer budgets to try: within the panel's limit where that leaves room, else beyond it.
fn longer_budgets(budget_s: f64, limit_s: f64) -> Vec<f64> {
    let longer = LONGER.iter().map(|factor| factor * budget_s);
    if budget_s < limit_s {
        return longer.filter(|&b| b < limit_s).chain([limit_s]).collect();
    }
    longer
        .take(LONGER_BEYOND)
        .filter(|&b| b <= LONGEST_S)
        .collect()
}

/// The first longer budget that shows the levels; where none does, what the longest shows.
fn longer(planner: &Planner) -> Option<String> {
    let (asked, limit_s) = (planner.request.levels, planner.panel.limits.refresh_s);
    let budgets = longer_budgets(planner.request.budget_s, limit_s);
    let longest_s = *budgets.last()?;
    let raised = if longest_s > limit_s {
        format!(", with limits.refresh_s in panel.toml raised from {limit_s} s")
    } else {
        String::new()
    };
    for &budget_s in &budgets {
        (planner.progress)(&format!("would {budget_s} s do?"));
        let request = Request {
            budget_s,
            ..planner.request.clone()
        };
        if let Some(span) = span_of(planner, &request, planner.range_c) {
            return Some(format!(
                "a budget of {budget_s} s{raised}: {asked} levels over {span:.1} L*"
            ));
        }
    }
    let (levels, span) = levels_that_meet(planner, MOST_LIKELY.min(asked - 1), longest_s)?;
    Some(format!(
        "{levels} levels over {span:.1} L* in {longest_s} s{raised}; no time up to that shows {asked}"
    ))
}

/// The cold end given up, where a range was asked.
fn warmer(planner: &Planner) -> Option<String> {
    if planner.request.temperature_c.is_some() {
        return None;
    }
    let (low, high) = planner.range_c;
    [0.3, 0.6].iter().find_map(|share| {
        let from = (low + share * (high - low)).round();
        (planner.progress)(&format!("would a range from {from} °C do?"));
        let span = span_of(planner, planner.request, (from, high)).filter(|_| from < high)?;
        Some(format!(
            "a range from {from} to {high} °C: {} levels over {span:.1} L*",
            planner.request.levels
        ))
    })
}

/// The columns' charge taken back while the picture stands, where the controller doesn't, or a higher limit on what is left.
fn freer(planner: &Planner) -> Option<String> {
    let mut panel = planner.panel.clone();
    let words = if panel.drivers.resting_balance {
        panel.limits.net_impulse_vs *= HIGHER;
        format!(
            "limits.net_impulse_vs of {} V·s",
            panel.limits.net_impulse_vs
        )
    } else {
        panel.drivers.resting_balance = true;
        "a controller that plays the resting balance (drivers.resting_balance)".to_owned()
    };
    (planner.progress)(&format!("would {words} do?"));
    let freer = Planner {
        panel: &panel,
        ..*planner
    };
    let span = span_of(&freer, planner.request, planner.range_c)?;
    Some(format!(
        "{words}: {} levels over {span:.1} L*",
        planner.request.levels
    ))
}
