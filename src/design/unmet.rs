//! When a request can't be met: what binds, and what would do.

use super::choice::Spots;
use super::climate::BandClimate;
use super::erases::sized;
use super::plan::{Effort, Planner};
use super::pool::Pool;
use super::relax::{Kind, Relaxed, Relaxing, budget_step_s, longest_s};
use super::request::Request;
use super::search::{Goal, Ranked};
use super::warm::Starts;
use crate::drive::{Erase, Timing};
use crate::error::{Error, Result, Unmet};
use crate::project::Panel;

/// Errs where the shortest of some erases, its rest and one tick a row already take longer than the budget.
pub fn budget_holds_an_erase(panel: &Panel, request: &Request, erases: &[Erase]) -> Result<()> {
    let needed_s = shortest_refresh_s(panel, erases);
    let shortest_s = shortest_s(panel, erases);
    let one_tick_s = needed_s - shortest_s;
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

/// The shortest of some erases, its rest and one tick a row, s: no refresh takes less.
pub(super) fn shortest_refresh_s(panel: &Panel, erases: &[Erase]) -> f64 {
    let tick_us = panel.drivers.tick_us.iter().copied().min().unwrap_or(1);
    let one_tick_s =
        panel.rows as f64 * f64::from(tick_us) * 1e-6 + panel.drivers.field_settle_ms * 1e-3;
    shortest_s(panel, erases) + one_tick_s
}

/// Erase and rest of the shortest erase, s.
fn shortest_s(panel: &Panel, erases: &[Erase]) -> f64 {
    let settle_ms = panel.drivers.field_settle_ms;
    erases
        .iter()
        .map(|e| Timing::of(e, &[], panel.rows, settle_ms).total_s())
        .fold(f64::INFINITY, f64::min)
}

/// Why the schemes of `pools`, the last searched last, are not good enough, and what would do: of each kind the least change that
/// a design was found for, which was proved like every other.
pub fn explain(planner: &Planner, pools: &[Pool]) -> Error {
    let band = pools
        .last()
        .map_or(BandClimate::point(planner.range_c.0), |p| p.band);
    let found = pools.last().map_or(Vec::new(), |p| found(planner, p));
    let relaxing = Relaxing::new(planner, Starts::of(pools));
    let less_contrast = relaxing.less_contrast();
    let binding = match &less_contrast {
        Some(lower) => format!(
            "the rest is met over {:.1} L*, a contrast of {:.2} : 1",
            lower.span_lstar(),
            lower.contrast()
        ),
        None => binding(planner, &found, &band),
    };
    let mut would_do: Vec<String> = Vec::new();
    would_do.extend(relaxing.fewer_levels().map(|r| words(planner, &r)));
    would_do.extend(relaxing.laxer().map(|r| words(planner, &r)));
    would_do.push(
        relaxing
            .longer()
            .map_or_else(|| no_time(planner.request.budget_s), |r| words(planner, &r)),
    );
    let narrower = [less_contrast, relaxing.warmer(), relaxing.cooler()];
    let rails = relaxing.other_rails().into_iter().map(Some);
    let rest = narrower.into_iter().chain(rails).chain([relaxing.freer()]);
    would_do.extend(rest.flatten().map(|r| words(planner, &r)));
    if would_do.len() < 2 {
        would_do.push(
            "nothing else alone, as far as fewer levels, a laxer tolerance, less contrast, a narrower range, other rails and more net charge \
             were tried; ask for less of several at once"
                .into(),
        );
    }
    Error::Unmet(Unmet {
        request: asked(planner.request, planner.range_c),
        binding,
        would_do,
    })
}

fn no_time(budget_s: f64) -> String {
    format!(
        "no time alone, as far as budgets up to {} s were tried",
        longest_s(budget_s)
    )
}

/// A change that does, and what it leads to.
fn words(planner: &Planner, relaxed: &Relaxed) -> String {
    let (asked, what, span) = (planner.request, &relaxed.what, relaxed.span_lstar());
    let levels = asked.levels;
    match relaxed.kind {
        Kind::Levels => {
            let fewer = relaxed.changed.request.levels;
            format!("{fewer} levels over {span:.1} L* in the same time at the same tolerance")
        }
        Kind::Tolerance => format!("{what}, over {span:.1} L*"),
        Kind::Seconds => format!(
            "{what}: {levels} levels over {span:.1} L*; the least, to {} s",
            budget_step_s(asked.budget_s)
        ),
        Kind::Rail => format!(
            "{what}: {levels} levels over {span:.1} L*, as far as a response fitted to the chart's own voltages tells"
        ),
        _ => format!("{what}: {levels} levels over {span:.1} L*"),
    }
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
    Some(trial.attempt().ok()?.span_lstar())
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
    let contrast = request
        .contrast
        .map_or(String::new(), |c| format!(", contrast at least {c} : 1"));
    format!(
        "{} levels in {} s {at}, no error above {} step{contrast},",
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
