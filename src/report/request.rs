//! The request as the report tells it.

use super::words::number;
use crate::design::{LadderShare, Request};
use serde::Serialize;

/// What was asked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RequestReport {
    pub levels: usize,
    pub budget_s: f64,
    pub tolerance_steps: f64,
    /// `common` or `per-band`.
    pub ladder: &'static str,
    /// One temperature alone, or none: the panel's whole range.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Least contrast asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contrast: Option<f64>,
}

impl RequestReport {
    pub fn of(request: &Request) -> Self {
        RequestReport {
            levels: request.levels,
            budget_s: request.budget_s,
            tolerance_steps: request.tolerance_steps,
            ladder: match request.share {
                LadderShare::Common => "common",
                LadderShare::PerBand => "per-band",
            },
            temperature_c: request.temperature_c,
            contrast: request.contrast,
        }
    }

    pub(super) fn in_words(&self) -> String {
        let ladder = match self.ladder {
            "common" => "one ladder for all bands",
            _ => "a ladder for each band",
        };
        let over = self.temperature_c.map_or_else(
            || ladder.to_owned(),
            |t| format!("at {} °C alone", number(t, 2)),
        );
        let contrast = self.contrast.map_or(String::new(), |c| {
            format!(", contrast at least {} : 1", number(c, 2))
        });
        format!(
            "{} levels in {} s, merit at most {} step{contrast}, {over}",
            self.levels,
            number(self.budget_s, 3),
            number(self.tolerance_steps, 4)
        )
    }
}
