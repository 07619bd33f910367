//! The one-time codes of invitations: 80 random bits, written so that they can be read out.

use whorl_contract::key::Hash;

use crate::problem::Problem;

/// Letters and digits that nobody takes for one another when they are read out (Crockford's base 32).
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// A fresh code, in four groups of four.
///
/// # Errors
///
/// A failure of ours if the machine gives no randomness.
pub(crate) fn fresh() -> Result<String, Problem> {
    let mut random = [0; 16];
    getrandom::fill(&mut random).map_err(Problem::internal)?;
    let mut code = String::with_capacity(19);
    for (n, byte) in random.iter().enumerate() {
        if n > 0 && n % 4 == 0 {
            code.push('-');
        }
        code.push(char::from(ALPHABET[usize::from(byte % 32)]));
    }
    Ok(code)
}

/// The hash by which a code is stored. Case, dashes and spaces don't matter, nor does an O for a zero or an I for a one.
pub(crate) fn hash(code: &str) -> Hash {
    let plain: String = code
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|letter| match letter.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect();
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
        assert_eq!(letters.len(), ALPHABET.len() + 1);
    }
}
