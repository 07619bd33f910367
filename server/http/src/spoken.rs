//! Codes that people read out to each other.

/// Letters and digits that nobody takes for one another when they are read out (Crockford's base 32).
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// Each character stands for so many bits.
const BITS: u32 = 5;

/// So many characters stand together.
const GROUP: u32 = 4;

/// The lowest bits of a number, five to a character, in groups of four.
pub(crate) fn write(bits: u128, characters: u32) -> String {
    let mut code = String::new();
    for left in (0..characters).rev() {
        let [lowest, ..] = (bits >> (BITS * left)).to_le_bytes();
        code.push(char::from(ALPHABET[usize::from(lowest & 31)]));
        if left > 0 && left % GROUP == 0 {
            code.push('-');
        }
    }
    code
}

/// The letters and digits of a code that somebody typed. Case, dashes and spaces don't matter, nor does an O for a zero or an
/// I for a one.
pub(crate) fn plain(code: &str) -> String {
    let letters = code.chars().filter(char::is_ascii_alphanumeric);
    letters
        .map(|letter| match letter.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect()
}

/// The number that [`write()`] wrote with so many characters.
pub(crate) fn read(code: &str, characters: u32) -> Option<u128> {
    let plain = plain(code);
    if u32::try_from(plain.len()) != Ok(characters) {
        return None;
    }
    plain.bytes().try_fold(0, |bits, letter| {
        let five = ALPHABET.iter().position(|one| *one == letter)?;
        Some((bits << BITS) | u128::try_from(five).ok()?)
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn codes_use_the_whole_alphabet_in_groups_of_four() {
        let firsts = (0..24).fold(0_u128, |bits, five| (bits << 5) | five);
        assert_eq!(write(firsts, 24), "0123-4567-89AB-CDEF-GHJK-MNPQ");
        let lasts = (24..32).fold(0_u128, |bits, five| (bits << 5) | five);
        assert_eq!(write(lasts, 8), "RSTV-WXYZ");
        assert_eq!(write(u128::MAX, 4), "ZZZZ");
        assert_eq!(write(0, 6), "00-0000");
    }

    #[test]
    fn what_is_no_such_code_is_not_read() {
        for wrong in ["", "BCDF-GHJ", "BCDF-GHJKM", "BCDF-GHJU", "ÄCDF-GHJK"] {
            assert_eq!(read(wrong, 8), None, "{wrong}");
        }
    }

    proptest! {
        /// However it is typed.
        #[test]
        fn a_code_survives_being_read_out(bits in 0_u128..1 << 120) {
            let code = write(bits, 24);
            prop_assert_eq!(code.len(), 29);
            prop_assert_eq!(read(&code, 24), Some(bits));
            let heard = code.to_lowercase().replace('-', " ").replace('0', "o").replace('1', "l");
            prop_assert_eq!(read(&heard, 24), Some(bits));
        }
    }
}
