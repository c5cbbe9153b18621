//! The bytes of an image back to tables, refusing whatever is not exactly what was written.

use super::write::with_notes;
use super::{HEADER, MAGIC, MIRRORED, STEPPED};
use crate::emit::bits::{Bytes, width_of};
use crate::emit::describe::TABLE_VERSION_MAX;
use crate::emit::fault::LIST_MAX;
use crate::emit::hash::crc32;
use crate::emit::tables::{
    BalanceTable, BandTable, FieldTable, Rail, StretchTable, StrokeTable, Tables, ZoneTable,
};
use crate::waveforms::LEVELS;

/// Why bytes are no image.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ImageError {
    #[error("{0} bytes: expected at least the {HEADER} of an image's header")]
    Short(usize),
    #[error("it begins with {0:02X?}: expected {MAGIC:02X?}, the first bytes of a greyloom image")]
    Magic([u8; 4]),
    #[error(
        "the header's CRC-32 is 0x{found:08X}: expected 0x{expected:08X}; the header is damaged"
    )]
    HeaderCrc { found: u32, expected: u32 },
    #[error(
        "table version {0}: expected 1 to {TABLE_VERSION_MAX}, those that this program reads; a newer greyloom wrote it"
    )]
    Version(u16),
    #[error("{found} bytes: expected {expected}, as its header tells; {}", cut_or_longer(*found, *expected))]
    Length { found: usize, expected: usize },
    #[error("the body's CRC-32 is 0x{found:08X}: expected 0x{expected:08X}; the body is damaged")]
    BodyCrc { found: u32, expected: u32 },
    #[error("{0}: expected as the layout has it")]
    Layout(String),
    #[error("{0}")]
    Content(String),
    #[error(
        "it holds the same table in other bytes: expected the shortest, as this program writes them"
    )]
    Form,
}

fn cut_or_longer(found: usize, expected: usize) -> &'static str {
    if found < expected {
        "its end is missing"
    } else {
        "something stands behind its end"
    }
}

/// A table and the notes of its image.
///
/// # Errors
/// [`ImageError`] where a single bit differs from what [`super::image`] or [`super::packed_image`] writes for the
/// table that is returned.
pub fn read_image(bytes: &[u8]) -> Result<(Tables, String), ImageError> {
    let header = bytes
        .first_chunk::<HEADER>()
        .ok_or(ImageError::Short(bytes.len()))?;
    let header = Header(header);
    header.check(bytes)?;
    let body = &bytes[HEADER..];
    let (tables, notes) = header.tables(body)?;
    match tables.fault() {
        Some(fault) => Err(ImageError::Content(fault)),
        None if with_notes(&tables, &notes) != bytes => Err(ImageError::Form),
        None => Ok((tables, notes)),
    }
}

struct Header<'a>(&'a [u8; HEADER]);

impl Header<'_> {
    fn u16(&self, at: usize) -> u16 {
        u16::from_le_bytes([self.0[at], self.0[at + 1]])
    }

    fn u32(&self, at: usize) -> u32 {
        u32::from(self.u16(at)) | u32::from(self.u16(at + 2)) << 16
    }

    /// Magic, both CRCs, version and length.
    fn check(&self, bytes: &[u8]) -> Result<(), ImageError> {
        let magic = [self.0[0], self.0[1], self.0[2], self.0[3]];
        if magic != MAGIC {
            return Err(ImageError::Magic(magic));
        }
        let (expected, found) = (self.u32(28), crc32(&self.0[..28]));
        if found != expected {
            return Err(ImageError::HeaderCrc { found, expected });
        }
        if !(1..=TABLE_VERSION_MAX).contains(&self.u16(4)) {
            return Err(ImageError::Version(self.u16(4)));
        }
        let (expected, found) = (self.u32(8) as usize, bytes.len());
        if found != expected {
            return Err(ImageError::Length { found, expected });
        }
        let (expected, found) = (self.u32(24), crc32(&bytes[HEADER..]));
        if found != expected {
            return Err(ImageError::BodyCrc { found, expected });
        }
        Ok(())
    }

    fn tables(&self, body: &[u8]) -> Result<(Tables, String), ImageError> {
        let mut body = Bytes(body);
        let mut section = |name: &str| body.section().ok_or_else(|| layout(name));
        let panel = text(section("panel")?, "panel")?;
        let notes = text(section("notes")?, "notes")?;
        let row_rails = row_rails(section("row rails")?).ok_or_else(|| layout("row rails"))?;
        let column_rails =
            column_rails(section("column rails")?).ok_or_else(|| layout("column rails"))?;
        let levels = usize::from(self.u16(6));
        if !LEVELS.contains(&levels) {
            return Err(ImageError::Content(format!(
                "{levels} levels: expected 2 to 256"
            )));
        }
        let bands = usize::from(self.u16(20));
        if bands > LIST_MAX {
            let fault = format!("{bands} bands: expected 1 to {LIST_MAX}");
            return Err(ImageError::Content(fault));
        }
        let targets = section("targets")?;
        let targets_lstar_100 = ladder(targets, levels).ok_or_else(|| layout("targets"))?;
        let erases = erases(section("erases")?).ok_or_else(|| layout("erases"))?;
        let mut tables = Tables {
            panel,
            rows: self.u16(16),
            columns: self.u16(18),
            levels: self.u16(6),
            parameter_hash: self.u32(12),
            hysteresis_16: self.u16(22),
            row_rails,
            column_rails,
            targets_lstar_100,
            bands: Vec::new(),
        };
        for i in 0..bands {
            let name = format!("band {i}");
            let bytes = section(&name)?;
            let band = Reader {
                tables: &tables,
                erases: &erases,
                zoned: self.u16(4) > 1,
                bytes,
            }
            .band();
            tables.bands.push(band.ok_or_else(|| layout(&name))?);
        }
        if body.0.is_empty() {
            Ok((tables, notes))
        } else {
            Err(layout("bytes behind the last band"))
        }
    }
}

fn layout(name: &str) -> ImageError {
    ImageError::Layout(name.to_owned())
}

fn text(bytes: Bytes, name: &str) -> Result<String, ImageError> {
    let text = std::str::from_utf8(bytes.0).map_err(|_| layout(name))?;
    Ok(text.to_owned())
}

fn row_rails(mut bytes: Bytes) -> Option<Vec<Rail>> {
    let mut rails = Vec::new();
    while !bytes.0.is_empty() {
        rails.push(Rail {
            mv: bytes.signed()?,
            code: bytes.narrow()?,
        });
    }
    Some(rails)
}

fn column_rails(mut bytes: Bytes) -> Option<Vec<Rail>> {
    let code = bytes.narrow()?;
    let mut rails = vec![Rail { mv: 0, code }];
    while !bytes.0.is_empty() {
        let mv = i32::try_from(bytes.number()?).ok()?;
        for mv in [mv, -mv] {
            let code = bytes.narrow()?;
            rails.push(Rail { mv, code });
        }
    }
    Some(rails)
}

fn ladder(mut bytes: Bytes, levels: usize) -> Option<Vec<u16>> {
    let targets = bytes.steps(levels)?;
    bytes.0.is_empty().then_some(targets)
}

/// The strokes of a band, and its rest.
struct Erase {
    rest_ticks: u32,
    strokes: Vec<StrokeTable>,
}

fn erases(mut bytes: Bytes) -> Option<Vec<Erase>> {
    let mut erases = Vec::new();
    while !bytes.0.is_empty() {
        let mut own = bytes.section()?;
        let rest_ticks = own.number()?;
        let stroke = |own: &mut Bytes| {
            Some(StrokeTable {
                row_rail: own.narrow()?,
                ticks: own.number()?,
            })
        };
        let count = own.count()?;
        let strokes = (0..count)
            .map(|_| stroke(&mut own))
            .collect::<Option<_>>()?;
        erases.push(Erase {
            rest_ticks,
            strokes,
        });
        if !own.0.is_empty() {
            return None;
        }
    }
    Some(erases)
}

/// Reads a band of a table whose rails are known.
struct Reader<'a> {
    tables: &'a Tables,
    erases: &'a [Erase],
    /// Whether each band tells zones of rows.
    zoned: bool,
    bytes: Bytes<'a>,
}

impl Reader<'_> {
    fn band(mut self) -> Option<BandTable> {
        let low = self.bytes.signed()?;
        let high = low.checked_add_unsigned(self.bytes.number()?)?;
        let [refresh_ms, tick_us, settle_ticks, erase, step] =
            [(); 5].map(|()| self.bytes.number());
        let erase = self.erases.get(erase? as usize)?;
        let balance = match step? {
            0 => None,
            step => Some(BalanceTable {
                column_pair: self.bytes.narrow()?,
                step,
            }),
        };
        let levels = usize::from(self.tables.levels);
        let stretch = self.stretch()?;
        let own = self.bytes.section()?;
        let targets_lstar_100 = match own.0.is_empty() {
            true => None,
            false => Some(ladder(own, levels)?),
        };
        let mut zones = self.zones()?;
        let fields = self.list(|r| r.field(&mut zones))?;
        let alike = zones.len() == 1;
        let ticks = zones.pop_if(|_| alike).map_or(Vec::new(), |z| z.ticks);
        let band = BandTable {
            low_16: i16::try_from(low).ok()?,
            high_16: i16::try_from(high).ok()?,
            refresh_ms: refresh_ms?,
            tick_us: tick_us?,
            settle_ticks: settle_ticks?,
            rest_ticks: erase.rest_ticks,
            balance,
            stretch,
            targets_lstar_100,
            strokes: erase.strokes.clone(),
            fields,
            ticks,
            zones,
        };
        self.bytes.0.is_empty().then_some(band)
    }

    fn list<T>(&mut self, mut entry: impl FnMut(&mut Self) -> Option<T>) -> Option<Vec<T>> {
        let count = self.bytes.count()?;
        (0..count).map(|_| entry(self)).collect()
    }

    fn stretch(&mut self) -> Option<Vec<StretchTable>> {
        let mut before: Option<i32> = None;
        self.list(|r| {
            let temperature = match before {
                None => r.bytes.signed()?,
                Some(t) => t.checked_add_unsigned(r.bytes.number()?)?,
            };
            before = Some(temperature);
            Some(StretchTable {
                temperature_16: i16::try_from(temperature).ok()?,
                factor_4096: r.bytes.narrow()?,
            })
        })
    }

    /// The rows of each zone, without ticks yet; one zone where all rows are alike.
    fn zones(&mut self) -> Option<Vec<ZoneTable>> {
        let (rows, levels) = (self.tables.rows, usize::from(self.tables.levels));
        let rows: Vec<u16> = match self.zoned {
            true => self.list(|r| r.bytes.narrow())?,
            false => vec![rows],
        };
        let mut next: u16 = 0;
        let zone = |rows: u16| {
            let row_first = next;
            next = next.checked_add(rows)?;
            Some(ZoneTable {
                row_first,
                row_last: next.checked_sub(1)?,
                ticks: vec![Vec::new(); levels],
            })
        };
        rows.into_iter().map(zone).collect()
    }

    fn field(&mut self, zones: &mut [ZoneTable]) -> Option<FieldTable> {
        let row_rail: u16 = self.bytes.narrow()?;
        let rail = self.tables.row_rails.get(usize::from(row_rail))?;
        let sign = if rail.mv < 0 { -1 } else { 1 };
        let mut field = FieldTable {
            row_rail,
            column_pair: self.bytes.narrow()?,
            tick_us: self.bytes.number()?,
            slot_ticks: self.bytes.narrow()?,
            guard_ticks: self.bytes.narrow()?,
            mirrored: false,
            gain: 0,
        };
        let flags = self.bytes.number()?;
        if flags > MIRRORED | STEPPED {
            return None;
        }
        field.mirrored = flags & MIRRORED != 0;
        field.gain = i32::try_from(self.bytes.number()?).ok()? * sign;
        let mut stepped = Some(flags & STEPPED != 0);
        for zone in zones {
            let stepped = match stepped.take() {
                Some(first) => first,
                None => self.bytes.number()? != 0,
            };
            self.ticks(&field, stepped, &mut zone.ticks)?;
        }
        Some(field)
    }

    /// Puts a field's ticks behind those that each level has.
    fn ticks(&mut self, field: &FieldTable, stepped: bool, levels: &mut [Vec<u16>]) -> Option<()> {
        let packed = if stepped {
            self.bytes.steps(levels.len())?
        } else {
            let width = width_of(field.slot_ticks);
            self.bytes.packed(width, levels.len())?
        };
        let each = levels.iter_mut().zip(packed);
        each.for_each(|(row, t)| row.push(t));
        Some(())
    }
}
