//! Which designs no other betters.

use std::cmp::Ordering;

/// What a design is worth and what it costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Merits {
    /// More is better.
    pub levels: usize,
    /// Longest refresh, s: less is better.
    pub refresh_s: f64,
    /// From the darkest to the lightest level, L*: more is better.
    pub span_lstar: f64,
    /// Between two lines while fields are driven, V: less is better.
    pub line_v: f64,
}

impl Merits {
    /// Whether this one is at least as good in everything and better in something.
    pub fn betters(&self, other: &Merits) -> bool {
        self.is_no_worse(other) && self != other
    }

    fn is_no_worse(&self, other: &Merits) -> bool {
        self.levels >= other.levels
            && self.refresh_s <= other.refresh_s
            && self.span_lstar >= other.span_lstar
            && self.line_v <= other.line_v
    }

    /// A design that betters another comes before it.
    fn order(&self, other: &Merits) -> Ordering {
        other
            .levels
            .cmp(&self.levels)
            .then(self.refresh_s.total_cmp(&other.refresh_s))
            .then(other.span_lstar.total_cmp(&self.span_lstar))
            .then(self.line_v.total_cmp(&other.line_v))
    }
}

/// Of each whether none of the others betters it: the maxima of a set of vectors. Equals stand together. Numbers are finite.
///
/// In sorted order only those before can better one, and of those the maxima suffice, since what betters a design that betters
/// a third betters the third: Kung, Luccio & Preparata, J. ACM 22 (1975), 469 (from memory).
pub fn unbettered(all: &[Merits]) -> Vec<bool> {
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by(|&a, &b| all[a].order(&all[b]));
    let mut kept = vec![false; all.len()];
    let mut best: Vec<usize> = Vec::new();
    for i in order {
        if !best.iter().any(|&b| all[b].betters(&all[i])) {
            best.push(i);
            kept[i] = true;
        }
    }
    kept
}
