//! When a request can't be met: what binds, and what would do.

use super::choice::{Demand, Fineness, Span, Spots, widest};
use super::climate::BandClimate;
use super::plan::{Planner, Pool};
use super::search::Goal;
use crate::drive::Timing;
use crate::error::{Error, Result, Unmet};

/// Factors on the budget that are tried, and where that ends.
const LONGER: [f64; 4] = [1.5, 2.5, 4.0, 8.0];
const LONGEST_S: f64 = 60.0;
/// Largest tolerance that still keeps the order of levels.
const LAXEST_STEPS: f64 = 0.5;
/// Descents of a search that only asks whether something is possible.
const STARTS: usize = 2;
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

/// Why the schemes of `pools`, the best that were found, are not good enough.
pub fn explain(planner: &Planner, pools: &[&Pool]) -> Error {
    (planner.progress)("looking for what would do");
    let band = pools.last().map_or(BandClimate::point(23.0), |p| p.band);
    let spots: Vec<(String, Spots)> = pools.last().map_or(Vec::new(), |p| spots(planner, p));
    let mut would_do = Vec::new();
    would_do.extend(fewer_levels(planner, &spots));
    would_do.extend(laxer(planner, &spots));
    would_do.extend(longer(planner, &band));
    would_do.extend(warmer(planner, &band));
    if would_do.is_empty() {
        would_do.push("stronger drivers or a panel with less disturb: no scheme on these rails shows two levels".into());
    }
    Error::Unmet(Unmet {
        request: asked(planner),
        binding: binding(planner, &spots, &band),
        would_do,
    })
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
        "{} even levels in {:.2} s {at} with every error within {} step",
        r.levels, r.budget_s, r.tolerance_steps
    )
}

/// The schemes of a pool in words, with their spots.
fn spots(planner: &Planner, pool: &Pool) -> Vec<(String, Spots)> {
    let search = planner.search(
        pool.band,
        Goal::Widest(planner.demand()),
        planner.request.budget_s,
    );
    let of = |ranked: &super::search::Ranked| {
        let climates = pool.band.corners(&ranked.stretch);
        (
            ranked.scheme.in_words(),
            search.spots(&ranked.scheme, &climates),
        )
    };
    pool.schemes.iter().map(of).collect()
}

/// What the widest-reaching scheme lacks: steps against the blur that neighbours make.
fn binding(planner: &Planner, spots: &[(String, Spots)], band: &BandClimate) -> String {
    let reach = |s: &Spots| s.ends().map_or(0.0, |e| e.high - e.low);
    let Some((words, best)) = spots
        .iter()
        .max_by(|a, b| reach(&a.1).total_cmp(&reach(&b.1)))
    else {
        return format!(
            "no scheme on these rails darkens a pixel in {:.2} s",
            planner.request.budget_s
        );
    };
    let (span, r) = (reach(best), planner.request);
    let step = span / (r.levels - 1) as f64;
    let room = r.tolerance_steps * step;
    let blur = best.middle_blur_lstar();
    let at = if band.low_c == band.high_c {
        format!("at {} °C", band.low_c)
    } else {
        format!("between {} and {} °C", band.low_c, band.high_c)
    };
    let start = format!(
        "{at} the best scheme found ({words}) reaches {span:.1} L* from dark to light, so a step is {step:.2} L* and an error may be {room:.2} L*"
    );
    if blur > room {
        format!(
            "{start}; what neighbours, rows and temperature make of a middle grey alone is ±{blur:.2} L*"
        )
    } else {
        format!("{start}; its ticks don't land that close to every level")
    }
}

fn widest_of(spots: &[(String, Spots)], demand: Demand) -> Option<f64> {
    let each = |s: &Spots| {
        let ends = s.ends()?;
        let bounds = Span {
            low: 1.0,
            high: (ends.high - ends.low) * (1.0 + 1.0 / demand.levels as f64),
        };
        widest(demand.levels, bounds, ROUGH, |step| {
            s.darkest_targets(demand, step)
        })
        .map(|(_, step)| step * (demand.levels - 1) as f64)
    };
    spots.iter().filter_map(|(_, s)| each(s)).reduce(f64::max)
}

fn fewer_levels(planner: &Planner, spots: &[(String, Spots)]) -> Option<String> {
    let demand = planner.demand();
    (2..demand.levels).rev().find_map(|levels| {
        let span = widest_of(spots, Demand { levels, ..demand })?;
        Some(format!(
            "{levels} levels over {span:.1} L* in the same time at the same tolerance"
        ))
    })
}

fn laxer(planner: &Planner, spots: &[(String, Spots)]) -> Option<String> {
    let demand = planner.demand();
    let steps = (1..=20).map(|k| demand.tolerance_steps + f64::from(k) * 0.02);
    steps
        .filter(|&t| t <= LAXEST_STEPS)
        .find_map(|tolerance_steps| {
            let span = widest_of(
                spots,
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

fn longer(planner: &Planner, band: &BandClimate) -> Option<String> {
    let budgets = LONGER
        .iter()
        .map(|f| f * planner.request.budget_s)
        .filter(|&b| b <= LONGEST_S);
    for budget_s in budgets {
        let search = planner.search(*band, Goal::Widest(planner.demand()), budget_s);
        let found = search.run(search.seeds(STARTS));
        if let Some(best) = found.first().filter(|f| f.score.kept) {
            return Some(format!(
                "a budget of {budget_s:.1} s: {} levels over {:.1} L* with {}",
                planner.request.levels,
                best.score.value,
                best.scheme.in_words()
            ));
        }
    }
    None
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
