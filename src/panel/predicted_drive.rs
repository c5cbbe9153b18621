//! Acceptance figures of the drive: time, charge, energy, flash; the worst of all bands.

use super::acceptance::{Figure, Limit};
use super::charge::balance_shift;
use super::luminance::luminance_series;
use super::on_panel::{BandOnPanel, SetOnPanel};
use super::picture_run::PictureRun;
use super::predicted::{Supply, Worst, celsius, largest};
use crate::design::charge::Charge;
use crate::drive::{
    Cell, Duty, FLASHES_A_SECOND, Lag, Life, Swing, repeated_flashes, shortest_refresh_interval_s,
};
use crate::response::propagation::COVERAGE_FACTOR;

impl SetOnPanel<'_> {
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
        let lag = Lag::of(&self.panel.matrix());
        let at = |swing| {
            let lost = lag.as_ref().and_then(|l| l.lost_tick_us(REACHED, swing));
            lost.unwrap_or(f64::NAN)
        };
        let ticks = self.bands.iter().flat_map(|b| &b.band.fields);
        let shortest_us = ticks.map(|f| f.tick_us).min().unwrap_or(0);
        Figure::new(
            "shortest pulse",
            (at(Swing::All), "µs"),
            Some(Limit::AtMost(f64::from(shortest_us))),
            "pulse that just reaches 0.9 of its voltage at the pixel farthest from the drivers, all columns alike",
            format!(
                "one row alone {:.2} µs, one column alone {:.2} µs; limit: the shortest tick of the set, below which it is lost",
                at(Swing::Row),
                at(Swing::Column)
            ),
        )
    }

    pub(super) fn impulse(&self) -> Vec<Figure> {
        let all: Vec<Charge> = self.bands.iter().map(|b| self.charge(b)).collect();
        let most = |of: fn(&Charge) -> f64| largest(all.iter().map(of));
        let ((_, left_vs), (at, driven_vs)) = (most(Charge::left_vs), most(|c| c.driven_vs));
        let (_, balanced_vs) = most(|c| c.balanced_vs);
        let (longest, seconds) = most(|c| c.balance_s);
        let level = all.get(at).map_or(0, |c| c.level);
        let balance_v = self.bands.get(longest).map_or(0.0, |b| self.balance_v(b));
        let played = match all.iter().filter(|c| c.resting_balance_v.is_some()).count() {
            0 => "the set has no resting balance".to_owned(),
            n if n == all.len() => "after the resting balance, which the set has".to_owned(),
            n => format!(
                "after the resting balance in the {n} bands of {} that have it",
                all.len()
            ),
        };
        let mut figures = vec![
            Figure::new(
                "net impulse",
                (left_vs, "V·s"),
                Some(Limit::AtMost(self.panel.limits.net_impulse_vs)),
                "largest voltage-time integral that a refresh leaves on a pixel",
                format!("over all pictures; {played}"),
            ),
            Figure::new(
                "net impulse, driven",
                (driven_vs, "V·s"),
                None,
                "the same before any resting balance",
                format!("all pixels of a column at level {level}"),
            ),
            Figure::new(
                "net impulse, balanced",
                (balanced_vs, "V·s"),
                None,
                "the same after each column stood at its opposite data voltage, rows at 0 V",
                format!("{balance_v} V for up to {seconds:.1} s while the picture rests"),
            ),
        ];
        if all.iter().any(|c| c.resting_balance_v.is_some()) {
            let seen_lstar = COVERAGE_FACTOR * self.panel.instrument.repeatability_lstar;
            let worst = self.worst(|b| self.balance_shift(b));
            figures.push(Figure::new(
                "balance shift",
                (worst.value, "L*"),
                Some(Limit::AtMost(seen_lstar)),
                "most that the resting balance then changes a level, beside the level error",
                format!(
                    "{}; limit: expanded uncertainty, k = 2, of one reading",
                    worst.at
                ),
            ));
        }
        figures
    }

    /// The most that the resting balance changes a level: any level in the first, middle or last row of columns that ask for
    /// the longest, at the band's limits and design temperature.
    fn balance_shift(&self, band: &BandOnPanel) -> Worst {
        let temperatures_c = [
            band.climate.low_c,
            band.climate.design_c,
            band.climate.high_c,
        ];
        let shifts = temperatures_c.map(|t| {
            let played = self.played(band, t);
            let run = PictureRun::new(self.response, &played, None);
            balance_shift(&run, &played, self.panel.rows, self.balance_v(band))
        });
        let (worst, value) = largest(shifts.iter().map(|s| s.lstar));
        Worst {
            value,
            at: format!(
                "level {}, {} °C",
                shifts[worst].level,
                (temperatures_c[worst] * 10.0).round() / 10.0
            ),
        }
    }

    fn charge(&self, band: &BandOnPanel) -> Charge {
        let (of, stretch) = (band.band, band.longest_stretch());
        Charge::of(
            self.panel,
            &band.scheme,
            of.row_ticks(),
            stretch,
            of.resting_balance_v,
        )
    }

    pub(super) fn energy(&self, supply: Option<Supply>) -> Vec<Figure> {
        let load = self.panel.load();
        let worst = self.worst(|b| Worst {
            value: load
                .worst_energy(&b.band.erase, &b.band.fields, b.band.row_ticks())
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
        if let Some(supply) = supply {
            figures.push(battery_life(supply, worst.value));
        }
        figures
    }

    pub(super) fn flash(&self) -> Figure {
        let each: Vec<(usize, Option<f64>)> = self.bands.iter().map(|b| self.flashes(b)).collect();
        let most = each.iter().map(|e| e.0).max().unwrap_or(0);
        let apart: Option<Vec<f64>> = each.iter().map(|e| e.1).collect();
        let apart = match apart {
            _ if most <= FLASHES_A_SECOND => String::new(),
            Some(all) => format!(
                "; within the limit where refreshes begin {:.2} s apart or more",
                all.into_iter().fold(0.0, f64::max)
            ),
            None => "; one refresh alone is beyond the limit".into(),
        };
        Figure::new(
            "flash",
            (most as f64, "flashes"),
            Some(Limit::AtMost(FLASHES_A_SECOND as f64)),
            "pairs of opposing changes of mean luminance by 10 % or more, the darker below 0.80, in any second (WCAG 2.2, 2.3.1)",
            format!(
                "refreshes without a pause, whole panel dark or light, warmest of each band{apart}"
            ),
        )
    }

    /// Most flashes in a second of refreshes without a pause, at the band's warmest, where they are fastest, and how far
    /// apart refreshes must begin to keep the limit.
    fn flashes(&self, band: &BandOnPanel) -> (usize, Option<f64>) {
        let played = self.played(band, band.climate.high_c);
        let last = self.set.levels - 1;
        let pictures = [(0, true), (0, false), (last, true), (last, false)];
        let of = |picture| {
            let series = luminance_series(self.response, &played, self.panel.rows, picture);
            let length_s = series.last().map_or(0.0, |m| m.t_s);
            let most =
                repeated_flashes(&series, length_s).map_or(usize::MAX, |f| f.most_in_a_second);
            (most, shortest_refresh_interval_s(&series).ok().flatten())
        };
        let all = pictures.map(of);
        let most = all.iter().map(|a| a.0).max().unwrap_or(0);
        let intervals: Option<Vec<f64>> = all.into_iter().map(|a| a.1).collect();
        (most, intervals.map(|i| i.into_iter().fold(0.0, f64::max)))
    }
}

fn battery_life(supply: Supply, refresh_mj: f64) -> Figure {
    let cell = Cell {
        capacity_mah: supply.capacity_mah,
        volt: supply.volt,
        self_discharge_per_year: 0.0,
        usable_share: 1.0,
    };
    let life = cell.life(&Duty {
        refresh_mj,
        refreshes_per_day: supply.refreshes_a_day,
        converter_efficiency: 1.0,
        standby_ua: 0.0,
    });
    let days = match life {
        Ok(Life::Days(days)) => days,
        Ok(Life::Unlimited) => f64::INFINITY,
        Err(_) => f64::NAN,
    };
    Figure::new(
        "battery life",
        (days, "days"),
        None,
        "energy of the cell over that of a day's refreshes",
        format!(
            "{} mAh at {} V, {} refreshes a day, lines alone: what drivers, converter, controller and self-discharge take shortens it",
            supply.capacity_mah, supply.volt, supply.refreshes_a_day
        ),
    )
}
