//! Schemes that came into question for a band, and a design that did not come about.

use super::assurance::Assured;
use super::climate::BandClimate;
use super::correction::Correction;
use super::ladder::Candidates;
use super::search::{Place, Ranked};

/// A design that did not come about, with the schemes that were found.
#[derive(Debug, Default)]
pub struct Shortfall {
    pub pools: Vec<Pool>,
    /// The best that panels like this one showed, where that fell short.
    pub assured: Option<Box<Assured>>,
}

impl Shortfall {
    pub(super) fn in_pool(pool: Pool) -> Self {
        Shortfall {
            pools: vec![pool],
            assured: None,
        }
    }

    pub(super) fn of(candidates: &[Candidates]) -> Self {
        Shortfall {
            pools: candidates.iter().map(|c| c.pool.clone()).collect(),
            assured: None,
        }
    }
}

/// A band with the schemes that came into question.
#[derive(Debug, Clone)]
pub struct Pool {
    pub band: BandClimate,
    /// First those with a wide ladder of the band's own, best first; then those found to serve a common one.
    pub schemes: Vec<Ranked>,
    /// How many are of the first kind.
    pub own: usize,
    /// Schemes evaluated to find them.
    pub evaluated: usize,
    /// What readings of the band's levels add to the response.
    pub correction: Option<Correction>,
    /// Choices of ticks for which the correction is known less closely than this, standard, are not used, L*.
    pub sure_lstar: f64,
}

impl Pool {
    /// Schemes with a wide ladder of the band's own, best first.
    pub(super) fn of(band: BandClimate, schemes: Vec<Ranked>, evaluated: usize) -> Self {
        Pool {
            band,
            own: schemes.len(),
            schemes,
            evaluated,
            correction: None,
            sure_lstar: f64::INFINITY,
        }
    }

    pub(super) fn best(&self) -> Option<&Ranked> {
        self.schemes.first().filter(|s| s.score.kept)
    }

    pub(super) fn span_lstar(&self) -> Option<f64> {
        self.best().map(|s| s.score.value)
    }

    /// Up to `count` places that serve a common ladder, or of those with the widest of their own.
    pub(super) fn serving_places(&self, count: usize) -> Vec<Place> {
        let own = if self.schemes.len() > self.own {
            self.own
        } else {
            0
        };
        self.schemes
            .iter()
            .skip(own)
            .take(count)
            .map(|s| s.place.clone())
            .collect()
    }

    pub(super) fn places(&self, count: usize) -> Vec<Place> {
        self.schemes
            .iter()
            .take(count)
            .map(|s| s.place.clone())
            .collect()
    }
}
