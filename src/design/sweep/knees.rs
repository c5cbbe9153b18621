//! Where the map bends: what levels need, what more time buys, what lower voltages cost.

use super::point::{Asked, Point};
use serde::Serialize;

/// More time that buys less than this is called little, L* a second.
pub const LITTLE_LSTAR_PER_S: f64 = 1.0;
/// A voltage that buys less than this is called needless, L*.
pub const NEEDLESS_LSTAR: f64 = 0.3;
/// Share of the refresh above which the erase is called most of it.
const MOST_SHARE: f64 = 0.5;

/// What the map comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Knees {
    /// The most levels whose step is no finer than may honestly be claimed, by time; see [`Point::least_step_lstar`].
    pub most: Vec<MostAt>,
    /// The shortest time in which so many levels were found, by levels.
    pub need: Vec<LevelsNeed>,
    /// What more time buys: spans of as many levels as a time in the middle shows.
    pub widest: Vec<WidestAt>,
    /// The longest time tried in which erase and rest take more than half of the refresh, s.
    pub erase_is_most_s: Option<f64>,
    pub voltage: Vec<VoltageCost>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MostAt {
    pub budget_s: f64,
    /// None where no design was found, or none honest.
    pub levels: Option<usize>,
    pub span_lstar: Option<f64>,
    pub contrast: Option<f64>,
    pub step_lstar: Option<f64>,
    pub least_step_lstar: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LevelsNeed {
    pub levels: usize,
    pub budget_s: f64,
    /// As the design takes them.
    pub refresh_s: f64,
    pub span_lstar: f64,
    pub contrast: f64,
    /// The next shorter time tried, in which none was found.
    pub none_in_s: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WidestAt {
    pub levels: usize,
    pub budget_s: f64,
    pub span_lstar: f64,
    /// From the next shorter time on, L* a second.
    pub gain_lstar_per_s: Option<f64>,
}

/// What a lower voltage of one rail costs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VoltageCost {
    /// `select` or `data`.
    pub rail: &'static str,
    pub levels: usize,
    pub budget_s: f64,
    /// Without a cap: highest of the rail, and the span with it.
    pub free_v: f64,
    pub free_lstar: f64,
    /// Falling.
    pub caps: Vec<CapCost>,
    /// The next lower voltage, with which no design was found.
    pub none_v: Option<f64>,
    /// The lowest voltage, cap or not, that keeps the span to within [`NEEDLESS_LSTAR`].
    pub enough_v: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CapCost {
    pub cap_v: f64,
    pub span_lstar: f64,
}

impl Knees {
    /// Of the points of a map, the levels and times asked for, both rising, and the caps for which no design was found.
    pub(super) fn of(
        points: &[Point],
        (levels, times): (&[usize], &[f64]),
        missed: &[Asked],
    ) -> Knees {
        let free: Vec<&Point> = points.iter().filter(|p| is_free(p)).collect();
        Knees {
            most: times.iter().map(|&t| most_at(&free, t)).collect(),
            need: need(&free, levels, times),
            widest: widest(&free, levels, times),
            erase_is_most_s: erase_is_most_s(&free),
            voltage: voltage(points, missed),
        }
    }
}

fn is_free(p: &Point) -> bool {
    p.select_cap_v.is_none() && p.data_cap_v.is_none()
}

fn most_at(free: &[&Point], budget_s: f64) -> MostAt {
    let honest = free.iter().filter(|p| p.budget_s == budget_s && p.honest);
    let most = honest.max_by_key(|p| p.levels);
    MostAt {
        budget_s,
        levels: most.map(|p| p.levels),
        span_lstar: most.map(|p| p.span_lstar),
        contrast: most.map(|p| p.contrast),
        step_lstar: most.map(|p| p.step_lstar),
        least_step_lstar: most.map(|p| p.least_step_lstar),
    }
}

/// In order of levels: those asked for, and the most.
fn need(free: &[&Point], levels: &[usize], times: &[f64]) -> Vec<LevelsNeed> {
    let most = free.iter().map(|p| p.levels).max();
    let beyond = most.filter(|m| !levels.contains(m));
    let mut levels: Vec<usize> = levels.iter().copied().chain(beyond).collect();
    levels.sort_unstable();
    let shortest = |l: usize| {
        let shown = free.iter().filter(|p| p.levels == l);
        shown.min_by(|a, b| a.budget_s.total_cmp(&b.budget_s))
    };
    levels
        .into_iter()
        .filter_map(shortest)
        .map(|p| LevelsNeed {
            levels: p.levels,
            budget_s: p.budget_s,
            refresh_s: p.refresh_s,
            span_lstar: p.span_lstar,
            contrast: p.contrast,
            none_in_s: times.iter().copied().rfind(|&t| t < p.budget_s),
        })
        .collect()
}

fn widest(free: &[&Point], levels: &[usize], times: &[f64]) -> Vec<WidestAt> {
    let shown: Vec<f64> = times
        .iter()
        .copied()
        .filter(|&t| free.iter().any(|p| p.budget_s == t))
        .collect();
    let Some(&middle) = shown.get(shown.len() / 2) else {
        return Vec::new();
    };
    let of_map = |p: &&&Point| p.budget_s == middle && p.honest && levels.contains(&p.levels);
    let at_middle = free.iter().filter(of_map);
    let Some(levels) = at_middle.map(|p| p.levels).max() else {
        return Vec::new();
    };
    let mut all: Vec<WidestAt> = Vec::new();
    for p in free.iter().filter(|p| p.levels == levels) {
        let gain =
            |before: &WidestAt| (p.span_lstar - before.span_lstar) / (p.budget_s - before.budget_s);
        let gain_lstar_per_s = all.last().map(gain);
        all.push(WidestAt {
            levels,
            budget_s: p.budget_s,
            span_lstar: p.span_lstar,
            gain_lstar_per_s,
        });
    }
    all
}

fn erase_is_most_s(free: &[&Point]) -> Option<f64> {
    let most = free
        .iter()
        .filter(|p| p.erase_s > MOST_SHARE * p.refresh_s && !p.carried);
    most.map(|p| p.budget_s).max_by(f64::total_cmp)
}

fn voltage(points: &[Point], missed: &[Asked]) -> Vec<VoltageCost> {
    type Cap = fn(Option<f64>, Option<f64>) -> Option<f64>;
    type Rail = (&'static str, Cap, fn(&Point) -> f64);
    let rails: [Rail; 2] = [
        ("select", |select, _| select, |p| p.select_v),
        ("data", |_, data| data, |p| p.data_v),
    ];
    let mut all: Vec<VoltageCost> = Vec::new();
    for base in points.iter().filter(|p| is_free(p)) {
        for (rail, cap_of, highest_v) in rails {
            let free_v = highest_v(base);
            let cap = |p: &Point| {
                let same = p.levels == base.levels && p.budget_s == base.budget_s;
                cap_of(p.select_cap_v, p.data_cap_v)
                    .filter(|&cap_v| same && cap_v < free_v)
                    .map(|cap_v| CapCost {
                        cap_v,
                        span_lstar: p.span_lstar,
                    })
            };
            let caps: Vec<CapCost> = points.iter().filter_map(cap).collect();
            let none = missed
                .iter()
                .filter(|m| m.levels == base.levels && m.budget_s == base.budget_s);
            let none_v = none
                .filter_map(|m| cap_of(m.select_cap_v, m.data_cap_v))
                .next();
            if caps.is_empty() && none_v.is_none() {
                continue;
            }
            let enough = |c: &&CapCost| c.span_lstar >= base.span_lstar - NEEDLESS_LSTAR;
            let enough_v = caps
                .iter()
                .filter(enough)
                .map(|c| c.cap_v)
                .fold(free_v, f64::min);
            all.push(VoltageCost {
                rail,
                levels: base.levels,
                budget_s: base.budget_s,
                free_v,
                free_lstar: base.span_lstar,
                caps,
                none_v,
                enough_v,
            });
        }
    }
    all
}
