//! `whorl efficacy`: whether dewormers still work in a barn, by its own egg counts.

use whorl_care::efficacy::{KINDS, Test, efficacy};
use whorl_care::sentence::words;
use whorl_care::unit::plain;
use whorl_contract::yard::{BarnEfficacy, BarnScope};

use crate::basis;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::render::Sheet;
use crate::yard;

/// Say whether dewormers still work in a barn, by its horses' egg counts before and after treatments
///
/// Works from this device's copy of the record, with what waits in the outbox. Too few horses or eggs are not judged: what
/// is lacking is said. Ask your vet before you change dewormers.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The barn; the only one if left out
    barn: Option<String>,
    /// The day; today if left out
    #[arg(long, value_name = "DATE")]
    on: Option<chrono::NaiveDate>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such barn.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let on = self.on.unwrap_or_else(|| desk.machine().now().date_naive());
        let mut conn = desk.database()?;
        let barn = herd::barn_named(&mut conn, self.barn.as_deref())?;
        let members = yard::members(&mut conn, barn.id)?;
        let partly = yard::partly_seen(&mut conn, members.iter().map(|one| one.horse_id), &KINDS)?;
        let answer = BarnEfficacy {
            barn_id: barn.id,
            on,
            scope: BarnScope::of(members.len(), partly),
            efficacy: efficacy(&members, on, &rules),
        };
        desk.show(&answer, || table(&barn.name, &answer))
    }
}

fn table(barn: &str, answer: &BarnEfficacy) -> Sheet {
    let rows = answer.efficacy.tests.iter().map(row);
    let mut sheet = Sheet::new()
        .line(format!("Dewormers in {barn}, by its egg counts:"))
        .table(
            &[
                "given",
                "dewormer",
                "horses",
                "verdict",
                "reduction",
                "90 % interval",
                "what is lacking",
            ],
            rows,
            "No egg was counted around a treatment.",
        );
    for test in &answer.efficacy.tests {
        for left in &test.left_out {
            let horse = left
                .horse
                .clone()
                .unwrap_or_else(|| left.horse_id.to_string());
            sheet = sheet.line(format!(
                "{} on {}: {horse} isn't counted: {}.",
                words(test.active.code()),
                test.treated_on,
                left.why
            ));
        }
    }
    if answer.efficacy.treatments_without_counts > 0 {
        sheet = sheet.line(format!(
            "Treatments around which no egg was counted: {}.",
            answer.efficacy.treatments_without_counts
        ));
    }
    sheet = sheet.line(answer.scope.text.clone());
    basis::under(
        sheet,
        &[],
        &answer.efficacy.cautions,
        &answer.efficacy.sources,
    )
}

fn row(test: &Test) -> Vec<String> {
    let percent = |value: f64| format!("{} %", plain((value * 10.0).round() / 10.0));
    let interval = test
        .figure
        .as_ref()
        .and_then(|figure| figure.interval.as_ref());
    vec![
        test.treated_on.to_string(),
        words(test.active.code()),
        format!("{} of {}", test.pairs.len(), test.horses_treated),
        test.verdict
            .map_or_else(|| "not judged".to_owned(), |one| words(one.code())),
        test.figure
            .as_ref()
            .map_or_else(|| "–".to_owned(), |one| percent(one.reduction_percent)),
        interval.map_or_else(
            || "–".to_owned(),
            |one| format!("{} to {}", percent(one.low), percent(one.high)),
        ),
        test.missing.join("; "),
    ]
}
