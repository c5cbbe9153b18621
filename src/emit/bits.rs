//! Numbers of few bits, and numbers of as many bytes as they need.

use super::fault::LIST_MAX;

/// Appends LEB128: seven bits a byte, lowest first, the highest bit set where more follow.
pub(super) fn put_number(out: &mut Vec<u8>, mut value: u32) {
    while value > 0x7F {
        out.push(value as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

/// A signed number with its sign in the lowest bit: 0, −1, 1, −2 become 0, 1, 2, 3.
pub(super) fn put_signed(out: &mut Vec<u8>, value: i32) {
    put_number(out, ((value << 1) ^ (value >> 31)) as u32);
}

/// The fewest bits that hold `most`.
pub(super) fn width_of(most: u16) -> u32 {
    16 - most.leading_zeros()
}

/// Appends numbers of `width` bits each, lowest bit first, zeros in what is left of the last byte.
pub(super) fn put_packed(out: &mut Vec<u8>, width: u32, values: impl IntoIterator<Item = u16>) {
    let (mut held, mut bits) = (0u32, 0);
    for value in values {
        held |= u32::from(value) << bits;
        bits += width;
        while bits >= 8 {
            out.push(held as u8);
            held >>= 8;
            bits -= 8;
        }
    }
    if bits > 0 {
        out.push(held as u8);
    }
}

/// Appends numbers by their steps: the first, the least step, the width of a step less the least, then those. `None`
/// where a step less the least does not fit 16 bits.
pub(super) fn by_steps(values: &[u16]) -> Option<Vec<u8>> {
    let steps = || values.windows(2).map(|v| i32::from(v[1]) - i32::from(v[0]));
    let least = steps().min()?;
    let above = steps().map(|step| u16::try_from(step - least).ok());
    let above: Vec<u16> = above.collect::<Option<_>>()?;
    let width = width_of(above.iter().copied().max()?);
    let mut out = Vec::new();
    put_number(&mut out, values.first().copied()?.into());
    put_signed(&mut out, least);
    put_number(&mut out, width);
    put_packed(&mut out, width, above);
    Some(out)
}

/// Bytes read in order; every way of reading gives `None` beyond their end.
#[derive(Debug, Clone)]
pub(super) struct Bytes<'a>(pub &'a [u8]);

impl<'a> Bytes<'a> {
    pub fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (head, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(head)
    }

    pub fn byte(&mut self) -> Option<u8> {
        self.take(1).map(|b| b[0])
    }

    /// LEB128 of at most 32 bits.
    pub fn number(&mut self) -> Option<u32> {
        let mut value = 0u64;
        for shift in (0..35).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7F) << shift;
            if byte & 0x80 == 0 {
                return u32::try_from(value).ok();
            }
        }
        None
    }

    pub fn signed(&mut self) -> Option<i32> {
        let raw = self.number()?;
        Some((raw >> 1) as i32 ^ -((raw & 1) as i32))
    }

    /// A number that fits a narrower type.
    pub fn narrow<T: TryFrom<u32>>(&mut self) -> Option<T> {
        T::try_from(self.number()?).ok()
    }

    /// A count of entries that follow, no more than a table may have.
    pub fn count(&mut self) -> Option<usize> {
        let count = self.number()? as usize;
        (count <= LIST_MAX).then_some(count)
    }

    /// A section: its length, then so many bytes.
    pub fn section(&mut self) -> Option<Bytes<'a>> {
        let length = self.number()?;
        self.take(length as usize).map(Bytes)
    }

    /// `count` numbers, 1 or more, as [`by_steps`] writes them.
    pub fn steps(&mut self, count: usize) -> Option<Vec<u16>> {
        let mut value: u16 = self.narrow()?;
        let least = self.signed()?;
        let width = self.number()?;
        let mut values = vec![value];
        for above in self.packed(width, count.checked_sub(1)?)? {
            let next = i32::from(value).checked_add(least)?;
            value = u16::try_from(next.checked_add(above.into())?).ok()?;
            values.push(value);
        }
        Some(values)
    }

    /// `count` numbers of `width` bits, 0…16.
    pub fn packed(&mut self, width: u32, count: usize) -> Option<Vec<u16>> {
        if width > 16 {
            return None;
        }
        let bytes = self.take((width as usize * count).div_ceil(8))?;
        let (mut held, mut bits, mut next) = (0u32, 0, bytes.iter());
        let mut one = || {
            while bits < width {
                held |= u32::from(*next.next()?) << bits;
                bits += 8;
            }
            let value = held & ((1 << width) - 1);
            held >>= width;
            bits -= width;
            Some(value as u16)
        };
        (0..count).map(|_| one()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_back() {
        let numbers = [0, 1, 127, 128, 300, 16_383, 16_384, u32::MAX];
        let signs = [0, -1, 1, 18_000, -18_000, i32::MAX, i32::MIN];
        let mut out = Vec::new();
        numbers.iter().for_each(|n| put_number(&mut out, *n));
        signs.iter().for_each(|n| put_signed(&mut out, *n));
        let mut bytes = Bytes(&out);
        assert!(numbers.iter().all(|n| bytes.number() == Some(*n)));
        assert!(signs.iter().all(|n| bytes.signed() == Some(*n)));
        assert_eq!(bytes.byte(), None);
        // 300 is AC 02 (protocol buffers' documentation, from memory).
        assert_eq!(out[5..7], [0xAC, 0x02]);
    }

    #[test]
    fn what_is_too_long_is_no_number() {
        assert_eq!(Bytes(&[0xFF; 8]).number(), None);
        assert_eq!(Bytes(&[0x80]).number(), None);
        assert_eq!(Bytes(&[0xFF, 0xFF, 0xFF, 0xFF, 0x1F]).number(), None);
        assert_eq!(Bytes(&[5, 1, 2]).section().map(|b| b.0.len()), None);
    }

    #[test]
    fn packed_numbers_come_back() {
        for (width, values) in [
            (0, vec![0; 9]),
            (3, vec![6, 1, 0, 7, 5]),
            (16, vec![65_535, 1]),
        ] {
            let mut out = Vec::new();
            put_packed(&mut out, width, values.iter().copied());
            assert_eq!(out.len(), (width as usize * values.len()).div_ceil(8));
            assert_eq!(Bytes(&out).packed(width, values.len()), Some(values));
        }
        for values in [
            vec![85, 81, 76, 72, 72],
            vec![4445, 4581, 4718],
            vec![0, 65_535],
            vec![3, 3],
        ] {
            let out = by_steps(&values).expect("it fits");
            assert_eq!(Bytes(&out).steps(values.len()), Some(values));
        }
        assert_eq!(by_steps(&[0, 65_535, 0]), None);
        assert_eq!((width_of(0), width_of(86), width_of(u16::MAX)), (0, 7, 16));
    }
}
