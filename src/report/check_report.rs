//! Acceptance figures, told: one row a figure, and what each means.

use super::lines::{Side, passage, table};
use super::words::number;
use crate::drive::{flash_caution, largest_line_difference_v, voltage_caution};
use crate::panel::{Figure, Limit, Verdict, kept};
use crate::waveforms::Waveforms;
use serde::Serialize;
use std::fmt;

/// The figures of one set.
#[derive(Debug, Clone, Serialize)]
pub struct CheckReport {
    pub panel: String,
    pub levels: usize,
    pub bands: usize,
    pub figures: Vec<Figure>,
    /// Whether no limit is broken.
    pub kept: bool,
    pub cautions: Vec<String>,
}

impl CheckReport {
    pub fn of(set: &Waveforms, figures: Vec<Figure>) -> Self {
        let differences = set
            .bands
            .iter()
            .map(|b| largest_line_difference_v(&b.erase, &b.fields));
        CheckReport {
            panel: set.panel.name.clone(),
            levels: set.levels,
            bands: set.bands.len(),
            kept: kept(&figures),
            figures,
            cautions: vec![
                voltage_caution(differences.fold(0.0, f64::max)),
                flash_caution().to_owned(),
            ],
        }
    }

    pub fn to_json(&self) -> String {
        super::to_json(self)
    }

    /// Figures that break their limits, with them.
    pub fn broken(&self) -> Vec<String> {
        let broken = self.figures.iter().filter(|f| f.verdict == Verdict::Fail);
        broken
            .map(|f| {
                let limit = f
                    .limit
                    .map_or(String::new(), |l| format!(", limit {}", limit_of(l)));
                format!("{} {} {}{limit}", f.name, value_of(f.value), f.unit)
            })
            .collect()
    }
}

impl fmt::Display for CheckReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{}, {} levels, {} bands: acceptance figures\n",
            self.panel, self.levels, self.bands
        )?;
        let head = ["figure", "value", "", "±", "limit", "margin", "verdict"];
        let mut rows = vec![head.map(str::to_owned).to_vec()];
        rows.extend(self.figures.iter().map(row));
        let sides = [
            Side::Left,
            Side::Right,
            Side::Left,
            Side::Right,
            Side::Right,
            Side::Right,
            Side::Left,
        ];
        writeln!(f, "{}", table(&sides, &rows, 2))?;
        for figure in &self.figures {
            writeln!(f, "  {}", figure.name)?;
            f.write_str(&passage(
                "",
                &format!("{}; {}", figure.definition, figure.conditions),
            ))?;
        }
        let note = "± is the expanded uncertainty, k = 2, of what was read; where a limit lies within it, neither pass nor fail is \
                    claimed. Figures without it are computed from the set and its response, and hold as far as these do";
        f.write_str(&passage("note", note))?;
        for caution in &self.cautions {
            f.write_str(&passage("caution", caution))?;
        }
        Ok(())
    }
}

fn row(figure: &Figure) -> Vec<String> {
    let optional = |x: Option<f64>| x.map_or(String::new(), value_of);
    let verdict = match figure.verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "FAIL",
        Verdict::Undecided => "not decided",
        Verdict::Stated => "",
    };
    vec![
        figure.name.to_owned(),
        value_of(figure.value),
        figure.unit.to_owned(),
        optional(figure.expanded_u),
        figure.limit.map_or(String::new(), limit_of),
        optional(figure.margin),
        verdict.to_owned(),
    ]
}

fn limit_of(limit: Limit) -> String {
    match limit {
        Limit::AtMost(most) => format!("≤ {}", value_of(most)),
        Limit::AtLeast(least) => format!("≥ {}", value_of(least)),
    }
}

/// Three decimals of what is small, fewer of what is large.
fn value_of(x: f64) -> String {
    let decimals = match x.abs() {
        x if x >= 100.0 => 0,
        x if x >= 10.0 => 2,
        _ => 3,
    };
    number(x, decimals)
}
