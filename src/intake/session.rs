//! Readings of one session: repeats merged, outliers named, and what the merged values are unsure by.

use super::budget::{Budget, Evaluation, Source};
use super::outliers::{grubbs, mean_and_deviation};
use super::scan::PatchUncertainty;
use crate::project::{Chart, Instrument, Reading};
use serde::Serialize;
use std::collections::BTreeMap;

/// Significance at which a repeat is an outlier (Grubbs, both sides).
pub const OUTLIER_LEVEL: f64 = 0.01;

/// One reading of a patch, before its repeats are merged.
#[derive(Debug, Clone)]
pub struct Taken {
    /// Indices into the chart's pages and the page's patches.
    pub page: usize,
    pub patch: usize,
    pub lstar: f64,
    pub u: PatchUncertainty,
    /// Of what it was corrected by, standard, L*.
    pub correction_lstar: f64,
    /// Where it comes from: file, or file and line.
    pub from: String,
}

/// A repeat that was left out.
#[derive(Debug, Clone, Serialize)]
pub struct Outlier {
    pub page: String,
    pub patch: String,
    pub from: String,
    pub lstar: f64,
    /// Grubbs' G and the value that it passed.
    pub g: f64,
    pub critical: f64,
}

/// A patch with its repeats merged.
#[derive(Debug, Clone)]
pub struct Merged {
    pub page: usize,
    pub patch: usize,
    pub lstar: f64,
    pub repeats: usize,
    /// Standard, L*.
    pub u: PatchUncertainty,
    pub temperature_lstar: f64,
    pub correction_lstar: f64,
}

impl Merged {
    pub fn combined_lstar(&self) -> f64 {
        let own = self.u.combined();
        (own * own + self.temperature_lstar.powi(2) + self.correction_lstar.powi(2)).sqrt()
    }
}

/// A session's readings.
#[derive(Debug, Clone)]
pub struct Session {
    pub merged: Vec<Merged>,
    pub outliers: Vec<Outlier>,
    /// Standard deviation of a repeat, over all patches read more than once, and its degrees of freedom.
    pub repeat_lstar: Option<(f64, usize)>,
    /// The patch whose repeats lie farthest apart, and how far, L*.
    pub widest: Option<(usize, usize, f64)>,
}

/// Degrees of freedom of the light: 24 spots of paper less their mean and the parabola.
const PAPER_FREEDOM: f64 = 18.0;
/// Repeats that scatter by this many times the instrument's repeatability show different things.
const SCATTER_MAX: f64 = 5.0;

impl Session {
    /// Merges readings in the order of the chart.
    ///
    /// Among three or more repeats of a patch, one that fails Grubbs' test is named and left out. The repeatability of a mean is the
    /// larger of what its readings state and what all repeats scatter by, over the root of their number; what repeats share (wedge,
    /// curve) doesn't shrink with it.
    pub fn of(taken: &[Taken], chart: &Chart, instrument: &Instrument) -> Self {
        let mut groups = Groups::new();
        for reading in taken {
            let place = (reading.page, reading.patch);
            groups.entry(place).or_default().push(reading);
        }
        let outliers = take_outliers(&mut groups, chart, instrument);
        let repeat_lstar = pooled(groups.values());
        let seen = repeat_lstar.map_or(0.0, |(s, _)| s);
        let temperature_lstar = (instrument.lstar_per_c * instrument.temperature_u_c).abs();
        let merged = groups
            .iter()
            .map(|(place, group)| Merged {
                temperature_lstar,
                ..merged(*place, group, seen)
            })
            .collect();
        Session {
            merged,
            outliers,
            repeat_lstar,
            widest: widest(&groups),
        }
    }

    /// What is odd about repeats that scatter far more than the instrument does.
    pub fn scattered(&self, chart: &Chart, instrument: &Instrument) -> Option<String> {
        let (s, _) = self.repeat_lstar?;
        let (page, patch, apart) = self.widest?;
        let page = &chart.pages[page];
        (s > SCATTER_MAX * instrument.repeatability_lstar).then(|| {
            format!(
                "repeats scatter by {s:.2} L*, and a reading carries {} L*; those of page `{}`, patch `{}` lie {apart:.2} L* apart: was \
                 the page driven anew, or its strip or name not changed?",
                instrument.repeatability_lstar, page.name, page.patches[patch].name
            )
        })
    }

    /// As the scans file holds them, one repeat a patch.
    pub fn readings(&self) -> Vec<Reading> {
        let least = crate::project::limits::REPEATABILITY_LSTAR.min;
        let reading = |(k, m): (usize, &Merged)| Reading {
            page: m.page,
            patch: m.patch,
            repeat: 1,
            lstar: m.lstar,
            u_lstar: Some(m.combined_lstar().max(least)),
            line: k + 2,
        };
        self.merged.iter().enumerate().map(reading).collect()
    }

    /// The budget of a usual patch: each source's rms over all patches.
    pub fn budget(&self) -> Budget {
        let n = self.merged.len().max(1) as f64;
        let rms = |of: fn(&Merged) -> f64| {
            (self.merged.iter().map(|m| of(m).powi(2)).sum::<f64>() / n).sqrt()
        };
        use Evaluation::{A, B};
        let known = f64::INFINITY;
        // Without repeats, a scan's own spread stands on sixteen blocks; an instrument's is stated.
        let scanned = self.merged.iter().any(|m| m.u.wedge > 0.0);
        let alone = if scanned { 15.0 } else { known };
        let repeats = self
            .repeat_lstar
            .map_or(alone, |(_, freedom)| freedom as f64);
        let line = |name: &str, evaluation, distribution, of, freedom| Source {
            name: name.to_owned(),
            evaluation,
            distribution,
            u: rms(of),
            sensitivity: 1.0,
            freedom,
        };
        Budget {
            sources: vec![
                line("repeatability", A, "normal", |m| m.u.repeatability, repeats),
                line("wedge", B, "normal", |m| m.u.wedge, known),
                line("curve between steps", B, "uniform", |m| m.u.curve, known),
                line("flatness", A, "normal", |m| m.u.flatness, PAPER_FREEDOM),
                line("positioning", B, "uniform", |m| m.u.positioning, known),
                line("quantisation", B, "uniform", |m| m.u.quantisation, known),
                line("temperature", B, "normal", |m| m.temperature_lstar, known),
                line("corrections", B, "normal", |m| m.correction_lstar, known),
            ],
        }
    }
}

/// Readings by page and patch.
type Groups<'a> = BTreeMap<(usize, usize), Vec<&'a Taken>>;

/// Removes the repeats that fail Grubbs' test and names them.
fn take_outliers(groups: &mut Groups, chart: &Chart, instrument: &Instrument) -> Vec<Outlier> {
    let mut outliers = Vec::new();
    for (&(page, patch), group) in groups {
        let lstar: Vec<f64> = group.iter().map(|t| t.lstar).collect();
        // Repeats that all but agree differ by their last digits.
        let far = |g: f64| g * mean_and_deviation(&lstar).1 > instrument.repeatability_lstar;
        let test = grubbs(&lstar, OUTLIER_LEVEL).filter(|t| t.is_outlier() && far(t.g));
        if let Some(test) = test {
            let out = group.remove(test.index);
            let page = &chart.pages[page];
            outliers.push(Outlier {
                page: page.name.clone(),
                patch: page.patches[patch].name.clone(),
                from: out.from.clone(),
                lstar: out.lstar,
                g: test.g,
                critical: test.critical,
            });
        }
    }
    outliers
}

/// The mean of a patch's repeats; `seen_lstar` is what all repeats scatter by.
fn merged((page, patch): (usize, usize), group: &[&Taken], seen_lstar: f64) -> Merged {
    let n = group.len() as f64;
    let mean = |of: fn(&Taken) -> f64| group.iter().map(|t| of(t)).sum::<f64>() / n;
    let repeatability = mean(|t| t.u.repeatability.powi(2)).sqrt();
    Merged {
        page,
        patch,
        lstar: mean(|t| t.lstar),
        repeats: group.len(),
        u: PatchUncertainty {
            repeatability: repeatability.max(seen_lstar) / n.sqrt(),
            wedge: mean(|t| t.u.wedge),
            curve: mean(|t| t.u.curve),
            flatness: mean(|t| t.u.flatness) / n.sqrt(),
            positioning: mean(|t| t.u.positioning) / n.sqrt(),
            quantisation: mean(|t| t.u.quantisation) / n.sqrt(),
        },
        temperature_lstar: 0.0,
        correction_lstar: mean(|t| t.correction_lstar),
    }
}

/// The patch whose repeats lie farthest apart, and how far, L*.
fn widest(groups: &Groups) -> Option<(usize, usize, f64)> {
    let apart = |group: &[&Taken]| {
        let lstar = || group.iter().map(|t| t.lstar);
        lstar().fold(f64::NEG_INFINITY, f64::max) - lstar().fold(f64::INFINITY, f64::min)
    };
    groups
        .iter()
        .filter(|(_, group)| group.len() > 1)
        .map(|(&(page, patch), group)| (page, patch, apart(group)))
        .max_by(|a, b| a.2.total_cmp(&b.2))
}

/// Standard deviation within groups and its degrees of freedom.
fn pooled<'a>(groups: impl Iterator<Item = &'a Vec<&'a Taken>>) -> Option<(f64, usize)> {
    let (mut squares, mut freedom) = (0.0, 0);
    for group in groups.filter(|g| g.len() > 1) {
        let lstar: Vec<f64> = group.iter().map(|t| t.lstar).collect();
        squares += mean_and_deviation(&lstar).1.powi(2) * (lstar.len() - 1) as f64;
        freedom += lstar.len() - 1;
    }
    (freedom > 0).then(|| ((squares / freedom as f64).sqrt(), freedom))
}
