//! Transponder numbers of the ISO 11784 form.

use serde::Deserialize;

use crate::rules::{Header, Mark, Pack, Source, row, tables};

/// A prefix, or a range of them.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Prefix {
    /// The rule's name.
    pub id: String,
    /// Where it is stated.
    pub source: String,
    /// The edition of the source.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
    /// Whether a number with it can be an animal's.
    pub accepted: bool,
    /// What it stands for, in words.
    pub meaning: String,
    /// The prefixes, one by one.
    #[serde(default)]
    pub numbers: Vec<u16>,
    /// The first of a range.
    pub from: Option<u16>,
    /// The last of a range.
    pub until: Option<u16>,
}
row!(Prefix);

impl Prefix {
    fn covers(&self, number: u16) -> bool {
        let in_range = |from: u16, until: u16| (from..=until).contains(&number);
        self.numbers.contains(&number)
            || matches!((self.from, self.until), (Some(from), Some(until)) if in_range(from, until))
    }
}

/// The rules on transponder numbers.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MicrochipPack {
    pack: Header,
    #[serde(rename = "source")]
    sources: Vec<Source>,
    /// What the prefixes stand for.
    #[serde(rename = "prefix")]
    pub prefixes: Vec<Prefix>,
}

impl Pack for MicrochipPack {
    const SUBJECT: &'static str = "microchip";
    const BUILT_IN: &'static str = include_str!("../rules/microchip.toml");

    tables!(pack, sources; prefixes);
}

/// The largest national number: 38 bits.
const LARGEST: u64 = (1 << 38) - 1;

/// Checks a number as it is shown: 15 digits. Says what its prefix stands for.
///
/// There is no check digit: a typing slip in the last twelve digits can't be seen.
///
/// # Errors
///
/// What is wrong with it, in words.
pub fn check<'a>(chip: &str, pack: &'a MicrochipPack) -> Result<&'a Prefix, String> {
    let digits = chip.bytes().filter(u8::is_ascii_digit).count();
    if digits != 15 || chip.len() != 15 {
        return Err(format!(
            "`{chip}`: a microchip number has 15 digits and nothing else; older chips of 9 or 10 characters are not of \
             the ISO form"
        ));
    }
    let (prefix, national) = chip.split_at(3);
    if national.parse::<u64>().is_ok_and(|number| number > LARGEST) {
        return Err(format!(
            "`{chip}`: no chip holds {national}, the last twelve digits go up to {LARGEST}; read the chip again"
        ));
    }
    let known = prefix
        .parse::<u16>()
        .ok()
        .and_then(|number| pack.prefixes.iter().find(|row| row.covers(number)));
    match known {
        Some(row) if row.accepted => Ok(row),
        Some(row) => Err(format!("`{chip}`: {}", row.meaning)),
        None => Err(format!(
            "`{chip}` begins with {prefix}, which is neither a country's number nor a maker's"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::parse;

    /// Forms and prefixes from ICAR's pages and ISO 3166-1; the numbers themselves are invented.
    #[test]
    fn tells_a_chip_from_what_is_none() {
        let pack: MicrochipPack = parse("microchip", MicrochipPack::BUILT_IN).expect("built in");
        for (chip, meaning) in [
            ("840003123456789", "country"),
            ("276098106123456", "country"),
            ("900215001234567", "shared-maker"),
            ("985112003456789", "maker"),
            ("004274877906943", "country"),
        ] {
            assert_eq!(check(chip, &pack).map(|row| row.id.as_str()), Ok(meaning));
        }
        for chip in [
            "84000312345678",
            "8400031234567890",
            "84000312345678A",
            "999000000000001",
            "000000000000001",
            "003000000000001",
            "840274877906944",
            "4A5B6C7D8E",
            "",
        ] {
            assert!(check(chip, &pack).is_err(), "{chip}");
        }
    }
}
