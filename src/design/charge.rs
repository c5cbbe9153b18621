//! The net charge of a design: which choices of ticks the panel's limit allows, and what a finished band leaves.

use super::choice::Spots;
use super::reach::Scheme;
use crate::drive::{
    RowTicks, WorstImpulse, balanced_impulse_vs, data_impulse_vs, worst_net_impulse_vs,
};
use crate::project::Panel;
use serde::Serialize;
use std::fmt::Write;

/// What a design keeps of charge: no picture may leave more than the limit on any pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChargeLimit {
    pub limit_vs: f64,
    /// Of the panel.
    pub rows: usize,
    /// Whether the controller can take the columns' part away while the picture stands.
    pub resting_balance: bool,
}

impl ChargeLimit {
    pub fn of(panel: &Panel) -> Self {
        ChargeLimit {
            limit_vs: panel.limits.net_impulse_vs,
            rows: panel.rows,
            resting_balance: panel.drivers.resting_balance,
        }
    }

    /// The choices that keep the limit where durations are stretched by up to `stretch`: all of them where the resting balance
    /// does it, else those that keep it as driven.
    ///
    /// Exact: a pixel's own data count like those of any other row, and rows choose freely, so that the worst picture shows
    /// one level in all rows; the limit holds for every picture if it holds for each level's. Where zones of rows choose apart,
    /// enough: what their worst levels leave together is a mean of what each would leave in all rows.
    pub fn kept(&self, spots: Spots, scheme: &Scheme, stretch: f64) -> Spots {
        let alike_vs = balanced_impulse_vs(&scheme.erase, &scheme.fields);
        if self.resting_balance && stretch * alike_vs.abs() <= self.limit_vs {
            return spots;
        }
        let data_vs = |choice| data_impulse_vs(&scheme.fields, &scheme.ticks_of(choice));
        spots.only(|choice| {
            let net_vs = alike_vs + self.rows as f64 * data_vs(choice);
            stretch * net_vs.abs() <= self.limit_vs
        })
    }
}

/// What the worst picture leaves on a pixel of a band, at its longest stretch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Charge {
    pub driven_vs: f64,
    /// Level that the worst picture shows in all rows.
    pub level: usize,
    /// After a resting balance, and how long that takes.
    pub balanced_vs: f64,
    pub balance_s: f64,
    /// Data voltage of the resting balance, where the band has one.
    pub resting_balance_v: Option<f64>,
}

impl Charge {
    /// Of a band that has its resting balance at `resting_balance_v`; how long one takes without is told for the drivers' own.
    pub fn of(
        panel: &Panel,
        scheme: &Scheme,
        ticks: RowTicks,
        stretch: f64,
        resting_balance_v: Option<f64>,
    ) -> Self {
        let worst = worst_net_impulse_vs(&scheme.erase, &scheme.fields, ticks, panel.rows);
        let of = |of: fn(&WorstImpulse) -> f64| stretch * worst.as_ref().map_or(0.0, of).abs();
        let balance_v = resting_balance_v.unwrap_or(panel.drivers.balance_v());
        Charge {
            driven_vs: of(|w| w.value_vs),
            level: worst.map_or(0, |w| w.level),
            balanced_vs: of(|w| w.balanced_vs),
            balance_s: of(|w| w.column_vs) / balance_v,
            resting_balance_v,
        }
    }

    /// Calls for the resting balance where the limit is not kept as driven and the controller has it.
    pub fn designed(self, panel: &Panel) -> Self {
        let above = self.driven_vs > panel.limits.net_impulse_vs;
        let called = panel.drivers.resting_balance && above && self.balanced_vs < self.driven_vs;
        Charge {
            resting_balance_v: called.then(|| panel.drivers.balance_v()),
            ..self
        }
    }

    pub fn left_vs(&self) -> f64 {
        if self.resting_balance_v.is_some() {
            self.balanced_vs
        } else {
            self.driven_vs
        }
    }
}

/// Where the resting balance is called for, and what is left where the limit is not kept.
pub fn charge_note(panel: &Panel, bands: impl Iterator<Item = Charge>) -> Option<String> {
    let each: Vec<Charge> = bands.collect();
    let most = |of: fn(&Charge) -> f64| each.iter().map(of).fold(0.0, f64::max);
    let (driven_vs, left_vs) = (most(|c| c.driven_vs), most(Charge::left_vs));
    let limit_vs = panel.limits.net_impulse_vs;
    if driven_vs <= limit_vs {
        return None;
    }
    let mut note = format!(
        "Net charge: as driven the worst picture leaves {driven_vs:.1} V·s on a pixel, above the panel's limit of \
         {limit_vs:.1} V·s."
    );
    let balanced = each.iter().filter(|c| c.resting_balance_v.is_some());
    let longest_s = balanced.map(|c| c.balance_s).fold(0.0, f64::max);
    if longest_s > 0.0 {
        let _ = write!(
            note,
            " The controller has to play the resting balance: while the picture stands, rows at 0 V and each column at \
             {} V against its data for up to {longest_s:.1} s, which leaves {left_vs:.1} V·s.",
            panel.drivers.balance_v()
        );
    }
    if left_vs > limit_vs {
        note += " These schemes can't keep the limit.";
    }
    Some(note)
}
