//! What a design was compared with: a stated grid of schemes, and how each of them fares.

use super::lattice::{Frame, Lattice};
use crate::drive::{Erase, Field};
use crate::pigment::Kinetics;
use crate::tone::ResponseCurve;
use serde::{Deserialize, Serialize};

/// That no scheme of a grid does better than the set by more than a gap, with all that another look needs.
///
/// A ladder common to all bands is no wider than the widest that any one of them can show, so that one band, the one that
/// binds, bounds the set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Certificate {
    /// The band that was gone through, from 0.
    pub band: usize,
    /// Largest error of a level, in steps.
    pub tolerance_steps: f64,
    /// The set's ladder, L*.
    pub span_lstar: f64,
    /// No scheme of the grid, judged or not, shows a wider ladder in that band, L*.
    pub bound_lstar: f64,
    /// How much wider a ladder the bound leaves room for, %.
    pub gap_percent: f64,
    /// Schemes of the grid.
    pub schemes: u64,
    pub tally: Tally,
    /// The best scheme of another kind on a coarser grid: another number, order or direction of fields, or mirrored; absent where
    /// none is wider than `others_beyond_lstar`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<RunnerUp>,
    pub others_beyond_lstar: f64,
    /// The temperature of the bounds, °C: the band's design temperature, with durations as they are played there.
    pub temperature_c: f64,
    pub grid: Lattice,
    pub kinetics: Kinetics,
    pub curve: ResponseCurve,
    /// Some of the regions that were ruled out by a bound.
    pub ruled_out: Vec<RuledOut>,
}

/// How the schemes of a grid were dealt with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tally {
    /// Dark and light lie too close together.
    pub reach: u64,
    /// Some level is served by no choice of ticks: neighbours pull too far or ticks are too coarse there.
    pub level: u64,
    /// No ladder wide enough at the band's design temperature in the last row.
    pub ladder: u64,
    /// Judged over rows, contents, temperatures and charge, like any scheme of a search.
    pub judged: u64,
    /// Left undone where the search was cut short.
    pub open: u64,
    /// Regions bounded.
    pub regions: u64,
}

impl Tally {
    /// Takes up another one.
    pub fn add(&mut self, other: &Tally) {
        self.reach += other.reach;
        self.level += other.level;
        self.ladder += other.ladder;
        self.judged += other.judged;
        self.open += other.open;
        self.regions += other.regions;
    }

    /// Schemes dealt with.
    pub fn schemes(&self) -> u64 {
        self.reach + self.level + self.ladder + self.judged + self.open
    }
}

/// What rules a region out; see [`Tally`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    Reach,
    Level,
    Ladder,
}

/// A scheme of another kind and its ladder in the band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunnerUp {
    pub span_lstar: f64,
    pub erase: Erase,
    pub fields: Vec<Field>,
}

/// All voltages between two places of a frame's axes, both included: select and data in turn, field by field. No scheme among
/// them shows a ladder wider than `beyond_lstar`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RuledOut {
    pub why: Why,
    pub beyond_lstar: f64,
    pub frame: Frame,
    pub first: Vec<usize>,
    pub last: Vec<usize>,
}
