//! A chart as the test panel would show it.

use super::layout::{ColumnGroup, Pixel, Run, column_groups, patch_pixels, row_lateness_s, runs};
use super::propagator::{Amounts, Propagator};
use super::refresh::{Mover, Refresh};
use super::test_panel::{Population, TestPanel};
use crate::project::{Chart, Page, Panel};
use crate::tone::lstar_from_reflectance;
use rayon::prelude::*;

/// What a page starts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// The fully dark panel, as charts have it.
    Dark,
    /// What the page before it left; the first page starts from the dark panel.
    Last,
}

impl TestPanel {
    /// Lightness, L*, of every patch of every page: that of the mean reflectance over its pixels, without the instrument's noise.
    ///
    /// `progress` is told of every page that is done, in any order. The same on any number of threads.
    pub fn lstar(
        &self,
        panel: &Panel,
        chart: &Chart,
        start: Start,
        progress: &(dyn Fn(&Page) + Sync),
    ) -> Vec<Vec<f64>> {
        match start {
            Start::Dark => {
                let pages = chart.pages.par_iter().map(|page| {
                    let lstar = self.page_after_dark(panel, page);
                    progress(page);
                    lstar
                });
                pages.collect()
            }
            Start::Last => self.pages_in_turn(panel, chart, progress),
        }
    }

    /// What the pixel at (`row`, `column`) holds of each population when a page is read that started from the dark panel;
    /// `None` outside the panel.
    pub fn pixel(
        &self,
        panel: &Panel,
        page: &Page,
        row: usize,
        column: usize,
    ) -> Option<Vec<Amounts>> {
        let groups = column_groups(std::slice::from_ref(page), panel);
        let group = groups.iter().position(|g| g.0.contains(&column))?;
        let dark = self.dark(page.temperature_c);
        let sheet = Sheet::new(self, panel, page, &groups);
        (row < panel.rows).then(|| sheet.shown(Pixel { group, row }, |k| dark[k].clone()))
    }

    fn page_after_dark(&self, panel: &Panel, page: &Page) -> Vec<f64> {
        let groups = column_groups(std::slice::from_ref(page), panel);
        let sheet = Sheet::new(self, panel, page, &groups);
        let dark = self.dark(page.temperature_c);
        let places = patch_pixels(page, &groups);
        let parts = places.par_iter().map(|place| {
            let shown = sheet.shown(place.pixel, |k| dark[k].clone());
            (place.patch, place.share * self.seen(&shown))
        });
        patch_lstar(page, parts.collect())
    }

    fn pages_in_turn(
        &self,
        panel: &Panel,
        chart: &Chart,
        progress: &(dyn Fn(&Page) + Sync),
    ) -> Vec<Vec<f64>> {
        let groups = column_groups(&chart.pages, panel);
        let first_c = chart.pages.first().map_or(0.0, |p| p.temperature_c);
        let pixels = groups.len() * panel.rows;
        let mut left = vec![self.dark(first_c); pixels];
        let mut all = Vec::new();
        for page in &chart.pages {
            let sheet = Sheet::new(self, panel, page, &groups);
            let pauses = sheet.at_rest(self.history.between_s);
            let pixel = |i| Pixel {
                group: i / panel.rows,
                row: i % panel.rows,
            };
            let next = left
                .par_iter()
                .enumerate()
                .map(|(i, before)| sheet.shown(pixel(i), |k| pauses[k].apply(&before[k])));
            left = next.collect();
            let places = patch_pixels(page, &groups);
            let parts = places.iter().map(|place| {
                let shown = &left[place.pixel.group * panel.rows + place.pixel.row];
                (place.patch, place.share * self.seen(shown))
            });
            all.push(patch_lstar(page, parts.collect()));
            progress(page);
        }
        all
    }

    fn seen(&self, shown: &[Amounts]) -> f64 {
        self.reflectance(shown.iter().map(Amounts::as_slice))
    }
}

/// A page on the panel, ready to be walked through.
struct Sheet<'a> {
    test_panel: &'a TestPanel,
    panel: &'a Panel,
    page: &'a Page,
    groups: &'a [ColumnGroup],
    /// Of each group.
    runs: Vec<Vec<Run>>,
    /// Of each population.
    erases: Vec<Propagator>,
    refreshes: Vec<Refresh<'a>>,
    waits: Vec<Propagator>,
}

impl<'a> Sheet<'a> {
    fn new(
        test_panel: &'a TestPanel,
        panel: &'a Panel,
        page: &'a Page,
        groups: &'a [ColumnGroup],
    ) -> Self {
        let mut sheet = Sheet {
            test_panel,
            panel,
            page,
            groups,
            runs: groups.iter().map(|g| runs(page, g, panel.rows)).collect(),
            erases: Vec::new(),
            refreshes: Vec::new(),
            waits: Vec::new(),
        };
        let settle_ms = panel.drivers.field_settle_ms;
        let populations = test_panel.populations.par_iter().map(|population| {
            let mover = sheet.mover(population);
            let refresh = Refresh::new(mover, page, &sheet.runs, settle_ms);
            (mover.erase(page), refresh)
        });
        let (erases, refreshes) = populations.unzip();
        sheet.waits = sheet.at_rest(test_panel.history.reading_s);
        sheet.erases = erases;
        sheet.refreshes = refreshes;
        sheet
    }

    fn mover(&self, population: &'a Population) -> Mover<'a> {
        Mover {
            panel: self.test_panel,
            population,
            temperature_c: self.page.temperature_c,
            stretch: self.page.stretch,
        }
    }

    /// `seconds` at 0 V, which no stretch touches, for each population.
    fn at_rest(&self, seconds: f64) -> Vec<Propagator> {
        let hold = |p| {
            let mover = Mover {
                stretch: 1.0,
                ..self.mover(p)
            };
            mover.hold(0.0, seconds)
        };
        self.test_panel.populations.iter().map(hold).collect()
    }

    /// What a pixel holds of each population when it is read; `before` says what it held before the refresh.
    fn shown(&self, pixel: Pixel, before: impl Fn(usize) -> Amounts) -> Vec<Amounts> {
        let lateness_s = row_lateness_s(self.panel, self.groups, pixel);
        let runs = &self.runs[pixel.group];
        let population = |k: usize| {
            let erased = self.erases[k].apply(&before(k));
            let end = self.refreshes[k].pass(runs, pixel.row, lateness_s, erased);
            self.waits[k].apply(&end)
        };
        (0..self.refreshes.len()).map(population).collect()
    }
}

/// Lightness of a page's patches from the parts of their reflectance.
fn patch_lstar(page: &Page, parts: Vec<(usize, f64)>) -> Vec<f64> {
    let mut reflectance = vec![0.0; page.patches.len()];
    for (patch, part) in parts {
        reflectance[patch] += part;
    }
    reflectance
        .into_iter()
        .map(lstar_from_reflectance)
        .collect()
}
