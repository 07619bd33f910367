//! `whorl visits`: the fewest days on which somebody must come.

use std::str::FromStr;

use chrono::NaiveDate;
use whorl_care::figure::due::board::name;
use whorl_care::sentence::counted;
use whorl_care::visits::{DayOfWeek, Work};
use whorl_contract::visits::{DaysOff, NotPlanned, VisitHorse, VisitPlan, VisitQuestion};

use crate::basis;
use crate::desk::Desk;
use crate::due_board::{self, Place, Wanted};
use crate::failure::Failure;
use crate::herd;
use crate::recording;
use crate::render::Sheet;

/// Plan visits on the fewest days, so that every horse is seen while it is right for it
///
/// From what is due by this device's copy of the record, with what waits in the outbox. What is late comes first; what has
/// no day is named with the reason. Nothing is recorded or booked.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// How many horses can be seen on one day
    #[arg(long, value_name = "HORSES")]
    capacity: u32,
    /// The last day of the plan
    #[arg(long, value_name = "DATE")]
    until: NaiveDate,
    /// The first day of the plan; today if left out
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// For what: hoof, vaccination, parasite, dental or weight; all that you may do if left out
    #[arg(long = "for", value_name = "WORK")]
    work: Option<Work>,
    /// Only the horses of this barn
    #[arg(long)]
    barn: Option<String>,
    /// A date or a day of the week on which nobody comes; may be given several times
    #[arg(long, value_name = "DATE|WEEKDAY", value_delimiter = ',')]
    without: Vec<Off>,
    /// Each day is for the horses of one barn
    #[arg(long)]
    one_barn_a_day: bool,
}

/// A day on which nobody comes.
#[derive(Clone, Copy, Debug)]
enum Off {
    Date(NaiveDate),
    Weekday(DayOfWeek),
}

impl FromStr for Off {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if let Ok(date) = text.parse() {
            return Ok(Self::Date(date));
        }
        let wanted = text.trim().to_lowercase();
        let mut days = DayOfWeek::ALL.iter();
        days.find(|day| wanted.len() >= 3 && day.code().starts_with(&wanted))
            .map(|day| Self::Weekday(*day))
            .ok_or_else(|| {
                "write a date like 2027-03-04, or a day of the week like saturday".to_owned()
            })
    }
}

impl Args {
    /// Plans.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such barn or the days don't fit together.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let mut conn = desk.database()?;
        let barn = self
            .barn
            .as_deref()
            .map(|text| herd::barn_named(&mut conn, Some(text)))
            .transpose()?;
        let mut days_off = DaysOff::default();
        for off in self.without {
            match off {
                Off::Date(date) => days_off.dates.push(date),
                Off::Weekday(day) => days_off.weekdays.push(day),
            }
        }
        let here = desk.machine().now().date_naive();
        let question = VisitQuestion {
            work: self.work,
            barn_id: barn.map(|barn| barn.id),
            from: self.from.unwrap_or(here),
            until: self.until,
            capacity: self.capacity,
            days_off,
            one_barn_a_day: self.one_barn_a_day,
        };
        let spoken = |faults| recording::spoken(&faults, str::to_owned);
        question.check().map_err(spoken)?;
        let place = Place {
            barns: &herd::barns(&mut conn)?,
            rules: &rules,
            now: desk.machine().utc(),
        };
        let wanted = Wanted {
            on: Some(question.from),
            choice: question.choice(),
            mine: question.is_own_work(),
            ..Wanted::default()
        };
        let board = due_board::list(&mut conn, question.barn_id, &wanted, &place)?;
        let plan = VisitPlan::of(question, board, &rules).map_err(spoken)?;
        desk.show(&plan, || sheet(&plan))
    }
}

fn sheet(plan: &VisitPlan) -> Sheet {
    let (from, until) = (plan.question.from, plan.question.until);
    let seen: usize = plan.days.iter().map(|day| day.horses).sum();
    let few = if plan.is_fewest {
        "; fewer days don't do"
    } else {
        "; whether fewer days would do is not proven"
    };
    let mut sheet = Sheet::new().line(format!(
        "{} from {from} to {until} for {}{}.",
        counted(plan.days.len(), "day", "days"),
        counted(seen, "visit", "visits"),
        if plan.days.is_empty() { "" } else { few },
    ));
    let rows = plan.days.iter().flat_map(|day| {
        let barns = day.barns.iter();
        let horses = barns.flat_map(|barn| barn.horses.iter().map(|horse| (&barn.barn, horse)));
        horses.enumerate().map(|(n, (barn, horse))| {
            let on = day.on.format("%a %Y-%m-%d").to_string();
            let mut row = vec![if n == 0 { on } else { String::new() }, barn.clone()];
            row.extend(cells(horse));
            row
        })
    });
    sheet = sheet.table(
        &[
            "day",
            "barn",
            "horse",
            "to do",
            "right until",
            "handle with care",
        ],
        rows,
        "Nothing must be done in that time.",
    );
    let (wait, left): (Vec<&NotPlanned>, Vec<&NotPlanned>) = plan
        .not_planned
        .iter()
        .partition(|one| one.reason == whorl_care::visits::Reason::CanWait);
    if !left.is_empty() {
        sheet = sheet.line("Without a day:").table(
            &["horse", "barn", "what", "by", "why"],
            left.into_iter().map(row),
            "",
        );
    }
    if !wait.is_empty() {
        sheet = sheet.line("Can wait until after the plan:").table(
            &["horse", "barn", "what", "by", "why"],
            wait.into_iter().map(row),
            "",
        );
    }
    let mut cautions = Vec::new();
    if plan.withheld {
        cautions.push(
            "part of some horses' records is withheld from you: what rests on it isn't planned; ask the owner".to_owned(),
        );
    }
    cautions.extend(plan.cautions.iter().cloned());
    basis::under(sheet, &[], &cautions, &[])
}

fn cells(horse: &VisitHorse) -> Vec<String> {
    let what: Vec<String> = horse.items.iter().map(|item| name(&item.code)).collect();
    let by = horse.items.iter().filter_map(|item| item.due_by).min();
    let by = by.map_or_else(|| "–".to_owned(), |by| by.to_string());
    let caution = horse.handling.as_ref().map(|caution| caution.text.clone());
    vec![
        horse.horse.clone(),
        what.join(", "),
        if horse.late {
            format!("late since {by}")
        } else {
            by
        },
        caution.unwrap_or_default(),
    ]
}

fn row(one: &NotPlanned) -> Vec<String> {
    let by = one.item.due_by;
    vec![
        one.horse.clone(),
        one.barn.clone(),
        name(&one.item.code),
        by.map_or_else(|| "–".to_owned(), |by| by.to_string()),
        one.reason.words().to_owned(),
    ]
}
