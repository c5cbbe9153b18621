//! Value change dump of chosen lines, as simulators and logic viewers read it.
//!
//! Source of the format: IEEE Std 1364-2005, clause 18 (from memory): declaration commands, then values at rising times; a
//! real variable's value is `r` and a number, and binds to an identifier of printable characters.

use super::{Lab, Probe};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Decimals of a voltage: a set's file keeps four.
const DECIMALS: usize = 4;

/// A real variable in V for each probe; time in ns, rounded to nearest.
pub fn vcd(lab: &Lab, probes: &[Probe]) -> String {
    let mut out = String::from("$version greyloom $end\n$comment\n");
    for line in lab.description() {
        let _ = writeln!(out, "  {line}");
    }
    out.push_str("$end\n$timescale 1 ns $end\n$scope module panel $end\n");
    for (i, probe) in probes.iter().enumerate() {
        let _ = writeln!(out, "$var real 64 {} {probe} $end", identifier(i));
    }
    out.push_str("$upscope $end\n$enddefinitions $end\n");
    let mut changes: BTreeMap<u64, String> = BTreeMap::new();
    for (i, probe) in probes.iter().enumerate() {
        for step in lab.steps(*probe) {
            let at = changes.entry(nanoseconds(step.at_s)).or_default();
            let _ = writeln!(
                at,
                "r{} {}",
                super::decimal(step.v, DECIMALS),
                identifier(i)
            );
        }
    }
    for (ns, values) in &changes {
        let _ = match ns {
            0 => write!(out, "#0\n$dumpvars\n{values}$end\n"),
            ns => write!(out, "#{ns}\n{values}"),
        };
    }
    let _ = writeln!(out, "#{}", nanoseconds(lab.duration_s()));
    out
}

fn nanoseconds(seconds: f64) -> u64 {
    (seconds * 1e9).round() as u64
}

/// Printable characters from `!` to `~`, as many as it takes.
fn identifier(mut index: usize) -> String {
    const FIRST: u8 = b'!';
    const COUNT: usize = 94;
    let mut text = String::new();
    loop {
        text.push(char::from(FIRST + (index % COUNT) as u8));
        if index < COUNT {
            return text;
        }
        index = index / COUNT - 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identifiers_differ() {
        let all: std::collections::BTreeSet<String> = (0..9000).map(identifier).collect();
        assert_eq!(all.len(), 9000);
        assert_eq!(
            (identifier(0), identifier(93), identifier(94)),
            ("!".into(), "~".into(), "!!".into())
        );
    }
}
