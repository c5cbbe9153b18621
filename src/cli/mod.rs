//! The command line: arguments to library calls, results to stdout, talk to stderr. One file a command.

mod arguments;
mod chart;
mod demo;
mod emit;
mod fit;
mod preview;
mod rehearse;
mod talk;
mod trim;

use crate::error::{Error, Result};
use clap::error::ErrorKind;
use clap::{Parser, Subcommand};
use std::ffi::OsString;
use std::io::{self, Write};

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
    Rehearse(rehearse::Arguments),
    Preview(preview::Arguments),
    Emit(emit::Arguments),
    Trim(trim::Arguments),
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
        Command::Rehearse(arguments) => rehearse::run(&arguments),
        Command::Preview(arguments) => preview::run(&arguments),
        Command::Emit(arguments) => emit::run(&arguments),
        Command::Trim(arguments) => trim::run(&arguments),
    }
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
