//! A certificate in words, and what another look at it found.

use super::lines::passage;
use super::words::number;
use crate::design::certificate::exact::SPAN_LSTAR;
use crate::design::certificate::recheck::Rechecked;
use crate::drive::Field;
use crate::waveforms::{Certificate, Waveforms};
use serde::Serialize;
use std::fmt;

/// The certificate of a set, looked at again.
#[derive(Debug, Clone, Serialize)]
pub struct CertificateReport {
    pub panel: String,
    pub span_lstar: f64,
    pub bound_lstar: f64,
    pub gap_percent: f64,
    #[serde(flatten)]
    pub rechecked: Rechecked,
    pub holds: bool,
    #[serde(skip)]
    words: String,
}

impl CertificateReport {
    pub fn of(set: &Waveforms, certificate: &Certificate, rechecked: Rechecked) -> Self {
        CertificateReport {
            panel: set.panel.name.clone(),
            span_lstar: certificate.span_lstar,
            bound_lstar: certificate.bound_lstar,
            gap_percent: certificate.gap_percent,
            holds: rechecked.holds(),
            rechecked,
            words: certificate_words(certificate),
        }
    }

    pub fn to_json(&self) -> String {
        super::to_json(self)
    }

    /// What is not as the certificate says.
    pub fn broken(&self) -> Vec<String> {
        let r = &self.rechecked;
        let mut broken = Vec::new();
        if r.schemes != r.accounted {
            broken.push(format!(
                "its grid holds {} schemes, the tally accounts for {}",
                r.schemes, r.accounted
            ));
        }
        if !r.merit_kept() {
            broken.push(format!(
                "stepped slot by slot the set's largest error is {:.4} step, {} allowed",
                r.merit_steps, r.tolerance_steps
            ));
        }
        if r.wider > 0 {
            broken.push(format!(
                "{} of {} schemes drawn from regions that were ruled out show a wider ladder",
                r.wider, r.drawn
            ));
        }
        broken
    }
}

impl fmt::Display for CertificateReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let r = &self.rechecked;
        writeln!(
            f,
            "{}: the certificate, looked at again from its file\n",
            self.panel
        )?;
        f.write_str(&self.words)?;
        let verdict = |good: bool| if good { "as it says" } else { "NOT as it says" };
        let counted = format!(
            "{} schemes counted on the grid, {} accounted for: {}",
            thousands(r.schemes),
            thousands(r.accounted),
            verdict(r.schemes == r.accounted)
        );
        f.write_str(&passage("counted", &counted))?;
        let stepped = format!(
            "every band and level in {} rows with all others dark and all light, slot by slot at both ends and the design \
             temperature: largest error {:.4} step, {} allowed",
            r.rows,
            r.merit_steps,
            number(r.tolerance_steps, 4)
        );
        f.write_str(&passage("the set", &stepped))?;
        let drawn = format!(
            "{} schemes drawn from {} regions and stepped through every choice of ticks: {} with a wider ladder: {}",
            r.drawn,
            r.regions,
            r.wider,
            verdict(r.wider == 0)
        );
        f.write_str(&passage("ruled out", &drawn))
    }
}

/// What a certificate says.
pub(super) fn certificate_words(c: &Certificate) -> String {
    let t = &c.tally;
    let mut text = format!(
        "{} schemes of band {}, gone through by branch and bound: no ladder of a multiple of {SPAN_LSTAR} L* wider than {} L* is on \
         that grid, the set's is {} L* wide: gap {} %",
        thousands(c.schemes),
        c.band + 1,
        number(c.bound_lstar, 2),
        number(c.span_lstar, 2),
        number(c.gap_percent, 2)
    );
    if t.open > 0 {
        text += &format!(
            "; {} schemes were left undone, bounded with the rest",
            thousands(t.open)
        );
    }
    let mut lines = passage("certificate", &text);
    let ruled = format!(
        "{} schemes ruled out by the reach from dark to light, {} since no ticks serve some level among all contents, {} for want \
         of a ladder in the last row at {} °C, with {} regions bounded; {} judged in full",
        thousands(t.reach),
        thousands(t.level),
        thousands(t.ladder),
        number(c.temperature_c, 1),
        thousands(t.regions),
        thousands(t.judged)
    );
    lines += &passage("", &ruled);
    lines += &passage("", &grid_words(c));
    let other = match &c.runner_up {
        Some(r) => {
            let fields: Vec<String> = r.fields.iter().map(Field::in_words).collect();
            format!(
                "the best of another kind, on a coarser grid: {} L* ({} erase; {})",
                number(r.span_lstar, 1),
                r.erase.name,
                fields.join("; ")
            )
        }
        None => format!(
            "no scheme of another kind (number, order or direction of fields, mirrored) on a coarser grid is wider than {} L*",
            number(c.others_beyond_lstar, 1)
        ),
    };
    lines + &passage("", &other)
}

fn grid_words(c: &Certificate) -> String {
    let g = &c.grid;
    let most = |of: fn(&crate::waveforms::FieldAxes) -> usize| {
        let all = g.kinds.iter().flat_map(|k| &k.fields).map(of);
        all.max().unwrap_or(0)
    };
    let fields = g.kinds.iter().map(|k| k.fields.len()).max().unwrap_or(0);
    let mirrored = if g.kinds.iter().any(|k| k.mirrored) {
        ", plain and mirrored"
    } else {
        ""
    };
    format!(
        "the grid: 1 to {fields} fields in every order of a field that fills {} s and shorter ones{mirrored}; up to {} select and {} \
         data voltages a field, {} ticks, {} guards, {} erases",
        number(g.refresh_s, 2),
        most(|f| f.select_v.len()),
        most(|f| f.data_v.len()),
        most(|f| f.tick_us.len()),
        most(|f| f.guard_ticks.len()),
        g.erases.len()
    )
}

/// 96,721,020
fn thousands(n: u64) -> String {
    let digits = n.to_string();
    let mut text = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(',');
        }
        text.push(c);
    }
    text
}
