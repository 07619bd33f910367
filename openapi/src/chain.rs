//! The hash chain over a horse's log: any change, loss or swap of an event changes every later head.

use whorl_care::ids::HorseId;

use crate::key::Hash;

/// The head of the empty log of a horse; it names the horse, so that no two logs share a head.
#[must_use]
pub fn start(horse: HorseId) -> Hash {
    Hash::of(&[b"whorl/log/1\0", horse.0.as_bytes()])
}

/// The head after one more event: SHA-256 over 0x01, the head before, and the event's leaf.
#[must_use]
pub fn next(head: &Hash, leaf: &Hash) -> Hash {
    Hash::of(&[&[1], &head.0, &leaf.0])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_matters_and_so_does_the_horse() {
        let horse = HorseId(uuid::Uuid::from_u128(1));
        let (one, two) = (Hash::of(&[b"one"]), Hash::of(&[b"two"]));
        let forth = next(&next(&start(horse), &one), &two);
        let back = next(&next(&start(horse), &two), &one);
        assert_ne!(forth, back);
        assert_ne!(start(horse), start(HorseId(uuid::Uuid::from_u128(2))));
    }
}
