//! Acceptance figures of crosstalk: what other rows do to a pixel, bounded over all pictures.

use super::acceptance::{Figure, Limit};
use super::crosstalk::{extreme_contents, greedy_apart};
use super::maps::Played;
use super::on_panel::{BandOnPanel, SetOnPanel};
use super::predicted::largest;
use crate::design::proof::Apart;
use crate::design::reach::Climate;
use crate::tone::reflectance_from_lstar;

impl SetOnPanel<'_> {
    /// In L*, as a share of the pixel's own luminance, and as a share of the span's.
    pub(super) fn crosstalk(&self, most_steps: f64) -> [Figure; 3] {
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
        let limit = Some(Limit::AtMost(most_steps * self.step_lstar()));
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
        let steps = self.bands.iter().map(BandOnPanel::step_lstar);
        steps.fold(f64::INFINITY, f64::min)
    }

    /// What other rows do to every level of a band, at its limits and design temperature.
    fn pulls(&self, band: &BandOnPanel) -> Vec<Pull> {
        let (fields, ticks) = (&band.band.fields, band.band.row_ticks());
        let contents = extreme_contents(fields, ticks, self.panel.rows);
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
                pairs.map(|(a, b)| a.wider(b)).collect()
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
