//! Bit sets, read and written many bits at a time.

use multiversion::multiversion;

/// Bits of a word.
pub(crate) const WORD: usize = 64;

/// A line of bits, of which many can be read at once from any place on.
#[derive(Debug, Default, Clone, PartialEq)]
pub(crate) struct Bits {
    bytes: Vec<u8>,
    /// Room for bits that are to be packed.
    flags: Vec<u8>,
}

impl Bits {
    /// Bits that are read at once.
    pub const READ: usize = 56;

    /// As many as asked for, and room to read behind them; those that are there already stay.
    pub fn make_room(&mut self, bits: usize) {
        let bytes = bits.div_ceil(8) + size_of::<u64>();
        if self.bytes.len() < bytes {
            self.bytes.resize(bytes, 0);
        }
    }

    /// The bits from one on, not set behind the last; those beyond [`Bits::READ`] mean nothing.
    #[inline(always)]
    pub fn read(&self, from: usize) -> u64 {
        let word = self.bytes.get(from / 8..).and_then(|bytes| bytes.first_chunk());
        word.map_or(0, |bytes| u64::from_le_bytes(*bytes)) >> (from % 8)
    }

    /// Sets these, from the first on, and no other.
    pub fn fill(&mut self, bits: impl Iterator<Item = bool>) {
        self.flags.clear();
        self.flags.extend(bits.map(u8::from));
        self.flags.resize(self.flags.len().next_multiple_of(8), 0);
        self.bytes.clear();
        self.make_room(self.flags.len());
        pack(&self.flags, &mut self.bytes);
    }

    /// A word's worth of bits from one on, not set behind the last.
    #[inline(always)]
    pub fn word(&self, from: usize) -> u64 {
        const HALF: usize = WORD / 2;
        (self.read(from) & lowest(HALF)) | self.read(from + HALF) << HALF
    }

    /// Whether one is set.
    #[inline(always)]
    pub fn is_set(&self, bit: usize) -> bool {
        self.bytes[bit / 8] >> (bit % 8) & 1 != 0
    }

    /// The bytes from a bit on that begins one.
    pub fn bytes_from(&mut self, bit: usize) -> &mut [u8] {
        &mut self.bytes[bit / 8..]
    }
}

impl FromIterator<bool> for Bits {
    fn from_iter<I: IntoIterator<Item = bool>>(bits: I) -> Self {
        let mut line = Bits::default();
        line.fill(bits.into_iter());
        line
    }
}

/// Eight numbers, each 0 or 1, to a byte, the first lowest.
#[inline(always)]
pub(crate) fn pack(numbers: &[u8], bytes: &mut [u8]) {
    /// Moves the lowest bit of byte n to bit 56 + n, without any carry.
    const GATHER: u64 = 0x0102_0408_1020_4080;
    for (byte, numbers) in bytes.iter_mut().zip(numbers.as_chunks::<8>().0) {
        *byte = (u64::from_le_bytes(*numbers).wrapping_mul(GATHER) >> 56) as u8;
    }
}

/// The numbers of the bits that are set in a word.
#[inline(always)]
pub(crate) fn set_bits(mut word: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (word != 0).then(|| {
            let bit = word.trailing_zeros() as usize;
            word &= word - 1;
            bit
        })
    })
}

/// Which words have a bit.
#[multiversion(targets = "simd")]
pub(crate) fn with_bit(words: &[u64; WORD], bit: u32) -> u64 {
    (0..WORD).fold(0, |set, number| set | ((words[number] >> bit & 1) << number))
}

/// Which numbers are equal to one.
#[multiversion(targets = "simd")]
pub(crate) fn equal_to(numbers: &[u32; WORD], wanted: u32) -> u64 {
    (0..WORD).fold(0, |set, number| set | u64::from(numbers[number] == wanted) << number)
}

/// The lowest bits of a word, so many: all where there are more.
#[inline(always)]
pub(crate) fn lowest(count: usize) -> u64 {
    if count < WORD { (1 << count) - 1 } else { u64::MAX }
}

/// Clears words. Not a fill: for so few words the call would cost more.
#[inline(always)]
pub(crate) fn clear(words: &mut [u64]) {
    words.iter_mut().filter(|word| **word != 0).for_each(|word| *word = 0);
}

/// A set of small numbers, the least of which is taken first.
#[derive(Debug, Default, Clone)]
pub(crate) struct Numbers {
    words: Vec<u64>,
}

impl Numbers {
    /// Empties it, for numbers below `count`.
    #[inline(always)]
    pub fn clear(&mut self, count: usize) {
        self.words.resize(count.div_ceil(64), 0);
        clear(&mut self.words);
    }

    #[inline(always)]
    pub fn insert(&mut self, number: u32) {
        self.words[number as usize / 64] |= 1 << (number % 64);
    }

    /// Takes the least out.
    #[inline(always)]
    pub fn pop(&mut self) -> Option<u32> {
        for (index, word) in self.words.iter_mut().enumerate() {
            if *word != 0 {
                let bit = word.trailing_zeros();
                *word &= *word - 1;
                return Some(index as u32 * 64 + bit);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_are_read_from_any_place() {
        let is_set = |place: usize| place.is_multiple_of(3) || place % 7 == 2;
        let bits: Bits = (0..200).map(is_set).collect();
        for from in 0..200 {
            let word = bits.read(from);
            for ahead in 0..Bits::READ {
                let place = from + ahead;
                assert_eq!(word >> ahead & 1 != 0, place < 200 && is_set(place), "{from} + {ahead}");
            }
            assert_eq!(bits.is_set(from), is_set(from));
        }
        let read: Vec<usize> = set_bits(bits.read(0)).take_while(|place| *place < 10).collect();
        assert_eq!(read, [0, 2, 3, 6, 9]);
    }

    #[test]
    fn a_line_is_filled_anew() {
        let mut line = Bits::default();
        for count in [200, 3, 64] {
            line.fill((0..count).map(|place| place % 3 == 0));
            for place in 0..count + 8 {
                assert_eq!(line.is_set(place), place < count && place % 3 == 0, "{place} of {count}");
            }
            let expected = set_bits(line.word(1)).all(|bit| (bit + 1) % 3 == 0 && bit + 1 < count);
            assert!(
                expected && line.word(1).count_ones() as usize == (1..count.min(65)).filter(|n| n % 3 == 0).count()
            );
        }
    }

    #[test]
    fn words_are_compared_one_by_one() {
        let numbers: [u32; WORD] = std::array::from_fn(|number| number as u32 * number as u32 % 11);
        let words = numbers.map(|number| u64::from(number) << 40);
        for wanted in 0..11 {
            let equal: Vec<usize> = (0..WORD).filter(|number| numbers[*number] == wanted).collect();
            assert_eq!(set_bits(equal_to(&numbers, wanted)).collect::<Vec<_>>(), equal);
        }
        for bit in [39, 40, 41, 43] {
            let with: Vec<usize> = (0..WORD).filter(|number| words[*number] >> bit & 1 != 0).collect();
            assert_eq!(set_bits(with_bit(&words, bit)).collect::<Vec<_>>(), with);
        }
        assert_eq!([0, 1, 63, 64, 70].map(lowest), [0, 1, u64::MAX >> 1, u64::MAX, u64::MAX]);
    }

    #[test]
    fn numbers_come_out_in_order_and_once() {
        let mut numbers = Numbers::default();
        numbers.clear(200);
        for number in [130, 7, 64, 7, 199] {
            numbers.insert(number);
        }
        assert_eq!(std::iter::from_fn(|| numbers.pop()).collect::<Vec<_>>(), [7, 64, 130, 199]);
    }
}
