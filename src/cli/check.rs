//! `greyloom check`: the figures that a finished set is accepted by.

use super::finished::FinishedSet;
use super::talk::Talk;
use super::{arguments, on_threads, tell};
use crate::design::certificate::recheck::recheck;
use crate::error::{Error, InputError, Result, Unmet};
use crate::panel::{Asked, Supply};
use crate::report::{CertificateReport, CheckReport};
use crate::trim::{Verification, read_figures};
use crate::waveforms::Waveforms;
use std::path::PathBuf;

/// Work out the acceptance figures of a finished set: worst cases over all pictures, against the panel's limits
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// A waveforms.json, with the response.json and panel.toml beside it
    #[arg(value_name = "W")]
    waveforms: PathBuf,
    /// Folder whose panel.toml gives the panel and its limits [default: that of W]
    #[arg(long, value_name = "PROJECT")]
    project: Option<PathBuf>,
    /// Chart of the levels that was read, as `greyloom chart PROJECT --waveforms W` writes it
    #[arg(long, value_name = "FILE", requires = "scans")]
    chart: Option<PathBuf>,
    /// Readings of that chart
    #[arg(long, value_name = "FILE", requires = "chart")]
    scans: Option<PathBuf>,
    /// Largest error of a level, in steps of the ladder: above 0, at most 0.5; as given to fit
    #[arg(long, value_name = "STEPS", default_value_t = arguments::TOLERANCE_STEPS, allow_negative_numbers = true, value_parser = arguments::tolerance_steps)]
    tolerance: f64,
    /// Capacity of the panel's cell, mAh: above 0, at most a million
    #[arg(long, value_name = "MAH", requires_all = ["cell_v", "refreshes"], allow_negative_numbers = true, value_parser = arguments::above_zero)]
    cell_mah: Option<f64>,
    /// Mean voltage of the cell, V: above 0, at most 1000
    #[arg(long, value_name = "V", requires = "cell_mah", allow_negative_numbers = true, value_parser = arguments::cell_v)]
    cell_v: Option<f64>,
    /// Refreshes a day: above 0, at most a million
    #[arg(long, value_name = "N", requires = "cell_mah", allow_negative_numbers = true, value_parser = arguments::above_zero)]
    refreshes: Option<f64>,
    /// Look again at the certificate that fit left in W: count its grid, step the set slot by slot, step schemes from regions that
    /// were ruled out; nothing but W is read
    #[arg(long, conflicts_with_all = ["project", "chart", "cell_mah", "tolerance"])]
    certificate: bool,
    /// Print one JSON document in place of the figures
    #[arg(long)]
    json: bool,
    /// Threads to work on [default: one a core]; the result is the same
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = arguments::threads)]
    threads: Option<usize>,
}

pub(super) fn run(arguments: &Arguments) -> Result<()> {
    on_threads(arguments.threads, || check(arguments))
}

fn check(arguments: &Arguments) -> Result<()> {
    if arguments.certificate {
        return look_again(arguments);
    }
    let talk = Talk::new();
    let finished = FinishedSet::read(&arguments.waveforms, arguments.project.as_deref())?;
    let verification = verification(arguments, &finished)?;
    talk.step("proving every level, row and content");
    let standing = finished.standing()?;
    talk.step("acceptance figures");
    let mut figures = standing.figures(&Asked {
        tolerance_steps: arguments.tolerance,
        supply: supply(arguments),
    });
    if let Some(verification) = &verification {
        let (set, panel) = (&finished.set, &finished.panel);
        figures.extend(read_figures(set, panel, verification, arguments.tolerance));
    }
    drop(talk);
    let report = CheckReport::of(&finished.set, figures);
    tell(arguments.json, || report.to_json(), &report)?;
    if report.kept {
        return Ok(());
    }
    Err(Error::Unmet(Unmet {
        request: format!("Every limit of {}", arguments.waveforms.display()),
        binding: report.broken().join("; "),
        would_do: Vec::new(),
    }))
}

/// The certificate once more, from the set's file alone.
fn look_again(arguments: &Arguments) -> Result<()> {
    let file = &arguments.waveforms;
    let set = Waveforms::read(file)?;
    let Some(certificate) = &set.certificate else {
        return Err(Error::Input(InputError {
            file: file.clone(),
            line: None,
            field: Some("certificate".into()),
            value: None,
            expected: "a certificate, as `fit` writes it without --quick; a trimmed set has none"
                .into(),
        }));
    };
    let talk = Talk::new();
    talk.step("stepping the set and schemes that were ruled out");
    let rechecked = recheck(&set, certificate);
    drop(talk);
    let holds = rechecked.holds();
    let report = CertificateReport::of(&set, certificate, rechecked);
    tell(arguments.json, || report.to_json(), &report)?;
    if holds {
        return Ok(());
    }
    Err(Error::Unmet(Unmet {
        request: format!("The certificate of {}", file.display()),
        binding: report.broken().join("; "),
        would_do: vec!["the file as `fit` wrote it, or `fit` once more".into()],
    }))
}

fn verification(arguments: &Arguments, finished: &FinishedSet) -> Result<Option<Verification>> {
    let Some((chart_file, scans_file)) = arguments.chart.as_ref().zip(arguments.scans.as_ref())
    else {
        return Ok(None);
    };
    let verification = Verification::read(chart_file, scans_file, &finished.panel, &finished.set)?;
    verification.check(&finished.set)?;
    Ok(Some(verification))
}

fn supply(arguments: &Arguments) -> Option<Supply> {
    Some(Supply {
        capacity_mah: arguments.cell_mah?,
        volt: arguments.cell_v?,
        refreshes_a_day: arguments.refreshes?,
    })
}
