//! An uncertainty budget: sources, their sensitivities, and what they come to.

use super::student::t_quantile;
use serde::Serialize;

/// How a source's uncertainty was come by (JCGM 100:2008, 4.2 and 4.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Evaluation {
    /// From the scatter of readings.
    A,
    /// From anything else.
    B,
}

/// One line of a budget.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Source {
    pub name: String,
    pub evaluation: Evaluation,
    pub distribution: &'static str,
    /// Standard uncertainty in the source's own unit.
    pub u: f64,
    /// Change of the result for one unit of the source.
    pub sensitivity: f64,
    /// Degrees of freedom; infinite where u is taken as known.
    #[serde(skip)]
    pub freedom: f64,
}

impl Source {
    /// What the source contributes to the result, standard.
    pub fn contribution(&self) -> f64 {
        (self.u * self.sensitivity).abs()
    }
}

/// Independent sources of one result.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Budget {
    pub sources: Vec<Source>,
}

impl Budget {
    /// u_c² = Σ (c_i·u_i)². Source: JCGM 100:2008, equation 10.
    pub fn combined(&self) -> f64 {
        let squares = self.sources.iter().map(|s| s.contribution().powi(2));
        squares.sum::<f64>().sqrt()
    }

    /// ν_eff = u_c⁴/Σ (u_i⁴/ν_i), infinite where no source has finite freedom. Source: JCGM 100:2008, equation G.2b.
    pub fn effective_freedom(&self) -> f64 {
        let below: f64 = self
            .sources
            .iter()
            .map(|s| s.contribution().powi(4) / s.freedom)
            .sum();
        self.combined().powi(4) / below
    }

    /// k·u_c for a level of confidence such as 0.95, k the t quantile of the effective freedom cut to a whole number. Source:
    /// JCGM 100:2008, G.4.1.
    pub fn expanded(&self, confidence: f64) -> f64 {
        let freedom = self.effective_freedom().floor().max(1.0);
        t_quantile(0.5 + confidence / 2.0, freedom) * self.combined()
    }
}
