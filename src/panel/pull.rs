//! The picture that pulls one level farthest apart, beside the bound over all pictures.

use super::crosstalk::{extreme_contents, pulling_content};
use super::on_panel::{BandOnPanel, SetOnPanel};
use crate::design::reach::Climate;

/// Two halves of a panel: in one row both show the same level, the other rows pull it lightest on the left and darkest on
/// the right.
#[derive(Debug, Clone, PartialEq)]
pub struct PullPicture {
    pub level: usize,
    pub row: usize,
    /// What the level shows, from the dark panel, its lines answering at once.
    pub lightest_lstar: f64,
    pub darkest_lstar: f64,
    /// Most that any picture can pull it apart.
    pub bound_lstar: f64,
    /// Row by row.
    pub levels: Vec<u16>,
}

/// That of a band at a temperature, °C, for the level and row that the bound is largest for.
pub fn worst_pull_picture(
    standing: &SetOnPanel,
    band: &BandOnPanel,
    temperature_c: f64,
) -> PullPicture {
    let played = standing.played(band, temperature_c);
    let (rows, columns) = (standing.panel.rows, standing.panel.columns);
    let climate = Climate {
        temperature_c,
        stretch: played.stretch,
    };
    let contents = extreme_contents(played.fields, played.ticks, rows);
    let apart = standing
        .finished(band)
        .contents_apart(&[climate], &contents);
    let worst = (0..apart.len())
        .max_by(|&a, &b| apart[a].size_lstar().total_cmp(&apart[b].size_lstar()))
        .unwrap_or(0);
    let (row, bound_lstar) = apart
        .get(worst)
        .map_or((0, f64::NAN), |a| (a.row, a.size_lstar()));
    let pulled =
        |darkest: bool| pulling_content(standing.response, &played, rows, (row, worst), darkest);
    let (light, dark) = (pulled(false), pulled(true));
    let pixel = |i: usize| {
        let half = if i % columns < columns / 2 {
            &light
        } else {
            &dark
        };
        half.content[i / columns]
    };
    let added = band.added_lstar[worst];
    PullPicture {
        level: worst,
        row,
        lightest_lstar: light.lstar + added,
        darkest_lstar: dark.lstar + added,
        bound_lstar,
        levels: (0..rows * columns).map(pixel).collect(),
    }
}
