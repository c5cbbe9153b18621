//! Acceptance figures as readings of the levels show them, with their expanded uncertainty.

use super::chart::fill_table;
use super::samples::{Verification, band_of, level_of};
use crate::design::choice::step_of;
use crate::panel::{Figure, Limit};
use crate::project::{Page, Panel};
use crate::response::propagation::COVERAGE_FACTOR;
use crate::tone::{lstar_slope, reflectance_from_lstar};
use crate::waveforms::{Band, Waveforms};

/// The mean of some readings, L*.
#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    sum: f64,
    count: usize,
}

impl Mean {
    fn add(&mut self, lstar: f64) {
        self.sum += lstar;
        self.count += 1;
    }

    fn lstar(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / self.count as f64)
    }

    fn variance(&self, repeatability_lstar: f64) -> f64 {
        repeatability_lstar.powi(2) / self.count.max(1) as f64
    }
}

/// A value, its expanded uncertainty, and where it was found.
struct Read {
    value: f64,
    expanded_u: f64,
    at: String,
}

/// What the pages of one band show at its design temperature: by level, among mixed, dark and light neighbours.
struct BandRead<'a> {
    band: &'a Band,
    /// The table that pages of the chart fill with.
    fill: &'a [Vec<u32>],
    targets_lstar: &'a [f64],
    repeatability_lstar: f64,
    mixed: Vec<Mean>,
    dark: Vec<Mean>,
    light: Vec<Mean>,
}

/// Figures of the readings: level error, step error, contrast, crosstalk; those for which something was read. Uncertainties
/// are those of the instrument's repeatability, k = 2.
pub fn read_figures(
    set: &Waveforms,
    panel: &Panel,
    verification: &Verification,
    tolerance_steps: f64,
) -> Vec<Figure> {
    let read = |band| BandRead::new(set, band, panel, verification);
    let bands: Vec<BandRead> = set.bands.iter().map(read).collect();
    let worst = |of: &dyn Fn(&BandRead) -> Vec<Read>| {
        let all = bands.iter().flat_map(of);
        all.max_by(|a, b| a.value.total_cmp(&b.value))
    };
    let at = |name, unit, limit: Option<Limit>, what: &str, found: Option<Read>| {
        let found = found?;
        let figure = Figure::new(name, (found.value, unit), limit, what, found.at);
        Some(figure.known_to(found.expanded_u))
    };
    let lightest_step = bands.iter().map(BandRead::step_lstar);
    let step = lightest_step.fold(f64::INFINITY, f64::min);
    let contrast = bands.iter().filter_map(BandRead::contrast);
    let smallest = contrast.min_by(|a, b| a.value.total_cmp(&b.value));
    [
        at(
            "level error, read",
            "step",
            Some(Limit::AtMost(tolerance_steps)),
            "largest distance of a level's mean reading from its target",
            worst(&|b| b.level_errors()),
        ),
        at(
            "step error, read",
            "step",
            Some(Limit::AtMost(1.0)),
            "largest difference of a step between mean readings from the mean step",
            worst(&|b| b.step_errors()),
        ),
        at(
            "contrast, read",
            ": 1",
            None,
            "luminous reflectance of the lightest level over that of the darkest",
            smallest,
        ),
        at(
            "crosstalk, read",
            "L*",
            Some(Limit::AtMost(2.0 * tolerance_steps * step)),
            "largest difference of a level between light and dark neighbours",
            worst(&|b| b.crosstalk()),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

impl<'a> BandRead<'a> {
    fn new(set: &'a Waveforms, band: &'a Band, panel: &Panel, verification: &Verification) -> Self {
        let none = vec![Mean::default(); set.levels];
        let mut read = BandRead {
            band,
            fill: fill_table(band, panel),
            targets_lstar: band.targets(set),
            repeatability_lstar: panel.instrument.repeatability_lstar,
            mixed: none.clone(),
            dark: none.clone(),
            light: none,
        };
        let measured = &verification.measured;
        for reading in &measured.readings {
            let page = &measured.chart.pages[reading.page];
            let here = band_of(set, page).is_some_and(|b| std::ptr::eq(b, band));
            if !here || page.temperature_c != band.temperature_c.design {
                continue;
            }
            if let Some(level) = level_of(band, &page.patches[reading.patch]) {
                read.content(page)[level].add(reading.lstar);
            }
        }
        read
    }

    /// The means of the content that a page has.
    fn content(&mut self, page: &Page) -> &mut Vec<Mean> {
        match () {
            () if Some(&page.fill_ticks) == self.fill.first() => &mut self.dark,
            () if Some(&page.fill_ticks) == self.fill.last() => &mut self.light,
            () => &mut self.mixed,
        }
    }

    fn step_lstar(&self) -> f64 {
        step_of(self.targets_lstar)
    }

    fn u_lstar(&self, means: &[&Mean]) -> f64 {
        let variances = means.iter().map(|m| m.variance(self.repeatability_lstar));
        COVERAGE_FACTOR * variances.sum::<f64>().sqrt()
    }

    fn place(&self, what: String) -> String {
        format!("{what}, {} °C", self.band.temperature_c.design)
    }

    fn level_errors(&self) -> Vec<Read> {
        let step = self.step_lstar();
        let levels = self.mixed.iter().zip(self.targets_lstar).enumerate();
        levels
            .filter_map(|(level, (mean, target))| {
                Some(Read {
                    value: (mean.lstar()? - target).abs() / step,
                    expanded_u: self.u_lstar(&[mean]) / step,
                    at: self.place(format!("level {level} among mixed neighbours")),
                })
            })
            .collect()
    }

    fn step_errors(&self) -> Vec<Read> {
        let (first, last) = (self.mixed.first(), self.mixed.last());
        let ends = first.and_then(Mean::lstar).zip(last.and_then(Mean::lstar));
        let Some((dark, light)) = ends else {
            return Vec::new();
        };
        let step = (light - dark) / (self.mixed.len() - 1).max(1) as f64;
        let pairs = self.mixed.windows(2).enumerate();
        pairs
            .filter_map(|(level, pair)| {
                let apart = pair[1].lstar()? - pair[0].lstar()?;
                Some(Read {
                    value: (apart / step - 1.0).abs(),
                    expanded_u: self.u_lstar(&[&pair[0], &pair[1]]) / step,
                    at: self.place(format!("from level {level} to {}", level + 1)),
                })
            })
            .collect()
    }

    fn contrast(&self) -> Option<Read> {
        let (dark, light) = (self.mixed.first()?, self.mixed.last()?);
        let y = |m: &Mean| m.lstar().map(reflectance_from_lstar);
        let (y_dark, y_light) = (y(dark)?, y(light)?);
        // A relative uncertainty of each end, by the slope of lightness over reflectance.
        let relative = |m: &Mean, y: f64| self.u_lstar(&[m]) / (lstar_slope(y) * y);
        let contrast = y_light / y_dark;
        Some(Read {
            value: contrast,
            expanded_u: contrast * relative(dark, y_dark).hypot(relative(light, y_light)),
            at: self.place("among mixed neighbours".into()),
        })
    }

    fn crosstalk(&self) -> Vec<Read> {
        let levels = self.dark.iter().zip(&self.light).enumerate();
        levels
            .filter_map(|(level, (dark, light))| {
                Some(Read {
                    value: (light.lstar()? - dark.lstar()?).abs(),
                    expanded_u: self.u_lstar(&[dark, light]),
                    at: self.place(format!("level {level}")),
                })
            })
            .collect()
    }
}
