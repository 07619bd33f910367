//! Words and dates as pages write them.

use chrono::{DateTime, Datelike, FixedOffset, NaiveDate};
use maud::{Markup, html};
use whorl_care::horse::Horse as Profile;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::sentence::{self, capital, counted, words};
use whorl_care::when::PartialDate;

/// A kind as a heading.
pub(super) fn kind(kind: Kind) -> String {
    capital(&words(kind.code()))
}

/// A role as people say it.
pub(super) fn role(role: Role) -> &'static str {
    match role {
        Role::Owner => "owner",
        Role::BarnStaff => "barn staff",
        Role::Farrier => "farrier",
        Role::Vet => "vet",
    }
}

/// How an entry came to be, before the author's name.
pub(super) fn provenance(grade: Provenance) -> &'static str {
    match grade {
        Provenance::Attested => "Attested",
        Provenance::Recorded => "Recorded",
        Provenance::Transcribed => "Copied from paper",
    }
}

/// A day: 4 March 2027.
pub(super) fn day(day: NaiveDate) -> Markup {
    html! { time datetime=(day.to_string()) { (sentence::day(day)) } }
}

/// A day and an hour, by the wall clock where it was, and which clock that is.
pub(super) fn instant(at: DateTime<FixedOffset>) -> Markup {
    html! { time datetime=(at.to_rfc3339()) { (sentence::instant(at)) } }
}

/// A text of ours as a sentence for a page: a capital letter, a full stop, days as people write them, and no marks of code.
pub(super) fn told(text: &str) -> String {
    let mut open = false;
    let quoted = text.chars().map(|letter| {
        open ^= letter == '`';
        match (letter, open) {
            ('`', true) => '“',
            ('`', false) => '”',
            _ => letter,
        }
    });
    let text = capital(&sentence::with_days(&quoted.collect::<String>()));
    if text.ends_with(['.', '!', '?']) {
        text
    } else {
        text + "."
    }
}

/// What a horse is called; one whose name isn't known yet is told from others by the end of its id.
pub(super) fn horse_name(horse: &whorl_contract::horse::Horse) -> String {
    let name = horse.profile.name.clone();
    name.or_else(|| horse.profile.registered_name.clone())
        .unwrap_or_else(|| {
            let id = horse.id.to_string();
            let tail = id.get(id.len().saturating_sub(6)..).unwrap_or_default();
            format!("Horse without a name ({tail})")
        })
}

/// A horse in a line: "bay mare, 11 years, light".
pub(super) fn horse_line(profile: &Profile, on: NaiveDate) -> String {
    let sex = profile.sex.map(whorl_care::horse::Sex::code);
    let colour = profile.colour.as_deref();
    let looks: Vec<&str> = [colour, sex].into_iter().flatten().collect();
    let looks = Some(looks.join(" ")).filter(|text| !text.is_empty());
    let age = profile.foaled_on.and_then(|foaled| age(foaled, on));
    let build = profile.breed_type.map(|build| words(build.code()));
    let parts: Vec<String> = [looks, age, build].into_iter().flatten().collect();
    capital(&parts.join(", "))
}

/// An age in whole years, or in months below two years; as exact as the birth date.
fn age(foaled: PartialDate, on: NaiveDate) -> Option<String> {
    let from = foaled.earliest();
    let months = (on.year() - from.year()) * 12 + i32::try_from(on.month0()).ok()?
        - i32::try_from(from.month0()).ok()?
        - i32::from(on.day() < from.day());
    if months < 0 {
        return None;
    }
    if foaled.exact().is_none() {
        return Some(format!("foaled {foaled}"));
    }
    Some(match (months / 12, months) {
        (0, 0) => "under a month".to_owned(),
        (0 | 1, months) => counted(months, "month", "months"),
        (years, _) => counted(years, "year", "years"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_we_say_is_a_sentence_with_days_as_people_write_them() {
        for (text, wanted) in [
            (
                "the dose of 2026-09-30 is too fresh",
                "The dose of 30 September 2026 is too fresh.",
            ),
            ("`x` is no day", "“x” is no day."),
            ("Ask!", "Ask!"),
        ] {
            assert_eq!(told(text), wanted);
        }
    }

    #[test]
    fn an_age_is_told_in_months_and_then_in_years() {
        let on: NaiveDate = "2027-03-04".parse().expect("a day");
        let told = |foaled: &str| age(foaled.parse().expect("a date"), on);
        for (foaled, wanted) in [
            ("2027-02-05", "under a month"),
            ("2027-02-04", "1 month"),
            ("2025-03-05", "23 months"),
            ("2025-03-04", "2 years"),
            ("2016-04-19", "10 years"),
            ("2016", "foaled 2016"),
        ] {
            assert_eq!(told(foaled).as_deref(), Some(wanted), "{foaled}");
        }
        assert_eq!(told("2027-04-01"), None);
    }
}
