//! The numbers that go with a finished band: predictions, their uncertainty, and what the drive costs.

use super::charge::{Charge, charge_note};
use super::choice::{Demand, step_of};
use super::climate::BandClimate;
use super::edges::edge_errors;
use super::erases::{passed_over, shortest_s};
use super::even::{Even, even_ticks};
use super::known::ToldApart;
use super::ladder::Candidates;
use super::outcome::{BandDesign, Design, ZoneGain};
use super::plan::Planner;
use super::proof::{Extremes, Finished};
use super::reach::Climate;
use super::search::Ranked;
use super::shading::{Shading, shading};
use crate::drive::{
    RowTicks, Timing, Zone, flash_caution, largest_line_difference_v, rows_in_words,
    voltage_caution,
};
use crate::tone::lightness::reflectance_from_lstar;
use crate::waveforms::{
    Band, FORMAT, Figures, Interval, PanelSize, Predicted, StretchAt, VERSION, Waveforms,
};
use std::collections::BTreeSet;

/// Reflectance of the lightest target over that of the darkest.
pub fn contrast(targets_lstar: &[f64]) -> f64 {
    match targets_lstar {
        [darkest, .., lightest] => {
            reflectance_from_lstar(*lightest) / reflectance_from_lstar(*darkest)
        }
        _ => 1.0,
    }
}

/// A ladder for every band with the ticks of its levels, not yet proved.
#[derive(Debug, Clone)]
pub(super) struct Draft {
    ladders: Vec<Vec<f64>>,
    bands: Vec<DraftBand>,
}

#[derive(Debug, Clone)]
struct DraftBand {
    /// Index among the band's schemes.
    scheme: usize,
    even: Even,
}

impl Draft {
    /// Of the narrowest band, L*.
    pub fn span_lstar(&self) -> f64 {
        self.ladders
            .iter()
            .map(|l| span(l))
            .fold(f64::INFINITY, f64::min)
    }

    /// How uneven an ordinary picture may well be in the worst band, in steps.
    pub fn uneven_steps(&self) -> f64 {
        let bands = self.bands.iter().map(|b| b.even.expected_steps);
        bands.fold(0.0, f64::max)
    }
}

/// Lightest less darkest target of a ladder, L*.
pub(super) fn span(ladder: &[f64]) -> f64 {
    step_of(ladder) * (ladder.len() - 1) as f64
}

impl Planner<'_> {
    /// Every band's widest ladder with its ticks.
    pub(super) fn draft(&self, candidates: &[Candidates], demand: Demand) -> Option<Draft> {
        let ladders = self.ladders(candidates, demand)?;
        let bands = candidates
            .iter()
            .zip(&ladders)
            .map(|(c, targets)| self.draft_band(c, targets));
        Some(Draft {
            bands: bands.collect::<Option<_>>()?,
            ladders,
        })
    }

    fn draft_band(&self, c: &Candidates, targets: &[f64]) -> Option<DraftBand> {
        let scheme = c.best_for(targets)?;
        let base = self.unfinished(c, scheme);
        let (tolerance_steps, design) = (self.request.tolerance_steps, c.pool.band.design());
        let even = even_ticks(&base, &c.spots[scheme], targets, tolerance_steps, design)?;
        Some(DraftBand { scheme, even })
    }

    /// A scheme without ticks.
    fn unfinished<'c>(&'c self, c: &'c Candidates, scheme: usize) -> Finished<'c> {
        Finished {
            response: self.response,
            scheme: &c.pool.schemes[scheme].scheme,
            rows: self.panel.rows,
            settle_ms: self.panel.drivers.field_settle_ms,
            ticks: RowTicks::Alike(&[]),
            correction: c.pool.correction.as_ref(),
        }
    }

    /// Every band of a draft with its proof.
    pub(super) fn finished(&self, candidates: &[Candidates], draft: &Draft) -> Option<Design> {
        let each = candidates
            .iter()
            .zip(draft.bands.iter().zip(&draft.ladders))
            .map(|(c, (band, targets))| self.finished_band(c, band, targets));
        let (bands, reports) = each.collect::<Option<Vec<_>>>()?.into_iter().unzip();
        Some(self.assemble(bands, reports, &draft.ladders))
    }

    fn finished_band(
        &self,
        c: &Candidates,
        DraftBand { scheme, even }: &DraftBand,
        targets: &[f64],
    ) -> Option<(Band, BandDesign)> {
        let ranked = &c.pool.schemes[*scheme];
        let finished = Finished {
            ticks: RowTicks::Zones(&even.zones),
            ..self.unfinished(c, *scheme)
        };
        let (rows, settle_ms) = (finished.rows, finished.settle_ms);
        let extremes = finished.extremes(&c.pool.band, &ranked.stretch);
        let steps = |found: Shading| found.lstar / step_of(targets);
        let alone = self.ladder_of(&[&c.own()], self.demand());
        let longest_stretch = c.pool.band.longest(&ranked.stretch);
        let report = BandDesign {
            timing: Timing::of(&ranked.scheme.erase, &ranked.scheme.fields, rows, settle_ms),
            charge: Charge::of(
                self.panel,
                &ranked.scheme,
                finished.ticks,
                longest_stretch,
                None,
            )
            .designed(self.panel),
            longest_stretch,
            shortest_erase_s: shortest_s(self.panel, self.response, &c.pool.band),
            worst: extremes.worst(targets)?,
            span_lstar: span(targets),
            contrast: contrast(targets),
            span_alone_lstar: alone.map_or(span(targets), |l| span(&l)),
            evaluated: c.pool.evaluated,
            uneven_steps: even.uneven_steps,
            expected_steps: even.expected_steps,
            shading_steps: steps(shading(&finished, c.pool.band.design())),
            zones: self.zone_gain(c, *scheme, even, targets),
            known: self.known(&c.pool.band, &finished, span(targets)),
            edges: edge_errors(&finished, &c.pool.band, &ranked.stretch, targets)?,
        };
        let band = self.band(&c.pool.band, ranked, &finished, &extremes, &report);
        Some((band, report))
    }

    /// What a draft's zones win against one table for all rows; `None` without zones.
    fn zone_gain(
        &self,
        c: &Candidates,
        scheme: usize,
        even: &Even,
        targets: &[f64],
    ) -> Option<ZoneGain> {
        if even.zones.len() < 2 {
            return None;
        }
        let ranked = &c.pool.schemes[scheme];
        let (base, design) = (self.unfinished(c, scheme), c.pool.band.design());
        let whole = self.looked(&c.pool).exact_spots(ranked, &[]);
        let alike = even_ticks(&base, &whole, targets, self.request.tolerance_steps, design)?;
        let finished = Finished {
            ticks: RowTicks::Zones(&alike.zones),
            ..base
        };
        let extremes = finished.extremes(&c.pool.band, &ranked.stretch);
        let worst = extremes.worst(targets)?;
        let step = step_of(targets);
        Some(ZoneGain {
            rows: even
                .zones
                .iter()
                .map(|z| (z.row_first, z.row_last))
                .collect(),
            alike_error_steps: (worst.lstar - worst.target_lstar).abs() / step,
            alike_shading_steps: shading(&finished, design).lstar / step,
        })
    }

    fn band(
        &self,
        climate: &BandClimate,
        ranked: &Ranked,
        finished: &Finished,
        extremes: &Extremes,
        report: &BandDesign,
    ) -> Band {
        let scheme = &ranked.scheme;
        let low_lstar: Vec<f64> = extremes.lowest.iter().map(|p| p.lstar).collect();
        let high_lstar: Vec<f64> = extremes.highest.iter().map(|p| p.lstar).collect();
        let lstar = low_lstar
            .iter()
            .zip(&high_lstar)
            .map(|(l, h)| 0.5 * (l + h))
            .collect();
        let step_lstar = report.span_lstar / (self.request.levels - 1) as f64;
        let worst_error_lstar = (report.worst.lstar - report.worst.target_lstar).abs();
        let (ticks, zones) = tables(finished.ticks);
        let energy = self
            .panel
            .load()
            .worst_energy(&scheme.erase, &scheme.fields, finished.ticks);
        Band {
            temperature_c: Interval {
                low: climate.low_c,
                design: climate.design_c,
                high: climate.high_c,
            },
            refresh_s: report.timing.total_s() * report.longest_stretch,
            stretch: stretch_entries(&ranked.stretch),
            erase: scheme.erase.clone(),
            fields: scheme.fields.clone(),
            ticks,
            zones,
            resting_balance_v: report.charge.resting_balance_v,
            targets_lstar: None,
            predicted: Predicted {
                expanded_u_lstar: report.known.expanded_u_lstar.clone(),
                lstar,
                low_lstar,
                high_lstar,
            },
            figures: Figures {
                step_lstar,
                worst_error_lstar,
                worst_error_steps: worst_error_lstar / step_lstar,
                ghost_lstar: extremes.ghost_lstar,
                net_impulse_vs: report.charge.left_vs(),
                energy_mj: energy.total_mj(),
            },
        }
    }

    fn assemble(
        &self,
        mut bands: Vec<Band>,
        reports: Vec<BandDesign>,
        ladders: &[Vec<f64>],
    ) -> Design {
        let common = ladders.first().cloned().unwrap_or_default();
        for (band, ladder) in bands.iter_mut().zip(ladders) {
            band.targets_lstar = (*ladder != common).then(|| ladder.clone());
        }
        let told_apart = reports.iter().map(|r| r.known.told_apart);
        let mut notes: Vec<String> = self.indistinct(told_apart).into_iter().collect();
        notes.extend(self.unread_zones(&reports));
        notes.extend(charge_note(self.panel, reports.iter().map(|r| r.charge)));
        notes.extend(self.notes(&bands));
        let set = Waveforms {
            format: FORMAT.into(),
            version: VERSION,
            panel: PanelSize {
                name: self.panel.name.clone(),
                rows: self.panel.rows,
                columns: self.panel.columns,
                field_settle_ms: self.panel.drivers.field_settle_ms,
            },
            levels: self.request.levels,
            targets_lstar: common,
            bands,
            certificate: None,
        };
        Design {
            set: set.rounded(),
            bands: reports,
            bands_tried: Vec::new(),
            assured: None,
            polish: None,
            without_zones: None,
            notes,
        }
    }

    /// Warns of zones of rows that no patch shows alone: nothing but the model tells their ticks.
    fn unread_zones(&self, reports: &[BandDesign]) -> Option<String> {
        let (pitch_um, aperture_mm) =
            (self.panel.pixel_pitch_um, self.panel.instrument.aperture_mm);
        let low = |&&(first, last): &&(usize, usize)| {
            ((last + 1 - first) as f64) * pitch_um < aperture_mm * 1e3
        };
        let zones = reports
            .iter()
            .flat_map(|r| r.zones.iter().flat_map(|z| &z.rows));
        let rows: BTreeSet<(usize, usize)> = zones.filter(low).copied().collect();
        let each = rows.iter().map(|&(first, last)| rows_in_words(first, last));
        let each: Vec<String> = each.collect();
        (!each.is_empty()).then(|| {
            format!(
                "Zones of rows: no reading shows {} alone, lower than the instrument's aperture of {aperture_mm} mm; the ticks there \
                 rest on the model's memory of the erase. Look at these rows on the panel before relying on them.",
                each.join(", ")
            )
        })
    }

    /// Warns where neighbouring levels of any band can't be told apart: of the band where fewest can.
    fn indistinct(&self, told_apart: impl Iterator<Item = ToldApart>) -> Option<String> {
        let levels = self.request.levels;
        let worst = told_apart
            .enumerate()
            .filter(|(_, t)| t.levels < levels)
            .min_by_key(|(_, t)| t.levels);
        worst.map(|(band, t)| {
            format!(
                "Levels: {levels} are finer than can be told apart (k = 2). In band {} they stand {:.3} L* apart; one reading of \
                 each tells {:.3} L* apart, the prediction {:.3} L*. On the same span {} levels could be told apart.",
                band + 1,
                t.step_lstar,
                t.reading_lstar,
                t.predicted_lstar,
                t.levels
            )
        })
    }

    /// Limits that the set does not keep by itself, lag, and the usual cautions.
    fn notes(&self, bands: &[Band]) -> Vec<String> {
        let limits = &self.panel.limits;
        let mut notes = Vec::new();
        let largest =
            |of: fn(&Figures) -> f64| bands.iter().map(|b| of(&b.figures)).fold(0.0, f64::max);
        let ghost = largest(|f| f.ghost_lstar);
        if ghost > limits.ghost_lstar {
            notes.push(format!(
                "Ghost: what stood before shows by {ghost:.2} L*, above the panel's limit of {:.2} L*; no length of these erases keeps it.",
                limits.ghost_lstar
            ));
        }
        notes.extend(passed_over(self.panel));
        let uncertain = bands
            .iter()
            .flat_map(|b| &b.predicted.expanded_u_lstar)
            .fold(0.0f64, |a, &b| a.max(b));
        let step = bands
            .iter()
            .map(|b| b.figures.step_lstar)
            .fold(f64::INFINITY, f64::min);
        if uncertain > 0.5 * step {
            notes.push(format!(
                "Uncertainty: levels are known to ±{uncertain:.2} L* (k = 2), more than half a step of {step:.2} L*: read \
                 the levels on the panel before relying on their order."
            ));
        }
        let rail = bands
            .iter()
            .map(|b| largest_line_difference_v(&b.erase, &b.fields))
            .fold(0.0, f64::max);
        notes.push(voltage_caution(rail));
        notes.push(flash_caution().into());
        notes
    }
}

/// The tables of a band's file: one for all rows, or zones.
fn tables(ticks: RowTicks) -> (Vec<Vec<u32>>, Vec<Zone>) {
    match ticks {
        RowTicks::Zones(zones) if zones.len() > 1 => (Vec::new(), zones.to_vec()),
        alike => (alike.table(0).to_vec(), Vec::new()),
    }
}

/// The stretch entries of a band's file; none where nothing is stretched.
fn stretch_entries(stretch: &[Climate]) -> Vec<StretchAt> {
    if stretch.iter().all(|c| c.stretch == 1.0) {
        return Vec::new();
    }
    let entry = |c: &Climate| StretchAt {
        temperature_c: c.temperature_c,
        factor: c.stretch,
    };
    stretch.iter().map(entry).collect()
}
