//! Acceptance figures of the drive: time, charge, energy, flash; the worst of all bands.

use super::acceptance::{Figure, Limit};
use super::charge::{column_impulse_vs, resting_balance};
use super::luminance::luminance_series;
use super::picture_run::{Before, Levels, PictureRun};
use super::predicted::{Cell, Worst, celsius, largest};
use super::standing::{Standing, StandingBand};
use crate::drive::flash::{FLASHES_MAX, flashes_in_a_second};
use crate::drive::{WorstImpulse, worst_net_impulse_vs};

/// Refreshes that follow each other without a pause, for the flash.
const CHAINED: usize = 3;
const J_PER_MWH: f64 = 3.6;

impl Standing<'_> {
    pub(super) fn refresh(&self) -> Figure {
        let worst = self.worst(|b| Worst {
            value: b.band.refresh_s,
            at: celsius(b),
        });
        Figure::new(
            "refresh",
            (worst.value, "s"),
            Some(Limit::AtMost(self.panel.limits.refresh_s)),
            "erase, fields, settling and rest",
            format!("longest of the bands, at its coldest; band of {}", worst.at),
        )
    }

    /// The shortest pulse that the lines still carry to their far ends.
    pub(super) fn shortest_pulse(&self) -> Figure {
        const REACHED: f64 = 0.9;
        let matrix = self.panel.matrix();
        let [row, column] = [matrix.row_line(), matrix.column_line()];
        let delays = [row, column].map(|line| line.step_at(1.0).delay_s(REACHED));
        let ticks = self.bands.iter().flat_map(|b| &b.band.fields);
        let shortest_us = ticks.map(|f| f.tick_us).min().unwrap_or(0);
        Figure::new(
            "shortest pulse",
            (1e6 * delays[0].max(delays[1]), "µs"),
            Some(Limit::AtMost(f64::from(shortest_us))),
            "pulse that just reaches 0.9 of its voltage at the far end of a row and of a column",
            format!(
                "row {:.2} µs, column {:.2} µs, drivers included; limit: the shortest tick of the set",
                1e6 * delays[0],
                1e6 * delays[1]
            ),
        )
    }

    pub(super) fn impulse(&self, balance: bool) -> Vec<Figure> {
        let of = |b: &StandingBand| {
            let band = b.band;
            let worst =
                worst_net_impulse_vs(&band.erase, &band.fields, &band.ticks, self.panel.rows);
            (worst, b.longest_stretch())
        };
        let all: Vec<(Option<WorstImpulse>, f64)> = self.bands.iter().map(of).collect();
        let most = |of: &dyn Fn(&WorstImpulse) -> f64| {
            largest(
                all.iter()
                    .map(|(w, stretch)| stretch * w.map_or(0.0, |w| of(&w)).abs()),
            )
        };
        let limit = Limit::AtMost(self.panel.limits.net_impulse_vs);
        let (at, driven) = most(&|w| w.value_vs);
        let (_, balanced) = most(&|w| w.balanced_vs);
        let (_, seconds) = most(&|w| w.balance_s);
        let judged = |yes: bool| yes.then_some(limit);
        let level = all.get(at).and_then(|a| a.0).map_or(0, |w| w.level);
        let cost = self.worst(|b| self.balance_cost(b));
        vec![
            Figure::new(
                "net impulse",
                (driven, "V·s"),
                judged(!balance),
                "largest voltage-time integral that a refresh leaves on a pixel",
                format!("over all pictures: all pixels of a column at level {level}; as driven"),
            ),
            Figure::new(
                "net impulse, balanced",
                (balanced, "V·s"),
                judged(balance),
                "the same after each column stood at its opposite data voltage, rows at 0 V",
                format!(
                    "up to {seconds:.1} s while the picture rests; it moves a level by up to {:.2} L* ({})",
                    cost.value, cost.at
                ),
            ),
        ]
    }

    /// What the resting balance does to the lightness of a panel of one level.
    fn balance_cost(&self, band: &StandingBand) -> Worst {
        let (fields, ticks) = (&band.band.fields, &band.band.ticks);
        let run = PictureRun::new(
            self.response,
            &self.played(band, band.climate.design_c),
            None,
        );
        let data_v = fields.iter().map(|f| f.data_v).fold(0.0, f64::max);
        let cost = |level: usize| {
            let levels = vec![level as u16; self.panel.rows];
            let picture = Levels {
                columns: 1,
                levels: &levels,
            };
            let balance = resting_balance(&column_impulse_vs(fields, ticks, picture), data_v);
            let before = run.lstar(picture, Before::Dark);
            let after = run.balanced_lstar(picture, Before::Dark, &balance);
            let changes = before.iter().zip(&after).map(|(a, b)| (a - b).abs());
            changes.fold(0.0, f64::max)
        };
        let (level, value) = largest((0..self.set.levels).map(cost));
        Worst {
            value,
            at: format!("level {level}, {}", celsius(band)),
        }
    }

    pub(super) fn energy(&self, cell: Option<Cell>) -> Vec<Figure> {
        let load = self.panel.load();
        let worst = self.worst(|b| Worst {
            value: load
                .worst_energy(&b.band.erase, &b.band.fields, &b.band.ticks)
                .total_mj(),
            at: celsius(b),
        });
        let mut figures = vec![Figure::new(
            "energy",
            (worst.value, "mJ"),
            None,
            "drawn by the lines in a refresh, C·ΔV² an edge",
            format!(
                "worst picture, without the drivers' own consumption; {}",
                worst.at
            ),
        )];
        if let Some(cell) = cell {
            let a_day_j = 1e-3 * worst.value * cell.refreshes_a_day;
            figures.push(Figure::new(
                "battery life",
                (cell.mwh * J_PER_MWH / a_day_j, "days"),
                None,
                "energy of the cell over that of a day's refreshes",
                format!(
                    "{} mWh, {} refreshes a day, lines alone: drivers, controller and self-discharge come on top",
                    cell.mwh, cell.refreshes_a_day
                ),
            ));
        }
        figures
    }

    pub(super) fn flash(&self) -> Figure {
        let of = |b: &StandingBand| Worst {
            value: self.flashes(b) as f64,
            at: format!("{} °C", b.climate.high_c),
        };
        let worst = self.worst(of);
        Figure::new(
            "flash",
            (worst.value, "pairs"),
            Some(Limit::AtMost(FLASHES_MAX as f64)),
            "opposing changes of mean luminance by 10 % or more, darker below 0.80, in any second (WCAG 2.2, 2.3.1)",
            format!(
                "{CHAINED} refreshes without a pause, whole panel dark or light; at {}",
                worst.at
            ),
        )
    }

    /// Of refreshes one after another, at the band's warmest, where they are fastest.
    fn flashes(&self, band: &StandingBand) -> usize {
        let played = self.played(band, band.climate.high_c);
        let last = self.set.levels - 1;
        let chain = |level: usize, from_clear: bool| {
            let one =
                luminance_series(self.response, &played, self.panel.rows, (level, from_clear));
            let length_s = one.last().map_or(0.0, |m| m.t_s);
            let at = |k: usize| {
                let shift_s = k as f64 * length_s;
                one.iter().map(move |m| (m.t_s + shift_s, m.luminance))
            };
            let series: Vec<(f64, f64)> = (0..CHAINED).flat_map(at).collect();
            flashes_in_a_second(&series)
        };
        let pictures = [(0, true), (0, false), (last, true), (last, false)];
        let counts = pictures.map(|(level, from_clear)| chain(level, from_clear));
        counts.into_iter().max().unwrap_or(0)
    }
}
