//! Acceptance figures as the set and its response predict them, the worst of all bands.

use super::acceptance::{Figure, Limit};
use super::crosstalk::{extreme_contents, greedy_apart};
use super::maps::Played;
use super::picture_run::{Before, Lag, Levels, PictureRun};
use super::standing::{Standing, StandingBand, lag};
use crate::design::even::mixed_levels;
use crate::design::middle::Middle;
use crate::design::proof::Apart;
use crate::design::reach::Climate;
use crate::tone::reflectance_from_lstar;

/// What is asked of the figures beside the panel's own limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Largest error of a level, in steps.
    pub tolerance_steps: f64,
    /// Whether the controller plays the resting balance.
    pub balance: bool,
    pub cell: Option<Cell>,
}

/// What the panel runs from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Energy that can be drawn.
    pub mwh: f64,
    pub refreshes_a_day: f64,
}

/// Rows that shading is looked at in, at most.
const SHADING_ROWS: usize = 64;

/// A value with where it is worst.
pub(super) struct Worst {
    pub value: f64,
    pub at: String,
}

impl Standing<'_> {
    /// All figures, in the order in which they are told.
    pub fn figures(&self, asked: &Asked) -> Vec<Figure> {
        let tolerance = asked.tolerance_steps;
        let twice = Some(Limit::AtMost(2.0 * tolerance));
        let [crosstalk, of_own, of_span] = self.crosstalk(twice);
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
            self.shading(twice),
            self.uniformity(tolerance),
            self.shortest_pulse(),
            self.refresh(),
        ];
        figures.extend(self.impulse(asked.balance));
        figures.extend(self.energy(asked.cell));
        figures.push(self.flash());
        figures
    }

    /// The largest of a value over the bands.
    pub(super) fn worst(&self, of: impl Fn(&StandingBand) -> Worst) -> Worst {
        let none = Worst {
            value: f64::NEG_INFINITY,
            at: String::new(),
        };
        let all = self.bands.iter().map(of);
        all.fold(none, |a, b| if b.value > a.value { b } else { a })
    }

    fn levels(&self) -> Figure {
        let apart = |b: &StandingBand| {
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
            .map(StandingBand::step_lstar)
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
        let of = |b: &StandingBand| {
            let mut extremes = b.extremes.clone();
            for (level, added) in b.added_lstar.iter().enumerate() {
                extremes.lowest[level].lstar += added;
                extremes.highest[level].lstar += added;
            }
            extremes
                .worst(b.targets_lstar)
                .map_or(nowhere(), |w| Worst {
                    value: (w.lstar - w.target_lstar).abs() / b.step_lstar(),
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
        let of = |b: &StandingBand| {
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
        let of = |b: &StandingBand| {
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

    /// In L*, as a share of the pixel's own luminance, and as a share of the span's.
    fn crosstalk(&self, limit_steps: Option<Limit>) -> [Figure; 3] {
        let each: Vec<_> = self.bands.iter().flat_map(|b| self.pulls(b)).collect();
        let largest = |of: &dyn Fn(&Pull) -> f64| {
            let (at, value) = largest(each.iter().map(of));
            let place = each.get(at).map_or(String::new(), Pull::place);
            (
                value,
                format!("between other rows at their lightest and darkest; {place}"),
            )
        };
        let (lstar, at) = largest(&|p| p.lstar());
        let smallest = |most: f64| most * self.step_lstar();
        let limit = limit_steps.map(|l| match l {
            Limit::AtMost(most) => Limit::AtMost(smallest(most)),
            Limit::AtLeast(least) => Limit::AtLeast(smallest(least)),
        });
        let [own, span] = [largest(&Pull::of_own), largest(&Pull::of_span)];
        [
            Figure::new(
                "crosstalk",
                (lstar, "L*"),
                limit,
                "most that other rows change a pixel's lightness; over all pictures, by bound",
                at,
            ),
            Figure::new(
                "crosstalk, of own",
                (100.0 * own.0, "%"),
                None,
                "the same in luminance, over the luminance that is changed",
                own.1,
            ),
            Figure::new(
                "crosstalk, of span",
                (100.0 * span.0, "%"),
                None,
                "the same, over the luminance from darkest to lightest level",
                span.1,
            ),
        ]
    }

    fn step_lstar(&self) -> f64 {
        let steps = self.bands.iter().map(StandingBand::step_lstar);
        steps.fold(f64::INFINITY, f64::min)
    }

    /// What other rows do to every level of a band, at its limits and design temperature.
    fn pulls(&self, band: &StandingBand) -> Vec<Pull> {
        let contents = extreme_contents(&band.band.fields, &band.band.ticks);
        let mut climates = band.corners();
        climates.push(band.climate.design());
        let mut apart = self.finished(band).contents_apart(&climates, &contents);
        if band.band.fields.iter().any(|f| f.mirrored) {
            let bounds = climates.iter().map(|c| {
                let played = Played {
                    temperature_c: c.temperature_c,
                    stretch: c.stretch,
                    ..self.played(band, c.temperature_c)
                };
                greedy_apart(self.response, &played, self.panel.rows)
            });
            let wider = |a: Vec<Apart>, b: Vec<Apart>| {
                let pairs = a.into_iter().zip(b);
                pairs
                    .map(|(a, b)| {
                        if b.size_lstar() > a.size_lstar() {
                            b
                        } else {
                            a
                        }
                    })
                    .collect()
            };
            apart = bounds.reduce(wider).unwrap_or(apart);
        }
        let y = |lstar: Option<&f64>| reflectance_from_lstar(lstar.copied().unwrap_or(0.0));
        let span = y(band.targets_lstar.last()) - y(band.targets_lstar.first());
        let pull = |(level, a): (usize, &Apart)| Pull {
            level,
            row: a.row,
            climate: a.climate,
            lstar: a.lstar.map(|l| l + band.added_lstar[level]),
            span,
        };
        apart.iter().enumerate().map(pull).collect()
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

    fn shading(&self, limit_steps: Option<Limit>) -> Figure {
        let worst = self.worst(|b| self.shading_of(b));
        Figure::new(
            "row shading",
            (worst.value, "step"),
            limit_steps,
            "largest difference of one level between two rows",
            format!("mixed content, design temperature; {}", worst.at),
        )
    }

    fn shading_of(&self, band: &StandingBand) -> Worst {
        let rows = self.panel.rows;
        let looked_at: Vec<usize> = if rows <= SHADING_ROWS {
            (0..rows).collect()
        } else {
            let half = SHADING_ROWS / 2;
            let spread = (0..half).map(|k| half + k * (rows - 1 - half) / (half - 1));
            (0..half).chain(spread).collect()
        };
        let shown: Vec<Vec<f64>> = looked_at
            .iter()
            .map(|&row| self.ordinary_lstar(band, row))
            .collect();
        let range = |level: usize| {
            let column = shown.iter().map(|row| row[level]);
            let low = column.clone().fold(f64::INFINITY, f64::min);
            column.fold(f64::NEG_INFINITY, f64::max) - low
        };
        let (level, value) = largest((0..self.set.levels).map(range));
        Worst {
            value: value / band.step_lstar(),
            at: format!("level {level}, {}", celsius(band)),
        }
    }

    /// Every level in a row of an ordinary picture at the design temperature, with what readings have added.
    fn ordinary_lstar(&self, band: &StandingBand, row: usize) -> Vec<f64> {
        let ticks = &band.band.ticks;
        let levels = mixed_levels(self.panel.rows, ticks.len());
        let content: Vec<Vec<u32>> = levels.into_iter().map(|l| ticks[l].clone()).collect();
        let finished = self.finished(band);
        let pixel = Middle::new(&finished, band.climate.design(), &content, row);
        let levels = ticks.iter().zip(&band.added_lstar);
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
                "every pixel of one level, design temperature; lag up to {:.2} µs; {}",
                1e6 * self.panel.matrix().far_corner_lag_s(),
                worst.at
            ),
        )
    }

    /// Lines that answer at once against the nearest, the middle and the farthest column.
    fn uniformity_of(&self, band: &StandingBand) -> Worst {
        let whole = lag(&self.panel.matrix());
        let columns = [0, self.panel.columns / 2, self.panel.columns - 1];
        let lag = Lag {
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

/// What other rows do to one level in one place.
#[derive(Debug, Clone, Copy)]
struct Pull {
    level: usize,
    row: usize,
    climate: Climate,
    lstar: [f64; 2],
    /// Reflectance of the lightest target less that of the darkest.
    span: f64,
}

impl Pull {
    fn lstar(&self) -> f64 {
        (self.lstar[1] - self.lstar[0]).abs()
    }

    fn luminances(&self) -> [f64; 2] {
        self.lstar.map(reflectance_from_lstar)
    }

    fn of_own(&self) -> f64 {
        let [a, b] = self.luminances();
        (b - a).abs() / a.max(1e-9)
    }

    fn of_span(&self) -> f64 {
        let [a, b] = self.luminances();
        (b - a).abs() / self.span.max(1e-9)
    }

    fn place(&self) -> String {
        let t = self.climate.temperature_c;
        format!("level {}, row {}, {t:.1} °C", self.level, self.row)
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

pub(super) fn celsius(band: &StandingBand) -> String {
    let limits = band.band.temperature_c;
    format!("{} to {} °C", limits.low, limits.high)
}
