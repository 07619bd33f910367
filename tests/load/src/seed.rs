//! Numbers that look random and are the same for the same seed on every machine.

use uuid::Uuid;

/// A stream of numbers (`SplitMix64`; Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seed(u64);

impl Seed {
    /// The stream of a seed, of a purpose, and of a number within it: no two of them run together.
    pub(crate) fn new(seed: u64, purpose: u64, number: u64) -> Self {
        let mut stream = Self(seed ^ purpose.rotate_left(32));
        stream.0 = stream.next() ^ number;
        stream.next();
        stream
    }

    /// The next number.
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `end`.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end.max(1)
    }

    /// So many bytes.
    pub(crate) fn bytes<const N: usize>(&mut self) -> [u8; N] {
        let mut bytes = [0; N];
        for part in bytes.chunks_mut(8) {
            part.copy_from_slice(&self.next().to_le_bytes()[..part.len()]);
        }
        bytes
    }

    /// An id that sorts by `millis`.
    pub(crate) fn id<T: From<Uuid>>(&mut self, millis: u64) -> T {
        let id = uuid::Builder::from_unix_timestamp_millis(millis, &self.bytes());
        id.into_uuid().into()
    }
}
