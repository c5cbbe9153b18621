//! When a request can't be met: what binds, and what would do.

use super::choice::{Demand, Fineness, Span, Spots, widest};
use super::climate::BandClimate;
use super::plan::{Planner, Pool};
use super::search::{Goal, Ranked};
use crate::drive::Timing;
use crate::error::{Error, Result, Unmet};
use crate::pigment::REFERENCE_C;

/// Factors on the budget that are tried.
const LONGER: [f64; 4] = [1.5, 2.5, 4.0, 8.0];
/// Longest budget that is tried, s.
const LONGEST_S: f64 = 60.0;
/// Largest tolerance that still keeps the order of levels.
const LAXEST_STEPS: f64 = 0.5;
/// Descents of a search that only asks whether something is possible.
const STARTS: usize = 2;
/// Shortest ladder worth naming, L*.
const LEAST_SPAN_LSTAR: f64 = 1.0;
const ROUGH: Fineness = Fineness {
    coarse_lstar: 0.5,
    fine_lstar: 0.1,
};

/// Errs where the erase, the rest and one tick a row already take longer than the budget.
pub fn budget_holds_the_erase(planner: &Planner) -> Result<()> {
    let panel = planner.panel;
    let settle_ms = panel.drivers.field_settle_ms;
    let tick_us = panel.drivers.tick_us.iter().copied().min().unwrap_or(1);
    let one_tick_s = panel.rows as f64 * f64::from(tick_us) * 1e-6 + settle_ms * 1e-3;
    let shortest_s = panel
        .erases
        .iter()
        .map(|e| Timing::of(e, &[], panel.rows, settle_ms).total_s())
        .fold(f64::INFINITY, f64::min);
    let needed_s = shortest_s + one_tick_s;
    if needed_s <= planner.request.budget_s {
        return Ok(());
    }
    Err(Error::Unmet(Unmet {
        request: asked(planner),
        binding: format!(
            "erase and rest take {shortest_s:.2} s and one tick a row {one_tick_s:.2} s more, beyond the budget of {:.2} s",
            planner.request.budget_s
        ),
        would_do: vec![
            format!("a budget well above {needed_s:.2} s"),
            "a shorter erase or rest in panel.toml, where its ghost allows".into(),
        ],
    }))
}

/// Why the schemes of `pools`, the last searched last, are not good enough.
pub fn explain(planner: &Planner, pools: &[&Pool]) -> Error {
    (planner.progress)("looking for what would do");
    let band = pools
        .last()
        .map_or(BandClimate::point(REFERENCE_C), |p| p.band);
    let found: Vec<Found> = pools
        .last()
        .map_or(Vec::new(), |p| found(planner, p, planner.request.budget_s));
    let mut would_do = Vec::new();
    would_do.extend(fewer_levels(planner, &found));
    would_do.extend(laxer(planner, &found));
    would_do.extend(longer(planner, &band));
    would_do.extend(warmer(planner, &band));
    if would_do.is_empty() {
        would_do.push("drivers with other rails, or a panel with a sharper threshold: at none of the times tried do these show two levels".into());
    }
    Error::Unmet(Unmet {
        request: asked(planner),
        binding: binding(planner, &found, &band),
        would_do,
    })
}

/// A scheme in words, with its spots.
struct Found {
    words: String,
    spots: Spots,
}

fn asked(planner: &Planner) -> String {
    let r = planner.request;
    let at = match r.temperature_c {
        Some(t) => format!("at {t} °C"),
        None => {
            let limits = &planner.panel.limits;
            format!(
                "from {} to {} °C",
                limits.temperature_min_c, limits.temperature_max_c
            )
        }
    };
    format!(
        "{} levels in {} s {at}, no error above {} step,",
        r.levels, r.budget_s, r.tolerance_steps
    )
}

fn found(planner: &Planner, pool: &Pool, budget_s: f64) -> Vec<Found> {
    let search = planner.search(pool.band, Goal::Widest(planner.demand()), budget_s);
    let of = |ranked: &Ranked| Found {
        words: ranked.scheme.in_words(),
        spots: search.spots(&ranked.scheme, &pool.band.corners(&ranked.stretch)),
    };
    pool.schemes.iter().map(of).collect()
}

/// What the widest-reaching scheme lacks.
fn binding(planner: &Planner, found: &[Found], band: &BandClimate) -> String {
    let reach = |f: &Found| f.spots.ends().map_or(0.0, |e| e.high - e.low);
    let at = if band.low_c == band.high_c {
        format!("at {} °C", band.low_c)
    } else {
        format!("between {} and {} °C", band.low_c, band.high_c)
    };
    let Some(best) = found.iter().max_by(|a, b| reach(a).total_cmp(&reach(b))) else {
        return too_short(planner, &at);
    };
    let (span, r) = (reach(best), planner.request);
    let step = span / (r.levels - 1) as f64;
    let room = r.tolerance_steps * step;
    let blur = best.spots.middle_blur_lstar();
    let start = format!(
        "{at} the farthest-reaching scheme found ({}) spans {span:.1} L* from dark to light, so a step is {step:.2} L* and \
         an error may be {room:.2} L*",
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

/// The time that is left for the fields, where nothing useful fits in it.
fn too_short(planner: &Planner, at: &str) -> String {
    let panel = planner.panel;
    let settle_ms = panel.drivers.field_settle_ms;
    let erases = panel
        .erases
        .iter()
        .map(|e| Timing::of(e, &[], panel.rows, settle_ms).total_s());
    let shortest_s = erases.fold(f64::INFINITY, f64::min);
    let left_s = (planner.request.budget_s - shortest_s).max(0.0);
    format!(
        "erase and rest take {shortest_s:.2} s, which leaves {left_s:.2} s for the fields, {:.1} ms for each of {} rows: \
         {at} no scheme on these rails tells dark from light in that",
        left_s * 1e3 / panel.rows as f64,
        panel.rows
    )
}

fn widest_of(found: &[Found], demand: Demand) -> Option<f64> {
    let each = |f: &Found| {
        let ends = f.spots.ends()?;
        let high = ends.high - ends.low;
        let places = |step: f64| f.spots.darkest_targets(demand, step);
        let (_, step) = widest(
            demand.levels,
            Span {
                low: LEAST_SPAN_LSTAR,
                high,
            },
            ROUGH,
            places,
        )?;
        Some(step * (demand.levels - 1) as f64)
    };
    found.iter().filter_map(each).reduce(f64::max)
}

/// The most levels, fewer than asked, that the schemes show, and over what span.
fn most_levels(planner: &Planner, found: &[Found]) -> Option<(usize, f64)> {
    let demand = planner.demand();
    (2..demand.levels)
        .rev()
        .find_map(|levels| Some((levels, widest_of(found, Demand { levels, ..demand })?)))
}

fn fewer_levels(planner: &Planner, found: &[Found]) -> Option<String> {
    let (levels, span) = most_levels(planner, found)?;
    Some(format!(
        "{levels} levels over {span:.1} L* in the same time at the same tolerance"
    ))
}

fn laxer(planner: &Planner, found: &[Found]) -> Option<String> {
    let demand = planner.demand();
    let steps = (1..=20).map(|k| demand.tolerance_steps + f64::from(k) * 0.02);
    steps
        .filter(|&t| t <= LAXEST_STEPS)
        .find_map(|tolerance_steps| {
            let span = widest_of(
                found,
                Demand {
                    tolerance_steps,
                    ..demand
                },
            )?;
            Some(format!(
                "a tolerance of {tolerance_steps:.2} step, over {span:.1} L*"
            ))
        })
}

/// The first longer budget that shows the levels; where none does, the one that shows the most.
fn longer(planner: &Planner, band: &BandClimate) -> Option<String> {
    let asked = planner.request.levels;
    let mut most: Option<(usize, String)> = None;
    let budgets = LONGER
        .iter()
        .map(|f| f * planner.request.budget_s)
        .filter(|&b| b <= LONGEST_S);
    for budget_s in budgets {
        let search = planner.search(*band, Goal::Widest(planner.demand()), budget_s);
        let schemes = search.run(search.seeds(STARTS));
        if let Some(best) = schemes.first().filter(|f| f.score.kept) {
            let (span, words) = (best.score.value, best.scheme.in_words());
            return Some(format!(
                "a budget of {budget_s} s: {asked} levels over {span:.1} L* with {words}"
            ));
        }
        let pool = Pool {
            band: *band,
            schemes,
            evaluated: 0,
        };
        let shown = most_levels(planner, &found(planner, &pool, budget_s));
        if let Some((levels, span)) =
            shown.filter(|(l, _)| most.as_ref().is_none_or(|(m, _)| l > m))
        {
            let words = format!(
                "{levels} levels over {span:.1} L* in {budget_s} s; no longer time tried shows {asked}"
            );
            most = Some((levels, words));
        }
    }
    most.map(|(_, words)| words)
}

/// The cold end given up, where the whole range was asked.
fn warmer(planner: &Planner, band: &BandClimate) -> Option<String> {
    if planner.request.temperature_c.is_some() || band.low_c == band.high_c {
        return None;
    }
    let limits = &planner.panel.limits;
    let (low, high) = (limits.temperature_min_c, limits.temperature_max_c);
    [0.3, 0.6].iter().find_map(|share| {
        let from = (low + share * (high - low)).round();
        let to = (from + band.high_c - band.low_c).min(high);
        let shifted = BandClimate {
            low_c: from,
            design_c: 0.5 * (from + to),
            high_c: to,
            rounding: band.rounding,
        };
        let search = planner.search(
            shifted,
            Goal::Widest(planner.demand()),
            planner.request.budget_s,
        );
        let best = search
            .run(search.seeds(STARTS))
            .into_iter()
            .next()
            .filter(|f| f.score.kept)?;
        Some(format!(
            "a range from {from} °C up: {:.1} L* between {from} and {to:.1} °C",
            best.score.value
        ))
    })
}
