//! `whorl entry`: may this horse enter on that day, and if not, what must be done by when.

use chrono::NaiveDate;
use diesel::sqlite::SqliteConnection;
use whorl_care::fault::Faults;
use whorl_care::figure::entry::{Answer, RuleIds, Stay, Verdict, rule_sets};
use whorl_care::kind::Kind;
use whorl_care::rules::Rules;
use whorl_care::sentence::words;
use whorl_contract::entry::{BarnEntry, Entering, HorseEntry};

use crate::basis;
use crate::care_log::{self, Withheld};
use crate::chart::Chart;
use crate::desk::Desk;
use crate::due_board::{self, Place};
use crate::failure::Failure;
use crate::herd::{self, Known};
use crate::recording;
use crate::render::Sheet;

/// Say whether a horse may enter on a day by the rules of a show or country, and plan what is lacking
///
/// For one horse, or for all horses of a barn. Works from this device's copy of the record, with what waits in the outbox.
/// `whorl rules entry` lists the rule sets.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse
    #[arg(required_unless_present = "barn")]
    horse: Option<String>,
    /// All horses of this barn
    #[arg(long, conflicts_with = "horse")]
    barn: Option<String>,
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
    /// [`Failure::Input`] if there is no such horse, barn or rule set.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let mut faults = Faults::default();
        let stay = Stay {
            arrives: self.arrives,
            leaves: self.leaves.unwrap_or(self.arrives),
        };
        if stay.leaves < stay.arrives {
            let said = format!("{} is before the arrival on {}", stay.leaves, stay.arrives);
            faults.add("/leaves", said);
        }
        let sets = rule_sets(&RuleIds::Several(self.rules), &rules, &mut faults);
        faults
            .or(())
            .map_err(|faults| recording::spoken(&faults, str::to_owned))?;
        let mut conn = desk.database()?;
        let barns = herd::barns(&mut conn)?;
        let place = Place {
            barns: &barns,
            rules: &rules,
            now: desk.machine().utc(),
        };
        let entering = |on| Entering {
            sets: &sets,
            stay,
            on,
        };
        let today = |known: &Known| {
            let horse = known.horse.as_ref();
            self.on.unwrap_or_else(|| {
                horse.map_or_else(|| place.now.date_naive(), |horse| place.today(horse))
            })
        };
        if let Some(text) = &self.horse {
            let horse = herd::named(&mut conn, text)?;
            let checked = check(&mut conn, &horse, entering(today(&horse)), &rules)?;
            return desk.show(&checked, || single(&checked));
        }
        let barn = herd::barn_named(&mut conn, self.barn.as_deref())?;
        let mut checked = Vec::new();
        for horse in due_board::herd(&mut conn, Some(barn.id))? {
            checked.push(check(&mut conn, &horse, entering(today(&horse)), &rules)?);
        }
        let checked = BarnEntry::of((barn.id, barn.name), entering(stay.arrives), checked);
        desk.show(&checked, || whole_barn(&checked))
    }
}

/// An unseen dose may break a stand-down, an unseen paper a certificate: what can't be seen is no pass.
fn check(
    conn: &mut SqliteConnection,
    known: &Known,
    entering: Entering<'_>,
    rules: &Rules,
) -> Result<HorseEntry, Failure> {
    let horse = due_board::described(conn, known)?;
    let profile = Chart::of(conn, known, entering.stay.arrives)?.profile;
    let events = care_log::events(conn, known.id)?;
    let withheld = Withheld::of(conn, known.id)?;
    let hidden = |kind: Kind| !horse.shows(kind) || withheld.may_hold(kind);
    Ok(HorseEntry::of(
        &horse,
        (&profile, &events),
        entering,
        hidden,
        rules,
    ))
}

/// One line a horse, and what is lacking.
fn whole_barn(checked: &BarnEntry) -> Sheet {
    let rows = checked.horses.iter().map(|one| {
        let may = match one.verdict {
            Verdict::Eligible => "yes",
            Verdict::NotEligible => "NO",
            Verdict::Unknown => "UNKNOWN",
        };
        let lacking = one.answer.checks.iter().filter(|check| !check.met);
        let mut reasons: Vec<&str> = Vec::new();
        for check in lacking {
            // Two clauses may fail for one reason.
            if !reasons.contains(&check.reason.as_str()) {
                reasons.push(&check.reason);
            }
        }
        let earliest = one.answer.earliest_eligible_on;
        vec![
            one.horse.clone(),
            one.microchip.clone().unwrap_or_else(|| "–".to_owned()),
            may.to_owned(),
            if one.verdict == Verdict::NotEligible {
                earliest.map_or_else(
                    || "no plan reaches it".to_owned(),
                    |day| format!("from {day}"),
                )
            } else {
                String::new()
            },
            reasons.join("; "),
        ]
    });
    let sheet = Sheet::new()
        .line(format!(
            "{}: who may enter on {} by {}",
            checked.barn,
            checked.arrives_on,
            checked.rules.join(", ")
        ))
        .table(
            &[
                "horse",
                "microchip",
                "as things stand",
                "if the plan is kept",
                "what is lacking",
            ],
            rows,
            "There is no horse in this barn on this device.",
        );
    let mut cautions: Vec<String> = Vec::new();
    for caution in checked.horses.iter().flat_map(|one| &one.answer.cautions) {
        if !cautions.contains(caution) {
            cautions.push(caution.clone());
        }
    }
    basis::under(sheet, &[], &cautions, &[])
        .line("`whorl entry HORSE` tells each clause, the plan and the sources.")
}

fn single(checked: &HorseEntry) -> Sheet {
    table(&checked.horse, checked.arrives_on, &checked.answer)
}

fn table(name: &str, arrives: NaiveDate, answer: &Answer) -> Sheet {
    let head = if answer.eligible {
        format!("{name} may enter on {arrives}, by what is on record here.")
    } else if answer.verdict() == Verdict::Unknown {
        format!("Whether {name} may enter on {arrives} can't be told from here, so it is no yes.")
    } else {
        format!("{name} may not enter on {arrives} as things stand.")
    };
    let rows = answer.checks.iter().map(|check| {
        let met = match (check.met, check.unknown) {
            (true, _) => "yes",
            (false, true) => "unknown",
            (false, false) => "no",
        };
        vec![
            check.rule.clone(),
            clause(&check.clause),
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
            Some(day) => format!("If this plan is kept, the earliest arrival is {day}:"),
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

/// A clause of a rule set in words; its set stands beside it.
fn clause(id: &str) -> String {
    let own = id.split_once('.').map_or(id, |(_, own)| own);
    own.replace(['.', '-'], " ")
}
