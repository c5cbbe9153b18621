//! `greyloom intake`
use crate::error::Result;
/// Turn scans and spectra into readings
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {}
pub(super) fn run(_: &Arguments) -> Result<()> { Ok(()) }
