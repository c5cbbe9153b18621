//! The whole panel: every pixel of a picture, the worst of all pictures, and the figures that a set is accepted by.

mod acceptance;
mod charge;
mod crosstalk;
mod luminance;
mod maps;
mod on_panel;
mod picture_run;
mod predicted;
mod predicted_crosstalk;
mod predicted_drive;
mod pull;

pub use acceptance::{Figure, Limit, Verdict, kept};
pub use charge::{
    Balance, Shift, balance_shift, column_impulse_vs, largest_vs, picture_impulse_vs,
    resting_balance,
};
pub use crosstalk::{Pulled, extreme_contents, greedy_apart, pulling_content};
pub use luminance::luminance_series;
pub use maps::Played;
pub use on_panel::{BELONGS_LSTAR, BandOnPanel, SetOnPanel, lag};
pub use picture_run::{Before, Levels, LineLag, PictureRun};
pub use predicted::{Asked, Supply};
pub use pull::{PullPicture, worst_pull_picture};
