//! Piecewise-linear sources for a circuit simulator, and the same corners as a table.

use super::{Lab, Probe, Step};
use std::fmt::Write;

/// Decimals of a time, s: picoseconds.
const SECONDS: usize = 12;
const VOLTS: usize = 4;
/// An edge takes this share of the shortest tick, so that it falls within it.
const EDGE_SHARE: f64 = 1e-3;
/// Pairs of time and voltage a line: no line too long for a simulator.
const PAIRS_A_LINE: usize = 4;

/// Corners of a line: at each change the voltage stays until it, and is there an edge later.
fn corners(lab: &Lab, probe: Probe) -> Vec<Step> {
    let edge_s = EDGE_SHARE * lab.shortest_tick_s();
    let mut corners: Vec<Step> = Vec::new();
    for step in lab.steps(probe) {
        let before = corners.last().map_or(0.0, |c| c.v);
        corners.push(Step {
            at_s: step.at_s,
            v: before,
        });
        if step.v != before {
            corners.push(Step {
                at_s: step.at_s + edge_s,
                v: step.v,
            });
        }
    }
    let last = corners.last().map_or(0.0, |c| c.v);
    corners.push(Step {
        at_s: lab.duration_s(),
        v: last,
    });
    corners
}

/// A SPICE file to include: a voltage source `Vrow_0 row_0 0 PWL(…)` for each probe, from its node to ground.
pub fn pwl_sources(lab: &Lab, probes: &[Probe]) -> String {
    let mut out = lab.comments("*");
    for probe in probes {
        let _ = write!(out, "V{probe} {probe} 0 PWL(");
        let pairs: Vec<String> = corners(lab, *probe)
            .iter()
            .map(|c| {
                format!(
                    "{} {}",
                    super::decimal(c.at_s, SECONDS),
                    super::decimal(c.v, VOLTS)
                )
            })
            .collect();
        let lines: Vec<String> = pairs.chunks(PAIRS_A_LINE).map(|p| p.join(" ")).collect();
        let _ = writeln!(out, "\n+ {})", lines.join("\n+ "));
    }
    out
}

/// The same corners as a table, `line,time_s,volts`, behind lines that begin with `#`.
pub fn pwl_csv(lab: &Lab, probes: &[Probe]) -> String {
    let mut out = lab.comments("#") + "line,time_s,volts\n";
    for probe in probes {
        for c in corners(lab, *probe) {
            let (at, v) = (super::decimal(c.at_s, SECONDS), super::decimal(c.v, VOLTS));
            let _ = writeln!(out, "{probe},{at},{v}");
        }
    }
    out
}
