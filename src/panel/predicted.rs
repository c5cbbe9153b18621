//! Acceptance figures as the set and its response predict them, the worst of all bands.

use super::acceptance::{Figure, Limit};
use super::on_panel::{BandOnPanel, SetOnPanel, lag};
use super::picture_run::{Before, Levels, LineLag, PictureRun};
use crate::design::even::mixed_content;
use crate::design::middle::Middle;
use crate::design::shading::{Shading, shading};
use crate::drive::{Field, Lag, Swing};
use crate::tone::reflectance_from_lstar;
use crate::waveforms::{LSTAR, round};

/// What is asked of the figures beside the panel's own limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Largest error of a level, in steps.
    pub tolerance_steps: f64,
    pub supply: Option<Supply>,
}

/// The cell that the panel runs from, and how often it refreshes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    pub capacity_mah: f64,
    pub volt: f64,
    pub refreshes_a_day: f64,
}

/// A value with where it is worst.
pub(super) struct Worst {
    pub value: f64,
    pub at: String,
}

impl SetOnPanel<'_> {
    /// All figures, in the order in which they are told.
    pub fn figures(&self, asked: &Asked) -> Vec<Figure> {
        let tolerance = asked.tolerance_steps;
        let [crosstalk, of_own, of_span] = self.crosstalk(2.0 * tolerance);
        let mut figures = vec![
            self.levels(),
            self.step(),
            self.worst_error(tolerance),
            self.step_error(),
            self.contrast(),
            crosstalk,
            of_own,
            of_span,
            self.ghost(),
            self.shading(2.0 * tolerance),
            self.uniformity(tolerance),
            self.shortest_pulse(),
            self.refresh(),
        ];
        figures.extend(self.impulse());
        figures.extend(self.energy(asked.supply));
        figures.push(self.flash());
        figures
    }

    /// The largest of a value over the bands.
    pub(super) fn worst(&self, of: impl Fn(&BandOnPanel) -> Worst) -> Worst {
        let none = Worst {
            value: f64::NEG_INFINITY,
            at: String::new(),
        };
        let all = self.bands.iter().map(of);
        all.fold(none, |a, b| if b.value > a.value { b } else { a })
    }

    fn levels(&self) -> Figure {
        let apart = |b: &BandOnPanel| {
            let pairs = b
                .extremes
                .highest
                .iter()
                .zip(b.extremes.lowest.iter().skip(1));
            pairs
                .filter(|(dark, light)| dark.lstar < light.lstar)
                .count()
                + 1
        };
        let fewest = self.bands.iter().map(apart).min().unwrap_or(0);
        Figure::new(
            "levels in order",
            (fewest as f64, ""),
            Some(Limit::AtLeast(self.set.levels as f64)),
            "levels of which each stays lighter than the one before, whatever the picture",
            format!(
                "of {}; all rows, contents and temperatures of the worst band",
                self.set.levels
            ),
        )
    }

    fn step(&self) -> Figure {
        let noise = self.panel.instrument.repeatability_lstar;
        let least = self
            .bands
            .iter()
            .map(BandOnPanel::step_lstar)
            .fold(f64::INFINITY, f64::min);
        Figure::new(
            "step",
            (least, "L*"),
            Some(Limit::AtLeast(2.0 * std::f64::consts::SQRT_2 * noise)),
            "CIE 1976 lightness from one level to the next",
            format!(
                "smallest of the bands; limit: what one reading of each tells apart, 2·√2·{noise} L*"
            ),
        )
    }

    fn worst_error(&self, tolerance: f64) -> Figure {
        let of = |b: &BandOnPanel| {
            let mut extremes = b.extremes.clone();
            for (level, added) in b.added_lstar.iter().enumerate() {
                extremes.lowest[level].lstar += added;
                extremes.highest[level].lstar += added;
            }
            extremes
                .worst(b.targets_lstar)
                .map_or(nowhere(), |w| Worst {
                    // As close as the file tells its targets.
                    value: round((w.lstar - w.target_lstar).abs() / b.step_lstar(), LSTAR),
                    at: format!(
                        "level {}, row {}, {:.1} °C",
                        w.level, w.row, w.temperature_c
                    ),
                })
        };
        let worst = self.worst(of);
        Figure::new(
            "level error",
            (worst.value, "step"),
            Some(Limit::AtMost(tolerance)),
            "largest distance of a level from its target, in steps of the ladder",
            format!("all contents, rows, temperatures; {}", worst.at),
        )
    }

    fn step_error(&self) -> Figure {
        let of = |b: &BandOnPanel| {
            let shown = self.ordinary_lstar(b, self.panel.rows / 2);
            let step = crate::design::choice::step_of(&shown);
            let errors = shown.windows(2).map(|w| ((w[1] - w[0]) / step - 1.0).abs());
            let (level, value) = largest(errors);
            Worst {
                value,
                at: format!("from level {level} to {}, {}", level + 1, celsius(b)),
            }
        };
        let worst = self.worst(of);
        Figure::new(
            "step error",
            (worst.value, "step"),
            Some(Limit::AtMost(1.0)),
            "largest difference of a step from the mean step; at 1 two levels are alike",
            format!(
                "mixed content, middle row, design temperature; {}",
                worst.at
            ),
        )
    }

    fn contrast(&self) -> Figure {
        let of = |b: &BandOnPanel| {
            let (dark, light) = (b.targets_lstar.first(), b.targets_lstar.last());
            let y = |l: Option<&f64>| reflectance_from_lstar(l.copied().unwrap_or(f64::NAN));
            y(light) / y(dark)
        };
        let least = self.bands.iter().map(of).fold(f64::INFINITY, f64::min);
        Figure::new(
            "contrast",
            (least, ": 1"),
            None,
            "luminous reflectance of the lightest level over that of the darkest, 45:0",
            "targets of the ladder; smallest of the bands",
        )
    }

    fn ghost(&self) -> Figure {
        let worst = self.worst(|b| Worst {
            value: b.extremes.ghost_lstar,
            at: celsius(b),
        });
        Figure::new(
            "ghost",
            (worst.value, "L*"),
            Some(Limit::AtMost(self.panel.limits.ghost_lstar)),
            "most that what a pixel showed before changes its lightness",
            "between the fully dark and the clear panel before the erase; all rows, temperatures",
        )
    }

    fn shading(&self, most_steps: f64) -> Figure {
        let worst = self.worst(|b| self.shading_of(b));
        Figure::new(
            "row shading",
            (worst.value, "step"),
            Some(Limit::AtMost(most_steps)),
            "largest difference of one level between two rows",
            format!("mixed content, design temperature; {}", worst.at),
        )
    }

    fn shading_of(&self, band: &BandOnPanel) -> Worst {
        let Shading { level, lstar } = shading(&self.finished(band), band.climate.design());
        let zones = match band.band.zones.len() {
            0 | 1 => String::new(),
            n => format!(", {n} zones of rows"),
        };
        Worst {
            value: lstar / band.step_lstar(),
            at: format!("level {level}, {}{zones}", celsius(band)),
        }
    }

    /// Every level in a row of an ordinary picture at the design temperature, with what readings have added.
    fn ordinary_lstar(&self, band: &BandOnPanel, row: usize) -> Vec<f64> {
        let ticks = band.band.row_ticks();
        let content = mixed_content(self.panel.rows, ticks);
        let finished = self.finished(band);
        let pixel = Middle::new(&finished, band.climate.design(), &content, row);
        let levels = ticks.in_row(row).iter().zip(&band.added_lstar);
        levels.map(|(t, added)| pixel.lstar(t) + added).collect()
    }

    fn uniformity(&self, tolerance: f64) -> Figure {
        let worst = self.worst(|b| self.uniformity_of(b));
        Figure::new(
            "line uniformity",
            (worst.value, "step"),
            Some(Limit::AtMost(tolerance)),
            "most that the lag of rows and columns changes a level",
            format!(
                "every pixel of one level, design temperature; {}; {}",
                self.edges(),
                worst.at
            ),
        )
    }

    /// How late and how soft edges come over the panel, in words.
    fn edges(&self) -> String {
        let ticks = self.bands.iter().flat_map(|b| &b.band.fields);
        let tick_s = ticks.map(Field::tick_s).fold(f64::INFINITY, f64::min);
        let even = Lag::of(&self.panel.matrix()).and_then(|lag| lag.uniformity(tick_s, Swing::All));
        even.map_or(String::new(), |u| {
            format!(
                "edges {:.2} to {:.2} µs late and up to {:.2} µs soft, {:.2} % of the shortest tick or more arrives",
                1e6 * u.delay_s.least,
                1e6 * u.delay_s.most,
                1e6 * u.rise_s.most,
                100.0 * u.on_share.least
            )
        })
    }

    /// Lines that answer at once against the nearest, the middle and the farthest column.
    fn uniformity_of(&self, band: &BandOnPanel) -> Worst {
        let whole = lag(&self.panel.matrix());
        let columns = [0, self.panel.columns / 2, self.panel.columns - 1];
        let lag = LineLag {
            select_s: columns.iter().map(|&c| whole.select_s[c]).collect(),
            data_s: whole.data_s,
        };
        let played = self.played(band, band.climate.design_c);
        let [late, at_once] = [Some(lag), None].map(|l| PictureRun::new(self.response, &played, l));
        let change = |level: usize| {
            let levels = vec![level as u16; self.panel.rows * columns.len()];
            let picture = Levels {
                columns: columns.len(),
                levels: &levels,
            };
            let shown = late.lstar(picture, Before::Dark);
            let there = at_once.lstar(picture, Before::Dark);
            let changes = shown.iter().zip(&there).map(|(a, b)| (a - b).abs());
            changes.fold(0.0, f64::max)
        };
        let (level, value) = largest((0..self.set.levels).map(change));
        Worst {
            value: value / band.step_lstar(),
            at: format!("level {level}"),
        }
    }
}

/// The largest of some values with its place; nothing gives 0.
pub(super) fn largest(values: impl Iterator<Item = f64>) -> (usize, f64) {
    let all = values.enumerate();
    let most = all.max_by(|a, b| a.1.total_cmp(&b.1));
    most.unwrap_or((0, 0.0))
}

fn nowhere() -> Worst {
    Worst {
        value: f64::NAN,
        at: String::new(),
    }
}

pub(super) fn celsius(band: &BandOnPanel) -> String {
    let limits = band.band.temperature_c;
    format!("{} to {} °C", limits.low, limits.high)
}
