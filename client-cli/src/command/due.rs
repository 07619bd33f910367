//! `whorl due`: what is due, for one horse or for all.

use chrono::NaiveDate;
use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use whorl_care::figure::due::board::name;
use whorl_care::figure::due::{Answer, BarnContext, Input, Item, Programme, Status, answer};
use whorl_care::ids::HorseId;
use whorl_care::rules::Rules;
use whorl_care::sentence::words;
use whorl_contract::barn::Barn;

use crate::basis;
use crate::care_log::Withheld;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd::{self, Known};
use crate::recording;
use crate::render::Sheet;

/// Say what is due and why: for one horse, or for all of them
///
/// Works from this device's copy of the record, with what waits in the outbox. Guidance, not orders: the product's label,
/// your vet and local law come first.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The horse; all horses if left out
    horse: Option<String>,
    /// All horses
    #[arg(long, conflicts_with = "horse")]
    all: bool,
    /// Only the horses of this barn
    #[arg(long, conflicts_with = "horse")]
    barn: Option<String>,
    /// The day; today if left out
    #[arg(long, value_name = "DATE")]
    on: Option<NaiveDate>,
    /// Also show what is up to date
    #[arg(long)]
    everything: bool,
    /// The parasite programme: evidence (the default) or interval
    #[arg(long, value_name = "NAME")]
    parasite: Option<String>,
}

/// What is due for one horse.
#[derive(Debug, Serialize)]
struct Due {
    horse_id: HorseId,
    horse: String,
    #[serde(flatten)]
    answer: Answer,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such horse, barn or programme.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let on = self.on.unwrap_or_else(|| desk.machine().now().date_naive());
        let programme = Programme {
            parasite: self.parasite.clone(),
            ..Programme::default()
        };
        let mut conn = desk.database()?;
        let horses = self.horses(&mut conn)?;
        let barns = herd::barns(&mut conn)?;
        let mut all = Vec::new();
        for horse in &horses {
            let chart = Chart::of(&mut conn, horse, on)?;
            let input = Input {
                horse: chart.profile,
                events: chart.events,
                on,
                programme: programme.clone(),
                barn: place(horse, &barns),
            };
            let mut answer = answer(&input, &rules)
                .map_err(|faults| recording::spoken(&faults, |_| "parasite".to_owned()))?;
            if !Withheld::of(&mut conn, horse.id)?.is_nothing() {
                answer.cautions.insert(
                    0,
                    format!(
                        "part of the record of {} is withheld from you: what looks due may have been done; ask the owner",
                        horse.label()
                    ),
                );
            }
            all.push(Due {
                horse_id: horse.id,
                horse: horse.label(),
                answer,
            });
        }
        let everything = self.everything;
        if self.horse.is_some()
            && let [one] = all.as_slice()
        {
            return desk.show(one, || single(one, on, everything));
        }
        desk.show(&all, || herd_table(&all, on, everything))
    }

    fn horses(&self, conn: &mut SqliteConnection) -> Result<Vec<Known>, Failure> {
        if let Some(text) = &self.horse {
            return Ok(vec![herd::named(conn, text)?]);
        }
        let barn = self
            .barn
            .as_deref()
            .map(|text| herd::barn_named(conn, Some(text)))
            .transpose()?;
        let mut horses = herd::horses(conn)?;
        horses.retain(|known| {
            known
                .horse
                .as_ref()
                .is_some_and(|horse| barn.as_ref().is_none_or(|barn| barn.id == horse.barn_id))
        });
        Ok(horses)
    }
}

/// Where a horse lives, as far as dates depend on it.
fn place(horse: &Known, barns: &[Barn]) -> BarnContext {
    let barn_id = horse.horse.as_ref().map(|horse| horse.barn_id);
    let barn = barns.iter().find(|barn| Some(barn.id) == barn_id);
    BarnContext {
        time_zone: barn.map(|barn| barn.time_zone.clone()),
        region: barn.and_then(|barn| barn.region.clone()),
    }
}

/// The most pressing thing that is due for a horse, and how many more there are.
pub(super) fn pressing(
    horse: &Known,
    chart: &Chart,
    on: NaiveDate,
    barns: &[Barn],
    rules: &Rules,
) -> Option<String> {
    let items = whorl_care::figure::due::items(
        &chart.profile,
        &chart.events,
        on,
        &Programme::default(),
        &place(horse, barns),
        rules,
    );
    let mut now = items
        .iter()
        .filter(|item| [Status::Overdue, Status::Due, Status::AskVet].contains(&item.status));
    let first = now.next()?;
    let more = now.count();
    let day = |word: &str| {
        first
            .due_by
            .map(|day| format!(" {word} {day}"))
            .unwrap_or_default()
    };
    let what = name(&first.code);
    let text = match first.status {
        Status::AskVet => format!("ask the vet about {what}"),
        Status::Overdue => format!("{what} overdue{}", day("since")),
        status => format!("{what} {}{}", words(status.code()), day("by")),
    };
    Some(if more > 0 {
        format!("{text}, and {more} more")
    } else {
        text
    })
}

fn wanted(due: &Due, everything: bool) -> impl Iterator<Item = &Item> {
    let items = due.answer.items.iter();
    items.filter(move |item| everything || item.status != Status::UpToDate)
}

fn cells(item: &Item) -> Vec<String> {
    let day = |day: Option<NaiveDate>| day.map_or_else(|| "–".to_owned(), |day| day.to_string());
    let who: Vec<String> = item.who.iter().map(|role| words(role.code())).collect();
    let mark = item.mark.caution().map(|caution| format!(" [{caution}]"));
    vec![
        words(item.status.code()).to_uppercase(),
        name(&item.code),
        day(item.due_from),
        day(item.due_by),
        day(item.last_on),
        who.join(", "),
        item.reason.clone() + &mark.unwrap_or_default(),
    ]
}

fn single(due: &Due, on: NaiveDate, everything: bool) -> Sheet {
    let rows = wanted(due, everything).map(cells);
    let sheet = Sheet::new().line(format!("{} on {on}:", due.horse)).table(
        &["status", "what", "from", "by", "last", "who", "why"],
        rows,
        "Nothing is due or coming up.",
    );
    basis::under(
        sheet,
        &due.answer.warnings,
        &due.answer.cautions,
        &due.answer.sources,
    )
}

fn herd_table(all: &[Due], on: NaiveDate, everything: bool) -> Sheet {
    let mut rows: Vec<(&Due, &Item)> = all
        .iter()
        .flat_map(|due| wanted(due, everything).map(move |item| (due, item)))
        .collect();
    rows.sort_by_key(|(due, item)| (item.status, item.due_by.is_none(), item.due_by, &due.horse));
    let rows = rows.into_iter().map(|(due, item)| {
        let mut row = vec![due.horse.clone()];
        row.extend(cells(item));
        row
    });
    let mut sheet = Sheet::new().line(format!("Due on {on}:")).table(
        &[
            "horse", "status", "what", "from", "by", "last", "who", "why",
        ],
        rows,
        "Nothing is due or coming up.",
    );
    for due in all {
        for warning in &due.answer.warnings {
            sheet = sheet.line(format!("! {}: {}", due.horse, warning.text));
        }
    }
    let mut cautions: Vec<String> = Vec::new();
    for caution in all.iter().flat_map(|due| &due.answer.cautions) {
        if !cautions.contains(caution) {
            cautions.push(caution.clone());
        }
    }
    basis::under(sheet, &[], &cautions, &[]).line("`whorl due HORSE` names the sources.")
}
