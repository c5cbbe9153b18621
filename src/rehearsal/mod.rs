//! A test panel that stands in for glass: charts as it would show them, and what an instrument would read.
//!
//! Not the model that is fitted: pigment of several populations drifts and diffuses across well, barrier and window
//! ([`transport`]), and the window absorbs by Beer–Lambert. Drift–diffusion holds for reversals below about 10 V in
//! n-dodecane; above, flow of the liquid makes switching faster (Prasad et al., J. Colloid Interface Sci. 2015).

mod instrument;
mod layout;
pub mod liquid;
pub mod panel_file;
mod propagator;
mod refresh;
mod rehearse;
mod test_panel;
pub mod transport;

pub use instrument::Instrument;
pub use propagator::{Amounts, Powers, Propagator};
pub use rehearse::Start;
pub use test_panel::{Gap, History, Liquid, Optics, Population, Region, TestPanel};
