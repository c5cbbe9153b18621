//! How even a finished set is on a test panel, without the instrument's noise.

use greyloom::design::even::{mixed_levels, uneven_lstar};
use greyloom::project::{Chart, Page, Panel, Patch};
use greyloom::rehearsal::{Start, TestPanel};
use greyloom::waveforms::{Band, Waveforms};

/// A band on the test panel, everything in steps of its ladder.
#[derive(Debug, Clone, Copy)]
pub struct Judged {
    pub step_lstar: f64,
    /// Largest distance from the even ladder between the reached ends: mixed content, middle row.
    pub uneven_low: f64,
    pub uneven_design: f64,
    pub uneven_high: f64,
    /// The same ladder at the design temperature against every level among all-on and all-off neighbours, in the first,
    /// second, middle and last row, at the band's limits and design temperature.
    pub worst: f64,
}

impl Judged {
    pub fn at_limits(&self) -> f64 {
        self.uneven_low.max(self.uneven_high)
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Content {
    Mixed,
    On,
    Off,
}

/// Every band of a set on a panel.
pub fn judge(test_panel: &TestPanel, panel: &Panel, set: &Waveforms) -> Vec<Judged> {
    let band = |band| Judge {
        test_panel,
        panel,
        band,
    };
    set.bands
        .iter()
        .map(|b| band(b).judged(b.targets(set)))
        .collect()
}

struct Judge<'a> {
    test_panel: &'a TestPanel,
    panel: &'a Panel,
    band: &'a Band,
}

impl Judge<'_> {
    fn judged(&self, targets: &[f64]) -> Judged {
        let limits = self.band.temperature_c;
        let last = targets.len() - 1;
        let step = (targets[last] - targets[0]) / last as f64;
        let middle = self.panel.rows / 2;
        let mixed = [limits.low, limits.design, limits.high].map(|t| (t, Content::Mixed, middle));
        let mut places = mixed.to_vec();
        for t in [limits.low, limits.design, limits.high] {
            for content in [Content::On, Content::Off] {
                let rows = [0, 1, middle, self.panel.rows - 1];
                places.extend(rows.map(|row| (t, content, row)));
            }
        }
        let shown = self.shown(&places);
        let uneven = |i: usize| uneven_lstar(&shown[i]) / step;
        let (first, reached) = (shown[1][0], shown[1][last] - shown[1][0]);
        let off = |(level, lstar): (usize, &f64)| {
            (lstar - first - reached * level as f64 / last as f64).abs() / step
        };
        let all = shown[3..]
            .iter()
            .flat_map(|s| s.iter().enumerate().map(off));
        Judged {
            step_lstar: step,
            uneven_low: uneven(0),
            uneven_design: uneven(1),
            uneven_high: uneven(2),
            worst: all.fold(0.0, f64::max),
        }
    }

    /// Lightness of every level at each place.
    fn shown(&self, places: &[(f64, Content, usize)]) -> Vec<Vec<f64>> {
        let pages: Vec<Page> = places
            .iter()
            .map(|&(t, c, row)| self.page(t, c, row))
            .collect();
        let lstar = self.test_panel.lstar(
            self.panel,
            &Chart {
                pages: pages.clone(),
            },
            Start::Dark,
            &|_| (),
        );
        let judged = |(page, lstar): (&Page, &Vec<f64>)| {
            let named = page
                .patches
                .iter()
                .zip(lstar)
                .filter(|(p, _)| p.name.starts_with('L'));
            named.map(|(_, &l)| l).collect()
        };
        pages.iter().zip(&lstar).map(judged).collect()
    }

    /// A page with a strip of columns for each level, which stands in `row` there and nowhere else.
    fn page(&self, temperature_c: f64, content: Content, row: usize) -> Page {
        let (band, panel) = (self.band, self.panel);
        let ticks = band.row_ticks();
        let levels = ticks.levels();
        let width = panel.columns / levels;
        let among = mixed_levels(panel.rows, levels);
        let mut patches = Vec::new();
        for level in 0..levels {
            let mut add = |name: String, row: usize, ticks: &Vec<u32>| {
                patches.push(Patch {
                    name,
                    row_first: row,
                    row_last: row,
                    column_first: level * width,
                    column_last: (level + 1) * width - 1,
                    ticks: ticks.clone(),
                    line: 0,
                });
            };
            if content == Content::Mixed {
                for other in (0..panel.rows).filter(|&r| r != row) {
                    add(
                        format!("c{level}-{other}"),
                        other,
                        &ticks.in_row(other)[among[other]],
                    );
                }
            }
            add(format!("L{level}"), row, &ticks.in_row(row)[level]);
        }
        let on = content == Content::On;
        let fill = band
            .fields
            .iter()
            .map(|f| if on { f.slot_ticks } else { 0 });
        Page {
            name: "judged".into(),
            temperature_c,
            stretch: panel.drivers.played(band.stretch_factor(temperature_c)),
            erase: band.erase.clone(),
            fields: band.fields.clone(),
            fill_ticks: fill.collect(),
            patches,
        }
    }
}
