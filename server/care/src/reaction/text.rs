//! The report as plain text: for a letter, a form, or a mail to maker and authority.

use std::fmt::Write as _;

use chrono::{DateTime, FixedOffset};

use super::{Given, Report};
use crate::sentence::{counted, words};
use crate::unit::plain;

/// What stands where the record is silent.
const NOT_RECORDED: &str = "not recorded";

/// The report, a fact on each line.
#[must_use]
pub fn text(report: &Report) -> String {
    let mut page = Page::default();
    page.head("REPORT OF AN ADVERSE REACTION (horse)");
    page.fact("Event", Some(report.event_id.to_string()));
    page.fact("Seen", moment(report.seen_at));
    page.fact("Reported by", report.reported_by.clone());
    page.fact("Role", report.role.map(|role| words(role.code())));
    page.fact("Grade of the record", Some(report.provenance.to_string()));

    page.head("The horse");
    let horse = &report.horse;
    page.fact("Name", horse.name.clone());
    page.fact("Microchip", horse.microchip.clone());
    page.fact(
        "Breed or build",
        horse.breed_type.map(|one| words(one.code())),
    );
    page.fact("Sex", horse.sex.map(|one| words(one.code())));
    page.fact("Age", report.age.clone());
    page.fact(
        "Weight",
        horse.weight_kg.map(|kg| format!("{} kg", plain(kg))),
    );
    if horse.pregnancy.is_some() {
        page.fact("In foal", Some("yes, by the record".to_owned()));
    }
    page.fact(
        "Earlier reactions on record",
        Some(report.earlier_reactions.to_string()),
    );

    page.head("What it came after");
    match &report.after {
        Some(given) => page.given(given),
        None => page.line("not recorded, or not open to this account"),
    }
    let before: Vec<String> = report
        .given_before
        .iter()
        .map(|at| at.date_naive().to_string())
        .collect();
    if report.after.is_some() {
        page.fact(
            "The same product before",
            Some(if before.is_empty() {
                "never, by the record".to_owned()
            } else {
                before.join(", ")
            }),
        );
    }

    reaction(&mut page, report);

    page.head(&format!(
        "Also given within the {} days before",
        report.looks_back_days
    ));
    if report.also_given.is_empty() {
        page.line("nothing, by the record");
    }
    for given in &report.also_given {
        page.given(given);
    }

    page.head("What the record doesn't tell");
    if report.missing.is_empty() {
        page.line("nothing that this report asks for");
    }
    for one in &report.missing {
        page.line(one);
    }

    page.head("To know");
    for one in &report.cautions {
        page.line(one);
    }
    page.text
}

fn reaction(page: &mut Page, report: &Report) {
    page.head("The reaction");
    let signs: Vec<String> = report.signs.iter().map(|one| words(one.code())).collect();
    page.fact("Signs", Some(signs.join(", ")));
    page.fact(
        "Severity (0 none to 4 emergency)",
        report.severity.map(|one| one.to_string()),
    );
    page.fact(
        "Began after",
        report
            .onset_hours
            .map(|one| format!("{}, as written down", counted(plain(one), "hour", "hours"))),
    );
    page.fact(
        "Between the two entries",
        report
            .hours_between
            .map(|one| counted(plain(one), "hour", "hours")),
    );
    page.fact(
        "Lasted",
        report
            .duration_hours
            .map(|one| counted(plain(one), "hour", "hours")),
    );
    page.fact("Treatment", report.treatment.clone());
    page.fact("Outcome", report.outcome.map(|one| words(one.code())));
    page.fact("The vet's opinion", report.opinion.clone());
    page.fact("Told", report.reported_to.clone());
    page.fact("Case number", report.case_number.clone());
}

#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn head(&mut self, text: &str) {
        let gap = if self.text.is_empty() { "" } else { "\n" };
        // Writing to a String can't fail.
        let _ = writeln!(self.text, "{gap}{text}");
    }

    fn line(&mut self, text: &str) {
        let _ = writeln!(self.text, "  - {}", one_line(text));
    }

    fn fact(&mut self, name: &str, value: Option<String>) {
        let value = value.filter(|text| !text.trim().is_empty());
        let value = value.map_or_else(|| NOT_RECORDED.to_owned(), |text| one_line(&text));
        let _ = writeln!(self.text, "  {name}: {value}");
    }

    fn given(&mut self, given: &Given) {
        let contains: Vec<String> = given.contains.iter().map(|one| words(one)).collect();
        self.fact("Given", moment(given.performed_at));
        self.fact("What", Some(words(given.kind.code())));
        self.fact("Product", given.product.clone());
        self.fact("Maker", given.manufacturer.clone());
        self.fact("Against, or with", Some(contains.join(", ")));
        self.fact("Lot", given.lot_number.clone());
        self.fact("Expires", given.expiration_date.clone());
        self.fact("Dose", given.dose.clone());
        self.fact("Route", given.route.as_deref().map(words));
        self.fact("Site", given.site.as_deref().map(words));
        self.fact("By", given.given_by.clone());
        self.fact(
            "Days before the reaction",
            given.days_before.map(|days| days.to_string()),
        );
    }
}

fn moment(at: Option<DateTime<FixedOffset>>) -> Option<String> {
    at.map(|at| at.format("%Y-%m-%d %H:%M (UTC%:z)").to_string())
}

/// What people wrote stays on its line, and no control character gets into a letter.
fn one_line(text: &str) -> String {
    let plain = text
        .chars()
        .map(|one| if one.is_control() { ' ' } else { one });
    plain
        .collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_wrote_stays_on_its_line() {
        assert_eq!(one_line("hives\r\nBcc: x\u{1b}[2J"), "hives Bcc: x [2J");
        let mut page = Page::default();
        page.fact("Lot", None);
        page.fact("Site", Some("  ".to_owned()));
        assert_eq!(page.text, "  Lot: not recorded\n  Site: not recorded\n");
    }
}
