//! The command line: arguments to library calls, results to stdout, talk to stderr. One file a command.

mod arguments;
mod chart;
mod check;
mod demo;
mod emit;
mod emit_lab;
mod finished;
mod fit;
mod intake;
mod picture;
mod pins;
mod preview;
mod rehearse;
mod scan_frame;
mod sweep;
mod talk;
mod trim;
mod verify_image;

use crate::error::{Error, InputError, Result};
use crate::project::{Chart, Limits, Panel, read_chart, read_chart_of};
use crate::waveforms::Waveforms;
use clap::error::ErrorKind;
use clap::{Parser, Subcommand};
use std::ffi::OsString;
use std::fmt::Display;
use std::io::{self, Write};
use std::path::Path;

/// Designs the drive of a passive-matrix electrophoretic panel and calibrates its grey levels.
#[derive(Debug, Parser)]
#[command(name = "greyloom", version, max_term_width = 100, after_help = AFTER_HELP)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

const AFTER_HELP: &str = "\
Exit codes: 0 done; 2 wrong use of the command line; 3 wrong input; 4 the request can't be met.
Results go to stdout, talk and progress to stderr.";

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Arguments),
    Chart(chart::Arguments),
    Fit(fit::Arguments),
    Sweep(sweep::Arguments),
    Rehearse(rehearse::Arguments),
    Intake(intake::Arguments),
    Preview(preview::Arguments),
    Emit(emit::Arguments),
    VerifyImage(verify_image::Arguments),
    Trim(trim::Arguments),
    Check(check::Arguments),
}

/// Runs one command line, the program's name first. Errs as the command does, and with [`Error::Usage`] where the line
/// is wrong; [`Error::exit_code`] is the exit code to end with.
pub fn run(line: impl IntoIterator<Item = OsString>) -> Result<()> {
    let arguments = match Arguments::try_parse_from(line) {
        Ok(arguments) => arguments,
        // Help and version were asked for.
        Err(e) if !e.use_stderr() => return say(&e.render().to_string()),
        Err(e) => return Err(usage(&e)),
    };
    match arguments.command {
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Chart(arguments) => chart::run(&arguments),
        Command::Fit(arguments) => fit::run(&arguments),
        Command::Sweep(arguments) => sweep::run(&arguments),
        Command::Rehearse(arguments) => rehearse::run(&arguments),
        Command::Intake(arguments) => intake::run(&arguments),
        Command::Preview(arguments) => preview::run(&arguments),
        Command::Emit(arguments) => emit::run(&arguments),
        Command::VerifyImage(arguments) => verify_image::run(&arguments),
        Command::Trim(arguments) => trim::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
    }
}

/// How a command that works and writes goes about it.
#[derive(Debug, clap::Args)]
struct How {
    /// Print one JSON document in place of the summary
    #[arg(long)]
    json: bool,
    /// Replace files that this program did not write, or that were edited since
    #[arg(long)]
    force: bool,
    /// Threads to work on [default: one a core]; the result is the same
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = arguments::threads)]
    threads: Option<usize>,
}

/// Runs `work` on so many threads, or on one a core.
fn on_threads<T: Send>(
    threads: Option<usize>,
    work: impl FnOnce() -> Result<T> + Send,
) -> Result<T> {
    let Some(threads) = threads else {
        return work();
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.map_err(|e| Error::Usage(format!("--threads {threads}: {e}")))?;
    pool.install(work)
}

/// Prints an error on stderr: the cause and what to do.
pub fn complain(error: &Error) {
    let text = match error {
        Error::Inputs(places) if places.len() > 1 => format!("wrong input:\n{error}"),
        error => error.to_string(),
    };
    // Nobody is left to tell where stderr is closed.
    let _ = writeln!(io::stderr(), "greyloom: {}", text.trim_end());
}

fn usage(e: &clap::Error) -> Error {
    let text = e.render().to_string();
    if e.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        return Error::Usage(format!("a command is missing\n\n{text}"));
    }
    Error::Usage(text.strip_prefix("error: ").unwrap_or(&text).to_owned())
}

/// Reads a finished set that is for the panel of a project. Errs where it has another size.
fn set_of_panel(file: &Path, panel: &Panel, project: &Path) -> Result<Waveforms> {
    let set = Waveforms::read(file)?;
    if (set.panel.rows, set.panel.columns) == (panel.rows, panel.columns) {
        return Ok(set);
    }
    Err(Error::Input(InputError {
        file: file.to_owned(),
        line: None,
        field: Some("panel".into()),
        value: Some(format!("{} × {}", set.panel.rows, set.panel.columns)),
        expected: format!(
            "waveforms for {} × {} pixels, the panel of {}",
            panel.rows,
            panel.columns,
            project.join("panel.toml").display()
        ),
    }))
}

/// Reads a chart of `panel`; one that verifies a finished set where its file is given.
fn chart_of(file: &Path, panel: &Panel, verified: Option<&Path>) -> Result<Chart> {
    match verified {
        Some(set) => read_chart_of(file, panel, &Waveforms::read(set)?),
        None => read_chart(file, panel),
    }
}

/// Errs where the panel of a project is not made for a temperature that `option` asks for.
fn within_limits(option: &str, t: f64, limits: &Limits, project: &Path) -> Result<()> {
    let (low, high) = (limits.temperature_min_c, limits.temperature_max_c);
    if (low..=high).contains(&t) {
        return Ok(());
    }
    Err(Error::Usage(format!(
        "{option} {t}: expected {low} to {high} °C, the limits.temperature_c of {}",
        project.join("panel.toml").display()
    )))
}

/// Prints a report on stdout, as JSON where that was asked for.
fn tell(json: bool, to_json: impl FnOnce() -> String, report: &impl Display) -> Result<()> {
    say(&if json { to_json() } else { report.to_string() })
}

/// Prints a result on stdout. A reader that has seen enough and closed it is no error.
fn say(text: &str) -> Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => {
            Err(Error::file("standard output".as_ref(), "write to", e))
        }
        _ => Ok(()),
    }
}
