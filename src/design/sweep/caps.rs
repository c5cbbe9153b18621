//! What lower voltages cost.

use super::point::Asked;
use super::walk::{Cell, Tell, Walk};
use crate::design::search::rail_values;
use crate::design::warm::Starts;
use crate::project::{Panel, Rail};

/// Caps that are tried on a rail, at most, and the least share of a voltage between two of them.
const CAPS: usize = 6;
const CAP_SHARE: f64 = 0.05;

/// Designs with lower voltages, and caps for which none was found.
#[derive(Default)]
pub(super) struct Lower {
    pub found: Vec<Cell>,
    pub missed: Vec<Asked>,
}

/// The rail that is capped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Capped {
    Select,
    Data,
}

impl Capped {
    const ALL: [Capped; 2] = [Capped::Select, Capped::Data];

    fn rail(self, panel: &Panel) -> &Rail {
        match self {
            Capped::Select => &panel.drivers.select_v,
            Capped::Data => &panel.drivers.data_v,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Capped::Select => "select",
            Capped::Data => "data",
        }
    }

    /// Of a design.
    fn highest_v(self, cell: &Cell) -> f64 {
        let point = cell.point();
        match self {
            Capped::Select => point.select_v,
            Capped::Data => point.data_v,
        }
    }

    fn panel(self, panel: &Panel, cap_v: f64) -> Panel {
        let mut capped = panel.clone();
        let rail = match self {
            Capped::Select => &mut capped.drivers.select_v,
            Capped::Data => &mut capped.drivers.data_v,
        };
        let lowest = |min: f64| if min < -cap_v { -cap_v } else { min };
        (rail.min, rail.max) = (lowest(rail.min), cap_v.min(rail.max));
        capped
    }

    fn asked(self, asked: Asked, cap_v: f64) -> Asked {
        match self {
            Capped::Select => Asked {
                select_cap_v: Some(cap_v),
                ..asked
            },
            Capped::Data => Asked {
                data_cap_v: Some(cap_v),
                ..asked
            },
        }
    }

    /// Caps below a voltage, falling: on the rail, no closer than a share of it.
    fn below(self, panel: &Panel, highest_v: f64) -> Vec<f64> {
        let mut caps: Vec<f64> = Vec::new();
        let mut last = highest_v;
        let values = rail_values(self.rail(panel));
        for v in values.into_iter().rev().filter(|v| *v > 0.0) {
            if v <= last - CAP_SHARE * highest_v + 1e-9 {
                caps.push(v);
                last = v;
            }
        }
        caps.truncate(CAPS);
        caps
    }
}

impl Walk<'_> {
    /// Designs with lower voltages at the longest time and at one in the middle, as many levels as both show without.
    pub fn capped(&self, cells: &[Cell], tell: &Tell) -> Lower {
        let bases = bases(cells);
        let parts = bases.len() * Capped::ALL.len();
        let mut lower = Lower::default();
        for (i, base) in bases.into_iter().enumerate() {
            for (j, capped) in Capped::ALL.into_iter().enumerate() {
                let done = |share: f64| ((i * Capped::ALL.len() + j) as f64 + share) / parts as f64;
                self.lower(base, capped, &mut lower, &|what, share| {
                    tell(what, done(share))
                });
            }
        }
        lower
    }

    /// Caps from the voltage of `base` down, until no design is found.
    fn lower(&self, base: &Cell, capped: Capped, lower: &mut Lower, tell: &Tell) {
        let mut found: Vec<Cell> = Vec::new();
        let caps = capped.below(self.panel, capped.highest_v(base));
        for (k, &cap_v) in caps.iter().enumerate() {
            let (levels, budget_s) = (base.levels(), base.asked.budget_s);
            tell(
                format!(
                    "{levels} levels in {budget_s} s with {} up to {cap_v} V",
                    capped.words()
                ),
                k as f64 / caps.len() as f64,
            );
            let panel = capped.panel(self.panel, cap_v);
            let request = self.request_of(levels, budget_s);
            let last = found.last().map_or(Starts::default(), |c| c.made.starts());
            let starts = last.and(&base.made.starts());
            let asked = capped.asked(base.asked, cap_v);
            match self.planner(&panel, &request).attempt_from(&starts) {
                Ok(made) => found.push(Cell { made, asked }),
                Err(_) => {
                    lower.missed.push(asked);
                    break;
                }
            }
        }
        lower.found.extend(found);
    }
}

/// The designs that caps are set on: of the most levels that a time in the middle shows, there and at the longest time.
fn bases(cells: &[Cell]) -> Vec<&Cell> {
    let mut times: Vec<f64> = cells.iter().map(|c| c.asked.budget_s).collect();
    times.dedup();
    let (Some(&middle), Some(&longest)) = (times.get(times.len() / 2), times.last()) else {
        return Vec::new();
    };
    let at = |t: f64| cells.iter().filter(move |c| c.asked.budget_s == t);
    let shown = |l: usize| at(longest).find(|c| c.levels() == l);
    let both = at(middle).rev().find_map(|c| Some((c, shown(c.levels())?)));
    match both {
        Some((middle, longest)) if middle.asked.budget_s < longest.asked.budget_s => {
            vec![middle, longest]
        }
        Some((_, longest)) => vec![longest],
        None => at(longest).next_back().into_iter().collect(),
    }
}
