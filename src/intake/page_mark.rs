//! The page mark: 24 cells that name a page of a chart, and the chart itself.
//!
//! From the left, dark for 1: eleven bits of the page's number in the chart, from 1; eight bits of the chart (the lowest of
//! the CRC-32 of its file as this program writes it); five check bits (CRC-5/USB of the bytes number high, number low, chart).

use super::frame::CELLS;
use crate::project::{Chart, chart_csv};
use crc::{CRC_5_USB, CRC_32_ISO_HDLC, Crc};

const PAGE_BITS: u32 = 11;
const CHART_BITS: u32 = 8;
const CHECK_BITS: u32 = 5;
/// Pages that a mark can name.
pub const PAGES_MAX: usize = (1 << PAGE_BITS) - 1;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PageMark {
    /// Place of the page in the chart, counted from 1.
    pub number: u16,
    /// What tells one chart from another.
    pub chart: u8,
}

/// What tells a chart from others.
pub fn chart_byte(chart: &Chart) -> u8 {
    Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(chart_csv(chart).as_bytes()) as u8
}

impl PageMark {
    fn check(self) -> u32 {
        let [high, low] = self.number.to_be_bytes();
        u32::from(Crc::<u8>::new(&CRC_5_USB).checksum(&[high, low, self.chart]))
    }

    /// The cells from the left, true for dark.
    pub fn cells(self) -> [bool; CELLS] {
        let number = u32::from(self.number) & ((1 << PAGE_BITS) - 1);
        let chart = u32::from(self.chart) << CHECK_BITS;
        let bits = number << (CHART_BITS + CHECK_BITS) | chart | self.check();
        std::array::from_fn(|k| bits >> (CELLS - 1 - k) & 1 == 1)
    }

    /// The mark that cells show; `None` where their check bits don't agree or no page has that number.
    pub fn read(cells: &[bool; CELLS]) -> Option<Self> {
        let bits = cells
            .iter()
            .fold(0u32, |bits, &dark| bits << 1 | u32::from(dark));
        let mark = PageMark {
            number: (bits >> (CHART_BITS + CHECK_BITS)) as u16,
            chart: (bits >> CHECK_BITS) as u8,
        };
        (mark.number > 0 && mark.check() == bits & ((1 << CHECK_BITS) - 1)).then_some(mark)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_page_reads_back_and_an_empty_field_names_none() {
        for number in 1..=PAGES_MAX as u16 {
            let mark = PageMark {
                number,
                chart: (number % 251) as u8,
            };
            assert_eq!(PageMark::read(&mark.cells()), Some(mark));
        }
        assert_eq!(PageMark::read(&[false; CELLS]), None);
        assert_eq!(PageMark::read(&[true; CELLS]), None);
    }

    #[test]
    fn one_wrong_cell_is_noticed() {
        let mark = PageMark {
            number: 17,
            chart: 0xA5,
        };
        for k in 0..CELLS {
            let mut cells = mark.cells();
            cells[k] = !cells[k];
            assert_eq!(PageMark::read(&cells), None, "cell {k}");
        }
    }
}
