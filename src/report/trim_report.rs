//! What trimming comes to: JSON, a summary, a table of every level.

use super::lines::{Side, passage, table};
use super::to_json;
use super::words::{count, listed, number};
use crate::design::even::off_even_lstar;
use crate::draw::{TrimBand, TrimLevel};
use crate::project::Project;
use crate::response::propagation::COVERAGE_FACTOR;
use crate::trim::{BandTrim, LevelChange, Trimmed, Verification};
use crate::waveforms::{Band, Waveforms};
use serde::Serialize;
use std::fmt;
use std::path::PathBuf;

/// Levels and strays named one by one, at most.
const NAMED: usize = 8;

/// Everything that `greyloom trim` tells.
#[derive(Debug, Clone, Serialize)]
pub struct TrimReport {
    pub panel: String,
    pub levels: usize,
    pub pages: usize,
    pub readings: usize,
    pub repeatability_lstar: f64,
    /// Lines of the scans file that were left out.
    pub stray_lines: Vec<usize>,
    pub unread_levels: Vec<usize>,
    /// Outer targets before and after, L*; of the first band where each has its own ladder.
    pub ends_before_lstar: (f64, f64),
    pub ends_lstar: (f64, f64),
    pub bands: Vec<TrimBandReport>,
    pub notes: Vec<String>,
    /// Where each file stands, in the order of their names.
    pub files: Vec<String>,
}

#[derive(Debug, Clone, Serialize)]
pub struct TrimBandReport {
    pub low_c: f64,
    pub design_c: f64,
    pub high_c: f64,
    pub step_lstar: f64,
    pub worst_error_steps: f64,
    pub refresh_s: f64,
    #[serde(flatten)]
    pub trim: BandTrim,
}

impl TrimReport {
    pub fn of(
        project: &Project,
        set: &Waveforms,
        verification: &Verification,
        trimmed: &Trimmed,
    ) -> Self {
        let ends = |set: &Waveforms| {
            let targets = set.bands.first().map_or(&[][..], |b| b.targets(set));
            let end = |t: Option<&f64>| t.copied().unwrap_or(f64::NAN);
            (end(targets.first()), end(targets.last()))
        };
        let readings = &verification.measured.readings;
        let band = |(band, trim): (&Band, &BandTrim)| TrimBandReport {
            low_c: band.temperature_c.low,
            design_c: band.temperature_c.design,
            high_c: band.temperature_c.high,
            step_lstar: band.figures.step_lstar,
            worst_error_steps: band.figures.worst_error_steps,
            refresh_s: band.refresh_s,
            trim: trim.clone(),
        };
        TrimReport {
            panel: project.panel.name.clone(),
            levels: set.levels,
            pages: verification.measured.chart.pages.len(),
            readings: readings.len(),
            repeatability_lstar: project.panel.instrument.repeatability_lstar,
            stray_lines: trimmed.strays.iter().map(|&i| readings[i].line).collect(),
            unread_levels: trimmed.unread_levels.clone(),
            ends_before_lstar: ends(set),
            ends_lstar: ends(&trimmed.design.set),
            bands: trimmed
                .design
                .set
                .bands
                .iter()
                .zip(&trimmed.bands)
                .map(band)
                .collect(),
            notes: trimmed.design.notes.clone(),
            files: Vec::new(),
        }
    }

    /// The same with the files that were written.
    pub fn written(self, files: &[PathBuf]) -> Self {
        TrimReport {
            files: files.iter().map(|p| p.display().to_string()).collect(),
            ..self
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }

    /// Every level of every band, one line each: what it showed and shows in an ordinary picture, and its ticks.
    pub fn levels_csv(&self) -> String {
        let mut text = String::from(
            "band,level,target_before_lstar,shown_before_lstar,ticks_before,target_lstar,shown_lstar,standard_u_lstar,\
             expanded_u_lstar,ticks\n",
        );
        let ticks = |t: &[u32]| t.iter().map(u32::to_string).collect::<Vec<_>>().join(" ");
        for (i, band) in self.bands.iter().enumerate() {
            for l in &band.trim.levels {
                text += &format!(
                    "{},{},{:.3},{:.3},{},{:.3},{:.3},{:.3},{:.3},{}\n",
                    i + 1,
                    l.level,
                    l.target_before_lstar,
                    l.shown_before_lstar,
                    ticks(&l.ticks_before),
                    l.target_lstar,
                    l.shown_lstar,
                    l.standard_u_lstar,
                    COVERAGE_FACTOR * l.standard_u_lstar,
                    ticks(&l.ticks)
                );
            }
        }
        text
    }

    /// What `trim.png` shows of each band.
    pub fn drawn(&self) -> Vec<TrimBand> {
        let band = |(i, b): (usize, &TrimBandReport)| TrimBand {
            title: format!(
                "Band {}: {} to {} °C, at {} °C",
                i + 1,
                number(b.low_c, 2),
                number(b.high_c, 2),
                number(b.design_c, 2)
            ),
            levels: levels_drawn(b),
        };
        self.bands.iter().enumerate().map(band).collect()
    }

    fn read(&self) -> String {
        let strays = match self.stray_lines.len() {
            0 => String::new(),
            n => {
                let line = if n == 1 { "line" } else { "lines" };
                format!(
                    "; left out as strays: {line} {}",
                    some_of(&self.stray_lines)
                )
            }
        };
        format!(
            "{} on {}{strays}",
            count(self.readings, "reading"),
            count(self.pages, "page")
        )
    }

    fn unread(&self) -> Option<String> {
        let n = self.unread_levels.len();
        let level = if n == 1 { "level" } else { "levels" };
        (n > 0).then(|| {
            format!(
                "no reading of {level} {}: their correction comes from the levels beside them",
                some_of(&self.unread_levels)
            )
        })
    }

    fn overview(&self) -> String {
        let head = [
            "band",
            "°C",
            "patches",
            "missed, L*",
            "left, L*",
            "uneven before",
            "after",
            "known to, L*",
            "merit",
            "changed",
            "another round",
        ];
        let mut rows = vec![head.map(str::to_owned).to_vec()];
        rows.extend(self.bands.iter().enumerate().map(|(i, b)| b.row(i)));
        table(&[Side::Right; 11], &rows, 2)
    }
}

/// The first few numbers, and how many more there are.
fn some_of(numbers: &[usize]) -> String {
    let mut names: Vec<String> = numbers.iter().take(NAMED).map(usize::to_string).collect();
    if numbers.len() > NAMED {
        names.push(format!("{} more", numbers.len() - NAMED));
    }
    listed(&names)
}

fn levels_drawn(band: &TrimBandReport) -> Vec<TrimLevel> {
    let levels = &band.trim.levels;
    let off = |shown: fn(&LevelChange) -> f64| {
        off_even_lstar(&levels.iter().map(shown).collect::<Vec<f64>>())
    };
    let (before, after) = (off(|l| l.shown_before_lstar), off(|l| l.shown_lstar));
    let level = |(k, l): (usize, &LevelChange)| TrimLevel {
        before_steps: before[k] / band.step_lstar,
        after_steps: after[k] / band.step_lstar,
        expanded_u_steps: COVERAGE_FACTOR * l.standard_u_lstar / band.step_lstar,
    };
    levels.iter().enumerate().map(level).collect()
}

impl TrimBandReport {
    fn row(&self, i: usize) -> Vec<String> {
        let trim = &self.trim;
        let changed = trim
            .levels
            .iter()
            .filter(|l| l.ticks != l.ticks_before)
            .count();
        let gain_steps = trim.another.gain_lstar / self.step_lstar;
        vec![
            (i + 1).to_string(),
            format!("{}…{}", number(self.low_c, 2), number(self.high_c, 2)),
            trim.patches.to_string(),
            format!("{:.3}", trim.rms_before_lstar),
            format!("{:.3}", trim.rms_after_lstar),
            format!("{:.3}", trim.uneven_before_steps),
            format!("{:.3}", trim.uneven_steps),
            format!("±{:.2}", trim.another.expanded_u_lstar),
            format!("{:.3}", self.worst_error_steps),
            format!("{changed} of {}", trim.levels.len()),
            format!("{gain_steps:.3}"),
        ]
    }
}

impl fmt::Display for TrimReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}, {} levels trimmed", self.panel, self.levels)?;
        f.write_str(&passage("read", &self.read()))?;
        if let Some(unread) = self.unread() {
            f.write_str(&passage("warning", &unread))?;
        }
        writeln!(f)?;
        f.write_str(&self.overview())?;
        let note = format!(
            "missed: rms of reading less the response, fitted to these readings as well; left: the same once the smooth \
             difference is added (a reading carries {} L*). uneven: largest distance of a level from the even ladder between \
             the outer two, in steps, in an ordinary picture (mixed content, middle row, the band's design temperature). \
             known to: expanded uncertainty, k = 2, of the worst known level. merit as in fit. another round: steps by which \
             the worst level would come nearer if as many readings were taken again",
            number(self.repeatability_lstar, 3)
        );
        f.write_str(&passage("", &note))?;
        let (before, after) = (self.ends_before_lstar, self.ends_lstar);
        let ladder = format!(
            "{:.2}…{:.2} L* before, {:.2}…{:.2} L* now",
            before.0, before.1, after.0, after.1
        );
        f.write_str(&passage("ladder", &ladder))?;
        f.write_str(&passage("next", &self.next()))?;
        for note in &self.notes {
            f.write_str(&passage("caution", note))?;
        }
        f.write_str(&passage("written", &self.files.join(" ")))
    }
}

impl TrimReport {
    /// Whether another round pays, in words.
    fn next(&self) -> String {
        let paying: Vec<String> = (1..)
            .zip(&self.bands)
            .filter(|(_, b)| b.trim.another.pays)
            .map(|(i, _)| i.to_string())
            .collect();
        let gain = self.bands.iter().map(|b| b.trim.another.gain_lstar);
        let gain = gain.fold(0.0, f64::max);
        let noise = number(self.repeatability_lstar, 3);
        if paying.is_empty() {
            return format!(
                "another round of as many readings would bring the worst level nearer by {gain:.3} L* at most, under a quarter \
                 of one reading's noise ({noise} L*): it does not pay"
            );
        }
        let band = if paying.len() == 1 { "band" } else { "bands" };
        format!(
            "another round of as many readings would bring the worst level nearer by up to {gain:.3} L*, against {noise} L* of \
             noise in one reading: it pays in {band} {}",
            listed(&paying)
        )
    }
}
