//! A pixel's voltage as samples for an arbitrary-waveform generator that drives a single test cell.

use super::{Lab, Probe};
use crate::error::{Error, Result, Unmet};
use std::fmt::Write;

/// How the generator plays.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleOptions {
    pub rate_hz: f64,
    /// Voltage on the cell of a sample of 1, with the amplifier behind the generator.
    pub full_scale_v: f64,
    /// Most samples that the generator's memory holds.
    pub samples_max: usize,
}

/// Decimals of a sample: finer than 20 bits.
const DECIMALS: usize = 7;

/// Samples from −1 to 1, one a line behind lines that begin with `#`; sample k holds from k to k + 1 periods.
///
/// # Errors
/// [`Error::Unmet`] where a sample lasts longer than the shortest tick, a voltage is above full scale, or the samples are
/// more than the memory holds.
pub fn samples_csv(
    lab: &Lab,
    (row, column): (usize, usize),
    options: &SampleOptions,
) -> Result<String> {
    let steps = lab.steps(Probe::Pixel(row, column));
    let peak_v = steps.iter().map(|s| s.v.abs()).fold(0.0, f64::max);
    let samples = (lab.duration_s() * options.rate_hz).round();
    check(lab, options, peak_v, samples)?;
    let mut out = lab.comments("#");
    let _ = writeln!(
        out,
        "# Pixel in row {row}, column {column}; {samples} samples at {} Hz; 1 is {} V; an edge is up to half a sample off.",
        options.rate_hz, options.full_scale_v
    );
    let mut next = steps.iter().peekable();
    let mut value = String::from("0");
    for k in 0..samples as usize {
        // The voltage in the middle of the sample, so that edges are off by half a sample at most.
        let middle_s = (k as f64 + 0.5) / options.rate_hz;
        while let Some(step) = next.next_if(|s| s.at_s <= middle_s) {
            value = super::decimal(step.v / options.full_scale_v, DECIMALS);
        }
        out.push_str(&value);
        out.push('\n');
    }
    Ok(out)
}

fn check(lab: &Lab, o: &SampleOptions, peak_v: f64, samples: f64) -> Result<()> {
    let unmet = |binding: String, would_do: Vec<String>| {
        Err(Error::Unmet(Unmet {
            request: format!(
                "samples at {} Hz, {} V full scale",
                o.rate_hz, o.full_scale_v
            ),
            binding,
            would_do,
        }))
    };
    let tick_s = lab.shortest_tick_s();
    let least_hz = (1.0 / tick_s).ceil();
    if o.rate_hz * tick_s < 1.0 - 1e-9 {
        let binding = format!(
            "the shortest tick lasts {:.3} ms, less than a sample",
            1e3 * tick_s
        );
        return unmet(binding, vec![format!("--rate {least_hz} or more")]);
    }
    if peak_v > o.full_scale_v {
        let binding = format!("the pixel gets up to {peak_v} V");
        return unmet(
            binding,
            vec![format!(
                "--full-scale {peak_v} or more, with an amplifier that gives it"
            )],
        );
    }
    if samples <= o.samples_max as f64 {
        return Ok(());
    }
    let slowest_hz = (o.samples_max as f64 / lab.duration_s()).floor();
    let slower = if slowest_hz >= least_hz {
        vec![format!("--rate {slowest_hz} or less")]
    } else {
        Vec::new()
    };
    let more = [
        format!("--samples {samples} where the generator holds so many"),
        "a panel of fewer rows".into(),
    ];
    unmet(
        format!(
            "{:.3} s take {samples} samples, more than {}",
            lab.duration_s(),
            o.samples_max
        ),
        slower.into_iter().chain(more).collect(),
    )
}
