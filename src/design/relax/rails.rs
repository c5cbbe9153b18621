//! Other rails: a limit moved, a finer step.

use super::{Kind, Relaxed, Relaxing, clean};
use crate::design::warm::Start;
use crate::project::{Panel, Rail};

/// How far beyond its limit a rail is tried, as a share of it, and in how many steps at most.
const RAIL_SHARE: f64 = 0.5;
const RAIL_STEPS: usize = 16;
/// Step of a rail that has none, V.
const RAIL_STEP_V: f64 = 0.1;
/// How often the step of a rail is halved.
const FINER: usize = 2;
impl Relaxing<'_> {
    /// Of each rail its limits, where schemes that were found stand at them, and its step.
    pub fn other_rails(&self) -> Vec<Relaxed> {
        let asked = self.asked();
        let mut all = Vec::new();
        for rail in [RailName::Select, RailName::Data] {
            let own = *rail.of(&asked.panel);
            let step_v = own.step.unwrap_or(RAIL_STEP_V);
            let at = |limit: f64| self.starts_at(rail, limit, step_v);
            for upper in [true, false] {
                let limit = if upper { own.max } else { own.min };
                if !at(limit) {
                    continue;
                }
                let steps = (RAIL_SHARE * limit.abs() / step_v + 1e-9).floor() as usize;
                all.extend(self.least(Kind::Rail, [steps.min(RAIL_STEPS)], |k| {
                    let moved = k as f64 * step_v;
                    let to = clean(if upper { limit + moved } else { limit - moved });
                    let mut changed = asked.clone();
                    rail.set(&mut changed.panel, |r| {
                        if upper { r.max = to } else { r.min = to }
                    });
                    let end = if upper { "max" } else { "min" };
                    (
                        changed,
                        format!(
                            "drivers.{}.{end} of {to} V in place of {limit} V",
                            rail.key()
                        ),
                    )
                }));
            }
            if own.step.is_some() {
                all.extend(self.finer(rail));
            }
        }
        all
    }

    /// The coarsest finer step that does.
    fn finer(&self, rail: RailName) -> Option<Relaxed> {
        let asked = self.asked();
        let own_v = rail.of(&asked.panel).step?;
        (1..=FINER).find_map(|k| {
            let step_v = own_v / (1 << k) as f64;
            let mut changed = asked.clone();
            rail.set(&mut changed.panel, |r| r.step = Some(step_v));
            let what = format!(
                "drivers.{}.step of {step_v} V in place of {own_v} V",
                rail.key()
            );
            self.say(&format!("would {what} do?"));
            // What stands on the coarse step stands on the finer one.
            let made = self.reached(&changed, &self.starts)?;
            Some(Relaxed {
                kind: Kind::Rail,
                changed,
                made,
                what,
            })
        })
    }

    /// Whether some scheme that was found stands at a limit of a rail.
    fn starts_at(&self, rail: RailName, limit_v: f64, step_v: f64) -> bool {
        let all: Vec<&Start> = self
            .starts
            .coldest
            .iter()
            .chain(&self.starts.bands)
            .collect();
        let mut volts = all
            .iter()
            .flat_map(|s| &s.scheme.fields)
            .map(|f| match rail {
                RailName::Select => f.select_v,
                RailName::Data => f.data_v,
            });
        volts.any(|v| (v - limit_v).abs() < 1.5 * step_v)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum RailName {
    Select,
    Data,
}

impl RailName {
    fn key(self) -> &'static str {
        match self {
            RailName::Select => "select_v",
            RailName::Data => "data_v",
        }
    }

    fn of(self, panel: &Panel) -> &Rail {
        match self {
            RailName::Select => &panel.drivers.select_v,
            RailName::Data => &panel.drivers.data_v,
        }
    }

    fn set(self, panel: &mut Panel, change: impl Fn(&mut Rail)) {
        change(match self {
            RailName::Select => &mut panel.drivers.select_v,
            RailName::Data => &mut panel.drivers.data_v,
        });
    }
}
