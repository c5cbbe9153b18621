//! Zones of rows, each with a table of its own.

use greyloom::drive::Zone;

/// Zones of a panel of `rows` rows that begin in row 0 and in the rows of `cuts` (any order, twice or out of the panel counts
/// for nothing); `table` gives the ticks of each in turn.
pub fn zones(rows: usize, cuts: &[usize], mut table: impl FnMut() -> Vec<Vec<u32>>) -> Vec<Zone> {
    let mut firsts: Vec<usize> = cuts
        .iter()
        .copied()
        .filter(|c| (1..rows).contains(c))
        .collect();
    firsts.push(0);
    firsts.sort_unstable();
    firsts.dedup();
    let ends: Vec<usize> = firsts.iter().skip(1).copied().chain([rows]).collect();
    let zone = |(row_first, end): (usize, usize)| Zone {
        row_first,
        row_last: end - 1,
        ticks: table(),
    };
    firsts.into_iter().zip(ends).map(zone).collect()
}
