//! A finished set on its panel: each band with what the response says of it and what the set itself adds.

use super::maps::Played;
use super::picture_run::{LineLag, PictureRun};
use crate::design::climate::BandClimate;
use crate::design::proof::{Extremes, Finished};
use crate::design::reach::{Climate, Scheme};
use crate::drive::{Matrix, RowTicks};
use crate::project::Panel;
use crate::response::Response;
use crate::waveforms::{Band, Waveforms};

/// A set and a response further apart than this, L*, don't belong together.
pub const BELONGS_LSTAR: f64 = 3.0;

/// A set on its panel.
#[derive(Debug)]
pub struct SetOnPanel<'a> {
    pub set: &'a Waveforms,
    pub panel: &'a Panel,
    pub response: &'a Response,
    pub bands: Vec<BandOnPanel<'a>>,
}

/// One band.
#[derive(Debug)]
pub struct BandOnPanel<'a> {
    pub band: &'a Band,
    pub targets_lstar: &'a [f64],
    pub climate: BandClimate,
    pub scheme: Scheme,
    stretch: Vec<Climate>,
    /// Lowest and highest lightness of each level, by the response alone.
    pub extremes: Extremes,
    /// What the set predicts beyond the response, by level: what readings of the levels have added.
    pub added_lstar: Vec<f64>,
}

impl<'a> SetOnPanel<'a> {
    /// The bands of a set, each proved by the response over all rows, extreme contents and nine temperatures.
    pub fn new(set: &'a Waveforms, panel: &'a Panel, response: &'a Response) -> Self {
        let band = |band: &'a Band| BandOnPanel::new(band, band.targets(set), panel, response);
        SetOnPanel {
            set,
            panel,
            response,
            bands: set.bands.iter().map(band).collect(),
        }
    }

    /// The largest that the set predicts beyond its response, L*.
    pub fn largest_added_lstar(&self) -> f64 {
        let all = self.bands.iter().flat_map(|b| &b.added_lstar);
        all.fold(0.0, |most, a| most.max(a.abs()))
    }

    /// A band's scheme with its ticks, to be proved.
    pub fn finished<'b>(&'b self, band: &'b BandOnPanel) -> Finished<'b> {
        finished(
            self.panel,
            self.response,
            &band.scheme,
            band.band.row_ticks(),
        )
    }

    /// A band ready to drive pictures at a temperature, °C, with the lag of the panel's lines.
    pub fn picture_run(&self, band: &BandOnPanel, temperature_c: f64) -> PictureRun {
        let lag = lag(&self.panel.matrix());
        PictureRun::new(self.response, &self.played(band, temperature_c), Some(lag))
    }

    /// Data voltage of a band's resting balance: the set's own, or the drivers' where it has none.
    pub fn balance_v(&self, band: &BandOnPanel) -> f64 {
        let own = band.band.resting_balance_v;
        own.unwrap_or(self.panel.drivers.balance_v())
    }

    /// What a band plays at a temperature, °C, its clock rounded.
    pub fn played<'b>(&self, band: &'b BandOnPanel, temperature_c: f64) -> Played<'b> {
        let factor = band.band.stretch_factor(temperature_c);
        Played {
            erase: &band.band.erase,
            fields: &band.band.fields,
            ticks: band.band.row_ticks(),
            settle_ms: self.panel.drivers.field_settle_ms,
            temperature_c,
            stretch: self.panel.drivers.played(factor),
        }
    }
}

impl<'a> BandOnPanel<'a> {
    fn new(
        band: &'a Band,
        targets_lstar: &'a [f64],
        panel: &Panel,
        response: &Response,
    ) -> BandOnPanel<'a> {
        let climate = BandClimate::of(band, &panel.drivers);
        let scheme = Scheme {
            erase: band.erase.clone(),
            fields: band.fields.clone(),
        };
        let at = |temperature_c: f64| Climate {
            temperature_c,
            stretch: band.stretch_factor(temperature_c),
        };
        let entries = band.stretch.iter().map(|s| at(s.temperature_c));
        let mut stretch: Vec<Climate> = entries.collect();
        if stretch.is_empty() {
            stretch = [climate.low_c, climate.design_c, climate.high_c]
                .map(at)
                .to_vec();
            stretch.dedup();
        }
        let standing = finished(panel, response, &scheme, band.row_ticks());
        let extremes = standing.extremes(&climate, &stretch);
        let middles = extremes.lowest.iter().zip(&extremes.highest);
        let added = middles
            .zip(&band.predicted.lstar)
            .map(|((low, high), said)| said - 0.5 * (low.lstar + high.lstar));
        BandOnPanel {
            added_lstar: added.collect(),
            band,
            targets_lstar,
            climate,
            scheme,
            stretch,
            extremes,
        }
    }

    /// Lightness step of the ladder.
    pub fn step_lstar(&self) -> f64 {
        crate::design::choice::step_of(self.targets_lstar)
    }

    /// The slowest that durations are played in the band.
    pub fn longest_stretch(&self) -> f64 {
        self.climate.longest(&self.stretch)
    }

    /// The climates at the band's limits and its design temperature.
    pub fn corners(&self) -> Vec<Climate> {
        self.climate.corners(&self.stretch)
    }
}

fn finished<'b>(
    panel: &Panel,
    response: &'b Response,
    scheme: &'b Scheme,
    ticks: RowTicks<'b>,
) -> Finished<'b> {
    Finished {
        response,
        scheme,
        rows: panel.rows,
        settle_ms: panel.drivers.field_settle_ms,
        ticks,
        correction: None,
    }
}

/// How late edges come on a panel's lines: their mean delay, since that is the impulse which a pulse lacks within its own
/// time.
pub fn lag(matrix: &Matrix) -> LineLag {
    let (row, column) = (matrix.row_line(), matrix.column_line());
    let select = (0..matrix.columns).map(|c| row.elmore_s(matrix.along_row(c)));
    let data = (0..matrix.rows).map(|r| column.elmore_s(matrix.along_column(r)));
    LineLag {
        select_s: select.collect(),
        data_s: data.collect(),
    }
}
