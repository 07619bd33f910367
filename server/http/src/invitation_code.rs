//! The one-time codes of invitations: 80 random bits, written so that they can be read out.

use whorl_contract::key::Hash;

use crate::problem::Problem;
use crate::{keys, spoken};

/// So long a code is.
const CHARACTERS: u32 = 16;

/// A fresh code.
///
/// # Errors
///
/// A failure of ours if the machine gives no randomness.
pub(crate) fn fresh() -> Result<String, Problem> {
    let random = keys::random().map_err(Problem::internal)?;
    Ok(spoken::write(u128::from_be_bytes(random), CHARACTERS))
}

/// The hash by which a code is stored, however it was typed.
pub(crate) fn hash(code: &str) -> Hash {
    let plain = spoken::plain(code);
    Hash::of(&[b"whorl/invitation/1\0", plain.as_bytes()])
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn a_code_survives_being_read_out() {
        let written = hash("BCDF-GHJK-MN0Q-RST1");
        assert_eq!(written, hash("bcdf ghjk mnoq rstl"));
        assert_eq!(written, hash("BCDFGHJKMNOQRSTI"));
        assert_ne!(written, hash("BCDF-GHJK-MN0Q-RST2"));
    }

    #[test]
    fn codes_differ_and_use_the_whole_alphabet() {
        let codes: BTreeSet<String> = (0..500).map(|_| fresh().expect("random bytes")).collect();
        assert_eq!(codes.len(), 500);
        assert!(codes.iter().all(|code| code.len() == 19));
        let letters: BTreeSet<u8> = codes.iter().flat_map(|code| code.bytes()).collect();
        // All 32, and the dash.
        assert_eq!(letters.len(), 33);
    }
}
