//! The figures that a finished set is accepted by, each with its definition, conditions, value, limit and verdict.

use serde::Serialize;

/// What a figure is held against.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    AtMost(f64),
    AtLeast(f64),
}

/// What came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Pass,
    Fail,
    /// The limit lies within the expanded uncertainty: neither is claimed.
    Undecided,
    /// There is no limit.
    Stated,
}

/// One figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    pub name: &'static str,
    pub definition: String,
    /// Where and when the value holds.
    pub conditions: String,
    pub value: f64,
    pub unit: &'static str,
    /// k = 2; none for what is computed from the set alone.
    pub expanded_u: Option<f64>,
    pub limit: Option<Limit>,
    /// How far the value keeps from the limit, in its unit; negative beyond it.
    pub margin: Option<f64>,
    pub verdict: Verdict,
}

impl Limit {
    /// How far inside the limit a value is.
    pub fn margin(self, value: f64) -> f64 {
        match self {
            Limit::AtMost(most) => most - value,
            Limit::AtLeast(least) => value - least,
        }
    }

    /// A value that isn't a number fails.
    pub fn verdict(self, value: f64, expanded_u: Option<f64>) -> Verdict {
        let margin = self.margin(value);
        let u = expanded_u.unwrap_or(0.0);
        if margin >= u {
            Verdict::Pass
        } else if margin >= 0.0 || margin + u > 0.0 && u > 0.0 {
            Verdict::Undecided
        } else {
            Verdict::Fail
        }
    }
}

impl Figure {
    /// A figure without uncertainty.
    pub fn new(
        name: &'static str,
        (value, unit): (f64, &'static str),
        limit: Option<Limit>,
        definition: impl Into<String>,
        conditions: impl Into<String>,
    ) -> Self {
        Figure {
            name,
            definition: definition.into(),
            conditions: conditions.into(),
            value,
            unit,
            expanded_u: None,
            limit,
            margin: limit.map(|l| l.margin(value)),
            verdict: limit.map_or(Verdict::Stated, |l| l.verdict(value, None)),
        }
    }

    /// The same with an expanded uncertainty, k = 2.
    pub fn known_to(self, expanded_u: f64) -> Self {
        let verdict = |l: Limit| l.verdict(self.value, Some(expanded_u));
        Figure {
            expanded_u: Some(expanded_u),
            verdict: self.limit.map_or(Verdict::Stated, verdict),
            ..self
        }
    }
}

/// Whether every figure with a limit keeps it.
pub fn kept(figures: &[Figure]) -> bool {
    figures.iter().all(|f| f.verdict != Verdict::Fail)
}
