//! The map of what trades against what: levels, refresh time, span and voltage.

mod caps;
mod knees;
mod pareto;
mod point;
mod walk;

pub use knees::{
    CapCost, Knees, LITTLE_LSTAR_PER_S, LevelsNeed, MostAt, NEEDLESS_LSTAR, VoltageCost, WidestAt,
};
pub use pareto::{Merits, unbettered};
pub use point::Point;

use super::erases::barely_cleared;
use super::pins::Pins;
use super::request::{LadderShare, Request};
use super::unmet::{budget_holds_an_erase, shortest_refresh_s};
use crate::error::{Error, Result, Unmet};
use crate::project::{Panel, Project};
use crate::response::fit::Fit;
use point::Asked;
use walk::{Cell, Walk};

/// What is to be mapped.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepRequest {
    /// Numbers of levels, rising, each 2…256; between the most that are found and the next, others are tried too.
    pub levels: Vec<usize>,
    /// Refresh times, s, rising.
    pub refresh_s: Vec<f64>,
    /// Worst error allowed, in steps; above 0, at most 0.5.
    pub tolerance_steps: f64,
    /// One temperature alone; absent: the panel's whole range.
    pub temperature_c: Option<f64>,
}

impl SweepRequest {
    /// The shortest time that any design of a panel takes: erase, rest and one tick a row, s.
    pub fn shortest_s(panel: &Panel) -> f64 {
        shortest_refresh_s(panel, &barely_cleared(panel))
    }

    /// Errs where all times are shorter than that.
    pub fn holds_an_erase(&self, panel: &Panel) -> Result<()> {
        let longest_s = self.refresh_s.last().copied().unwrap_or(0.0);
        budget_holds_an_erase(panel, &fitting(self, longest_s), &barely_cleared(panel))
    }
}

/// How far the map has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    pub what: String,
    /// Share of the work, about, 0…1.
    pub done: f64,
}

/// The map.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// The numbers of levels that were mapped; points between them are the most that were found.
    pub levels: Vec<usize>,
    /// All designs found: without caps, by refresh time and levels; those with lower voltages; and those that are the widest for
    /// more time or a higher cap than they were found for.
    pub points: Vec<Point>,
    /// The widest for each time, number of levels and cap.
    pub best: Vec<Point>,
    pub knees: Knees,
    /// Refresh times too short for erase, rest and one tick a row, s.
    pub too_short_s: Vec<f64>,
}

/// Share of the work that goes into lower voltages.
const CAPS_SHARE: f64 = 0.2;

/// Maps the designs of a project's panel with the fitted response: each point is a design that was found, over all bands, and
/// proved. `progress` is told what is being done.
///
/// Errs with [`Error::Unmet`] where all times are shorter than the erase, or no design is found at all.
pub fn sweep(
    project: &Project,
    fit: &Fit,
    request: &SweepRequest,
    progress: &(dyn Fn(&Step) + Sync),
) -> Result<Sweep> {
    let panel = &project.panel;
    let longest_s = request.refresh_s.last().copied().unwrap_or(0.0);
    request.holds_an_erase(panel)?;
    let shortest_s = SweepRequest::shortest_s(panel);
    let (too_short_s, times): (Vec<f64>, Vec<f64>) =
        request.refresh_s.iter().partition(|&&t| t < shortest_s);
    let walk = Walk::new(panel, fit, request, &times);
    let cells = walk.grid(&|what, done| {
        progress(&Step {
            what,
            done: (1.0 - CAPS_SHARE) * done,
        })
    });
    if cells.is_empty() {
        return Err(nothing(panel, request, longest_s));
    }
    let lower = walk.capped(&cells, &|what, done| {
        progress(&Step {
            what,
            done: 1.0 - CAPS_SHARE + CAPS_SHARE * done,
        })
    });
    let own = cells.iter().chain(&lower.found).map(Cell::point);
    let mut points = marked(own.collect());
    let best = best_of(&points, &times);
    points.extend(best.iter().filter(|p| p.carried).cloned());
    let asked = (request.levels.as_slice(), times.as_slice());
    Ok(Sweep {
        knees: Knees::of(&best, asked, &lower.missed),
        levels: request.levels.clone(),
        points,
        best,
        too_short_s,
    })
}

fn fitting(request: &SweepRequest, budget_s: f64) -> Request {
    Request {
        levels: request.levels.first().copied().unwrap_or(2),
        budget_s,
        tolerance_steps: request.tolerance_steps,
        share: LadderShare::Common,
        temperature_c: request.temperature_c,
        pins: Pins::NONE,
        contrast: None,
    }
}

fn nothing(panel: &Panel, request: &SweepRequest, longest_s: f64) -> Error {
    let least = request.levels.first().copied().unwrap_or(2);
    Error::Unmet(Unmet {
        request: format!("A map from {least} levels on, in {longest_s} s or less,"),
        binding: format!(
            "no design of panel {} shows even {least} levels within {} step in the longest of these times",
            panel.name, request.tolerance_steps
        ),
        would_do: vec![format!(
            "`greyloom fit` with --levels {least} --budget {longest_s}s tells what binds and what would do"
        )],
    })
}

/// The designs with the maxima among them marked.
fn marked(mut own: Vec<Point>) -> Vec<Point> {
    let merits: Vec<Merits> = own.iter().map(Point::merits).collect();
    for (point, kept) in own.iter_mut().zip(unbettered(&merits)) {
        point.pareto = kept;
    }
    own
}

/// For each time, number of levels and cap the widest design that fits: a scheme that fits in less time or under a lower cap fits
/// in more.
fn best_of(own: &[Point], times: &[f64]) -> Vec<Point> {
    let mut levels: Vec<usize> = own.iter().map(|p| p.levels).collect();
    levels.sort_unstable();
    levels.dedup();
    let mut asked: Vec<Asked> = Vec::new();
    for &budget_s in times {
        asked.extend(levels.iter().map(|&levels| Asked {
            levels,
            budget_s,
            ..Asked::default()
        }));
    }
    asked.extend(own.iter().map(Point::asked).filter(Asked::is_capped));
    asked.iter().filter_map(|a| widest(own, a)).collect()
}

/// Of the designs that keep what is asked the widest, told as one for that; of equals the one found for the least.
fn widest(own: &[Point], asked: &Asked) -> Option<Point> {
    let fits = own.iter().filter(|p| p.asked().keeps(asked));
    let widest = fits.reduce(|best, p| {
        let wider = p.span_lstar > best.span_lstar;
        let same = p.span_lstar == best.span_lstar && p.asked() == *asked;
        if wider || same { p } else { best }
    })?;
    let carried = widest.asked() != *asked;
    Some(Point {
        budget_s: asked.budget_s,
        select_cap_v: asked.select_cap_v,
        data_cap_v: asked.data_cap_v,
        carried,
        pareto: widest.pareto && !carried,
        ..widest.clone()
    })
}
