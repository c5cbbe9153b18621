//! The smallest changes, one of each kind, that make a request feasible: each proved by a design that meets it.

mod rails;

use super::plan::{Effort, Planner};
use super::request::Request;
use super::warm::{Made, Starts};
use crate::project::Panel;

/// Longest budget that is tried: so many times the one asked for, and no more than this, s.
const LONGEST_FACTOR: f64 = 4.0;
const LONGEST_S: f64 = 40.0;
/// Steps of the first longer budget tried, and how many times as many each further one adds.
const FIRST_LONGER: usize = 4;
const THEN_LONGER: usize = 4;
/// Share of the levels that is left each time fewer are tried.
const LEVEL_SHARE: f64 = 0.75;
/// To what share of the budget the least longer one is sought, but no finer and no coarser than this, s.
const BUDGET_SHARE: f64 = 0.05;
const BUDGET_FINEST_S: f64 = 0.1;
const BUDGET_COARSEST_S: f64 = 0.5;
/// To what tolerance, temperature and contrast are sought, steps, °C, 1; and the laxest tolerance, which keeps levels in order.
const TOLERANCE_STEP: f64 = 0.01;
const LAXEST_STEPS: f64 = 0.5;
const TEMPERATURE_STEP_C: f64 = 1.0;
const CONTRAST_STEP: f64 = 0.1;
/// Net impulse: parts of the limit, and the most that is tried of them.
const IMPULSE_PART: f64 = 0.05;
const IMPULSE_PARTS: usize = 20;
/// Ascents from the coarse grid where known schemes lead to nothing: over a range of temperatures, and at one alone.
const SEEDS: usize = 2;
const SEEDS_ALONE: usize = 8;

/// A request on a panel, both perhaps changed.
#[derive(Debug, Clone)]
pub(super) struct Changed {
    pub panel: Panel,
    pub request: Request,
    pub range_c: (f64, f64),
}

/// A change that does, in words, with the design that proves it.
pub(super) struct Relaxed {
    pub kind: Kind,
    pub changed: Changed,
    pub made: Made,
    /// Words for the change where the changed request doesn't tell.
    pub what: String,
}

impl Relaxed {
    /// Of the narrowest band, L*.
    pub fn span_lstar(&self) -> f64 {
        self.made.design.span_lstar()
    }

    /// Of the band with the least.
    pub fn contrast(&self) -> f64 {
        let bands = self.made.design.bands.iter();
        bands.map(|b| b.contrast).fold(f64::INFINITY, f64::min)
    }
}

/// What is relaxed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Levels,
    Tolerance,
    Seconds,
    Contrast,
    WarmerFrom,
    CoolerTo,
    Rail,
    Impulse,
}

/// Where a search begins.
enum Begun<'s> {
    /// With known schemes.
    Nearby(&'s Starts),
    /// With them, and from the coarse grid where they lead to nothing.
    Everywhere(&'s Starts),
}

/// Looks for the changes, with all schemes found on the way.
pub(super) struct Relaxing<'p> {
    planner: &'p Planner<'p>,
    starts: Starts,
}

impl<'p> Relaxing<'p> {
    pub fn new(planner: &'p Planner<'p>, starts: Starts) -> Self {
        Relaxing { planner, starts }
    }

    fn asked(&self) -> Changed {
        Changed {
            panel: self.planner.panel.clone(),
            request: self.planner.request.clone(),
            range_c: self.planner.range_c,
        }
    }

    /// A design that meets a changed request, reached from `starts`.
    fn reached(&self, changed: &Changed, starts: &Starts) -> Option<Made> {
        self.planner_of(changed).attempt_from(starts).ok()
    }

    /// The same, or one reached from the coarse grid.
    fn meets(&self, changed: &Changed, starts: &Starts) -> Option<Made> {
        self.reached(changed, starts).or_else(|| {
            let planner = self.planner_of(changed);
            let seeds = match changed.request.temperature_c {
                Some(_) => SEEDS_ALONE,
                None => SEEDS,
            };
            planner
                .attempt_from(&planner.seeded(seeds).and(starts))
                .ok()
        })
    }

    fn planner_of<'c>(&'c self, changed: &'c Changed) -> Planner<'c> {
        Planner {
            panel: &changed.panel,
            request: &changed.request,
            range_c: changed.range_c,
            effort: Effort::Quick,
            progress: &|_| {},
            ..*self.planner
        }
    }

    fn say(&self, what: &str) {
        (self.planner.progress)(what);
    }

    /// The least number of steps whose change does; what does is taken to do with more of them. `tried` are tried in turn, rising, until
    /// one does; then halves of what lies below.
    fn least(
        &self,
        kind: Kind,
        tried: impl IntoIterator<Item = usize>,
        change: impl Fn(usize) -> (Changed, String),
    ) -> Option<Relaxed> {
        let attempt = |k: usize, begun: Begun| {
            let (changed, what) = change(k);
            self.say(&format!("would {what} do?"));
            let made = match begun {
                Begun::Nearby(starts) => self.reached(&changed, starts)?,
                Begun::Everywhere(starts) => self.meets(&changed, starts)?,
            };
            Some(Relaxed {
                kind,
                changed,
                made,
                what,
            })
        };
        let mut low = 0;
        let mut tried = tried.into_iter().filter(|&k| k > 0).peekable();
        while let Some(high) = tried.next() {
            // The coarse grid is looked at where nothing else is left.
            let begun = match tried.peek() {
                Some(_) => Begun::Nearby(&self.starts),
                None => Begun::Everywhere(&self.starts),
            };
            if let Some(found) = attempt(high, begun) {
                return Some(self.between(low, high, found, attempt));
            }
            low = high;
        }
        None
    }

    /// The least of `low` + 1…`high` that does, begun each time with what was found; `high` does.
    fn between(
        &self,
        mut low: usize,
        mut high: usize,
        mut found: Relaxed,
        attempt: impl Fn(usize, Begun) -> Option<Relaxed>,
    ) -> Relaxed {
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            let starts = found.made.starts().and(&self.starts);
            match attempt(middle, Begun::Everywhere(&starts)) {
                Some(better) => {
                    found = better;
                    high = middle;
                }
                None => low = middle,
            }
        }
        found
    }

    pub fn fewer_levels(&self) -> Option<Relaxed> {
        let asked = self.asked();
        let levels = asked.request.levels;
        // A share fewer each time; of the shares, the last leaves two levels.
        let left = |n: i32| (levels as f64 * LEVEL_SHARE.powi(n)) as usize;
        let tried = (1..).map(left).take_while(|&l| l > 2).chain([2]);
        let tried: Vec<usize> = tried.map(|l| levels.saturating_sub(l)).collect();
        self.least(Kind::Levels, tried, |k| {
            let mut changed = asked.clone();
            changed.request.levels = levels - k;
            (changed, format!("{} levels", levels - k))
        })
    }

    pub fn laxer(&self) -> Option<Relaxed> {
        let asked = self.asked();
        let tolerance = asked.request.tolerance_steps;
        let most = ((LAXEST_STEPS - tolerance) / TOLERANCE_STEP - 1e-9)
            .ceil()
            .max(0.0) as usize;
        self.least(Kind::Tolerance, [most], |k| {
            let mut changed = asked.clone();
            let laxer = clean(tolerance + k as f64 * TOLERANCE_STEP).min(LAXEST_STEPS);
            changed.request.tolerance_steps = laxer;
            (changed, format!("a tolerance of {laxer} step"))
        })
    }

    /// Longer by doubling amounts until one does, then between.
    pub fn longer(&self) -> Option<Relaxed> {
        let asked = self.asked();
        let (budget_s, limit_s) = (asked.request.budget_s, asked.panel.limits.refresh_s);
        let step_s = budget_step_s(budget_s);
        let longest_s = longest_s(budget_s);
        let most = ((longest_s - budget_s) / step_s + 1e-9).floor().max(0.0) as usize;
        let change = |k: usize| {
            let mut changed = asked.clone();
            let longer_s = clean(budget_s + k as f64 * step_s);
            changed.request.budget_s = longer_s;
            let raised = if longer_s > limit_s {
                format!(", with limits.refresh_s in panel.toml raised from {limit_s} s")
            } else {
                String::new()
            };
            (changed, format!("a budget of {longer_s} s{raised}"))
        };
        let more = std::iter::successors(Some(FIRST_LONGER), |k| Some(THEN_LONGER * k));
        let tried = more.take_while(|&k| k < most).chain([most]);
        self.least(Kind::Seconds, tried, change)
    }

    /// The most contrast that a design has which meets the rest.
    pub fn less_contrast(&self) -> Option<Relaxed> {
        let asked = self.asked();
        let least = asked.request.contrast?;
        let mut free = asked.clone();
        free.request.contrast = None;
        let words = |c: f64| format!("a contrast of {c} : 1");
        let parts = |c: f64| (c / CONTRAST_STEP + 1e-9).floor() as usize;
        let made = self.meets(&free, &self.starts)?;
        let mut found = Relaxed {
            kind: Kind::Contrast,
            changed: free,
            made,
            what: String::new(),
        };
        let reached = parts(found.contrast()).min(parts(least));
        let floor = clean(reached as f64 * CONTRAST_STEP);
        (found.changed.request.contrast, found.what) = (Some(floor), words(floor));
        let starts = found.made.starts().and(&self.starts);
        let better = Relaxing {
            planner: self.planner,
            starts,
        };
        let most = parts(least).saturating_sub(reached);
        let change = |k: usize| {
            let mut changed = asked.clone();
            let contrast = clean(least - k as f64 * CONTRAST_STEP);
            changed.request.contrast = Some(contrast);
            (changed, words(contrast))
        };
        // The last of them is known to do.
        let higher = (most > 1).then(|| better.least(Kind::Contrast, [most - 1], change));
        Some(higher.flatten().unwrap_or(found))
    }

    /// The cold end given up, by whole steps.
    pub fn warmer(&self) -> Option<Relaxed> {
        self.narrower(Kind::WarmerFrom, |(low, high), k| (low + k, high))
    }

    /// The warm end given up.
    pub fn cooler(&self) -> Option<Relaxed> {
        self.narrower(Kind::CoolerTo, |(low, high), k| (low, high - k))
    }

    fn narrower(
        &self,
        kind: Kind,
        narrowed: impl Fn((f64, f64), f64) -> (f64, f64),
    ) -> Option<Relaxed> {
        let asked = self.asked();
        if asked.request.temperature_c.is_some() {
            return None;
        }
        let (low, high) = asked.range_c;
        let most = ((high - low) / TEMPERATURE_STEP_C - 1e-9).floor().max(0.0) as usize;
        self.least(kind, [most], |k| {
            let range_c = narrowed((low, high), k as f64 * TEMPERATURE_STEP_C);
            let mut changed = asked.clone();
            changed.range_c = range_c;
            (
                changed,
                format!("a range from {} to {} °C", range_c.0, range_c.1),
            )
        })
    }

    /// The columns' charge taken back while the picture stands, where the controller doesn't, or a higher limit on what is left.
    pub fn freer(&self) -> Option<Relaxed> {
        let asked = self.asked();
        if !asked.panel.drivers.resting_balance {
            return self.least(Kind::Impulse, [1], |_| {
                let mut changed = asked.clone();
                changed.panel.drivers.resting_balance = true;
                let what = "a controller that plays the resting balance (drivers.resting_balance)";
                (changed, what.to_owned())
            });
        }
        let limit_vs = asked.panel.limits.net_impulse_vs;
        self.least(Kind::Impulse, [IMPULSE_PARTS], |k| {
            let mut changed = asked.clone();
            let higher_vs = clean(limit_vs * (1.0 + k as f64 * IMPULSE_PART));
            changed.panel.limits.net_impulse_vs = higher_vs;
            (changed, format!("limits.net_impulse_vs of {higher_vs} V·s"))
        })
    }
}

/// To what a longer budget is sought, s.
pub(super) fn budget_step_s(budget_s: f64) -> f64 {
    let share_s = BUDGET_SHARE * budget_s;
    let tenths = (share_s / BUDGET_FINEST_S).round() * BUDGET_FINEST_S;
    clean(tenths.clamp(BUDGET_FINEST_S, BUDGET_COARSEST_S))
}

pub(super) fn longest_s(budget_s: f64) -> f64 {
    (LONGEST_FACTOR * budget_s).min(LONGEST_S.max(budget_s))
}

/// Without the dust of its arithmetic.
fn clean(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}
