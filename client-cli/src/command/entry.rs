//! `whorl entry`: may this horse enter on that day, and if not, what must be done by when.

use chrono::NaiveDate;
use whorl_care::fault::Faults;
use whorl_care::figure::entry::{Answer, Input, RuleIds, Verdict, answer, rule_sets};
use whorl_care::sentence::words;

use crate::basis;
use crate::care_log::{self, Withheld};
use crate::chart::Chart;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::recording;
use crate::render::Sheet;

/// Say whether a horse may enter on a day by the rules of a show or country, and plan what is lacking
///
/// Works from this device's copy of its record, with what waits in the outbox. `whorl rules entry` lists the rule sets.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    horse: String,
    /// The rule sets; the horse must meet all of them
    #[arg(long, value_name = "RULES", value_delimiter = ',', required = true)]
    rules: Vec<String>,
    /// The day of arrival
    #[arg(long, value_name = "DATE")]
    arrives: NaiveDate,
    /// The last day of the stay; the day of arrival if left out
    #[arg(long, value_name = "DATE")]
    leaves: Option<NaiveDate>,
    /// The first day on which something can still be done; today if left out
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such horse or rule set.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let today = desk.machine().now().date_naive();
        let mut conn = desk.database()?;
        let horse = herd::named(&mut conn, &self.horse)?;
        let events = care_log::events(&mut conn, horse.id)?;
        let profile = Chart::of(&mut conn, &horse, self.arrives)?.profile;
        let input = Input {
            horse: profile,
            events,
            rules: RuleIds::Several(self.rules),
            arrives_on: self.arrives,
            leaves_on: self.leaves,
            on: Some(self.on.unwrap_or(today)),
        };
        let spoken = |faults: &Faults| {
            recording::spoken(faults, |field| field.trim_end_matches("_on").to_owned())
        };
        let mut answer = answer(&input, &rules).map_err(|faults| spoken(&faults))?;
        // An unseen dose may break a stand-down, an unseen paper a certificate: what can't be seen is no pass.
        let withheld = Withheld::of(&mut conn, horse.id)?;
        if !withheld.is_nothing() {
            let mut faults = Faults::default();
            let sets = rule_sets(&input.rules, &rules, &mut faults);
            faults.or(()).map_err(|faults| spoken(&faults))?;
            answer = answer.without(&sets, |kind| withheld.may_hold(kind));
        }
        let name = horse.label();
        let arrives = self.arrives;
        desk.show(&answer, || table(&name, arrives, &answer))
    }
}

fn table(name: &str, arrives: NaiveDate, answer: &Answer) -> Sheet {
    let head = if answer.eligible {
        format!("{name} may enter on {arrives}, by what is on record here.")
    } else if answer.verdict() == Verdict::Unknown {
        format!("Whether {name} may enter on {arrives} can't be told from here, so it is no yes.")
    } else {
        format!("{name} may not enter on {arrives}.")
    };
    let rows = answer.checks.iter().map(|check| {
        let met = match (check.met, check.unknown) {
            (true, _) => "yes",
            (false, true) => "unknown",
            (false, false) => "no",
        };
        vec![
            check.rule.clone(),
            check.clause.clone(),
            met.to_owned(),
            check
                .grade
                .map_or_else(|| "–".to_owned(), |grade| grade.to_string()),
            check.reason.clone(),
        ]
    });
    let mut sheet =
        Sheet::new()
            .line(head)
            .table(&["rules", "clause", "met", "rests on", "why"], rows, "");
    if !answer.eligible && !answer.is_without_plan() {
        sheet = sheet.line(match answer.earliest_eligible_on {
            Some(day) => format!("The earliest arrival that a plan can reach: {day}."),
            None => "No plan reaches it; ask your vet and the organiser.".to_owned(),
        });
        let plan = answer.plan.iter().map(|step| {
            let who: Vec<String> = step.who.iter().map(|role| words(role.code())).collect();
            vec![
                step.what.clone(),
                step.from.to_string(),
                step.until
                    .map_or_else(|| "–".to_owned(), |day| day.to_string()),
                who.join(", "),
            ]
        });
        if !answer.plan.is_empty() {
            sheet = sheet.table(&["to do", "from", "until", "by"], plan, "");
        }
    }
    basis::under(sheet, &answer.warnings, &answer.cautions, &answer.sources)
}
