//! The response of `response.json`, as `fit` and `trim` write it.

use super::Response;
use crate::error::{Error, InputError, Result};
use serde::Deserialize;
use std::path::Path;

/// Of `response.json`.
pub const FORMAT: &str = "greyloom-response";
pub const VERSION: u32 = 1;

/// What is read of the file; the rest of it tells how the fit went.
#[derive(Debug, Deserialize)]
struct Kept {
    format: String,
    version: u32,
    panel: String,
    response: Response,
}

/// Reads the response, and checks that it is that of a panel of this name.
///
/// # Errors
/// [`Error::File`] where the file can't be read; [`Error::Input`] with line and field where it is not JSON of this
/// format and version, is another panel's, or holds numbers that make no response.
pub fn read_response(file: &Path, panel: &str) -> Result<Response> {
    let text = std::fs::read_to_string(file).map_err(|e| Error::file(file, "read", e))?;
    let kept: Kept = serde_json::from_str(&text).map_err(|e| {
        let expected = format!("the response that `greyloom fit` writes, but: {e}");
        wrong(file, Some(e.line()), None, None, expected)
    })?;
    let want = |holds: bool, field: &str, value: &str, expected: String| {
        if holds {
            return Ok(());
        }
        let field = Some(field.to_owned());
        Err(wrong(file, None, field, Some(value.to_owned()), expected))
    };
    want(
        kept.format == FORMAT,
        "format",
        &kept.format,
        format!("\"{FORMAT}\""),
    )?;
    let version = kept.version.to_string();
    want(
        kept.version == VERSION,
        "version",
        &version,
        VERSION.to_string(),
    )?;
    let expected =
        format!("\"{panel}\", the panel of the waveforms: the response belongs to another set");
    want(kept.panel == panel, "panel", &kept.panel, expected)?;
    match kept.response.fault() {
        None => Ok(kept.response),
        Some((field, value, expected)) => {
            let field = format!("response.kinetics.{field}");
            Err(wrong(
                file,
                None,
                Some(field),
                Some(value.to_string()),
                expected.into(),
            ))
        }
    }
}

impl Response {
    /// The first number that no response has: its field below `kinetics`, itself, and what it should be.
    fn fault(&self) -> Option<(&'static str, f64, &'static str)> {
        let k = &self.kinetics;
        let positive = |field, x: f64| (field, x, x > 0.0 && x.is_finite(), "a number above 0");
        let finite = |field, x: f64| (field, x, x.is_finite(), "a finite number");
        let mut all = vec![
            positive("crossing.rate_per_vs", k.crossing.rate_per_vs),
            finite("crossing.threshold_v", k.crossing.threshold_v),
            positive("crossing.softness_v", k.crossing.softness_v),
            positive("returning.rate_per_vs", k.returning.rate_per_vs),
            finite("returning.threshold_v", k.returning.threshold_v),
            positive("returning.softness_v", k.returning.softness_v),
            finite("threshold_slope_v_per_k", k.threshold_slope_v_per_k),
        ];
        for (exchange, rate, scale, offset) in [
            (
                k.store,
                "store.rate_per_s",
                "store.scale_v",
                "store.offset_v",
            ),
            (
                k.window,
                "window.rate_per_s",
                "window.scale_v",
                "window.offset_v",
            ),
        ] {
            if let Some(e) = exchange {
                all.push(positive(rate, e.rate_per_s));
                all.push(positive(scale, e.scale_v));
                all.push(finite(offset, e.offset_v));
            }
        }
        let spread = &k.spread;
        let not_negative = |x: f64| x.is_finite() && x >= 0.0;
        let sigma = (spread.mobility_sigma, spread.threshold_sigma_v);
        let nodes = (spread.mobility_nodes, spread.threshold_nodes);
        let whole = |n: usize, most: usize| (1..=most).contains(&n);
        all.extend([
            (
                "spread.mobility_sigma",
                sigma.0,
                not_negative(sigma.0),
                "0 or more",
            ),
            (
                "spread.threshold_sigma_v",
                sigma.1,
                not_negative(sigma.1),
                "0 or more",
            ),
            (
                "spread.mobility_nodes",
                nodes.0 as f64,
                whole(nodes.0, 16),
                "1 to 16",
            ),
            (
                "spread.threshold_nodes",
                nodes.1 as f64,
                whole(nodes.1, 16),
                "1 to 16",
            ),
        ]);
        all.into_iter()
            .find(|(_, _, holds, _)| !holds)
            .map(|(field, value, _, expected)| (field, value, expected))
    }
}

fn wrong(
    file: &Path,
    line: Option<usize>,
    field: Option<String>,
    value: Option<String>,
    expected: String,
) -> Error {
    Error::Input(InputError {
        file: file.to_owned(),
        line,
        field,
        value,
        expected,
    })
}
