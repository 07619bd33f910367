//! `whorl due`: what is due, for one horse or for all.

use chrono::NaiveDate;
use whorl_care::figure::due::board::{Choice, name};
use whorl_care::figure::due::{Item, Programme, Status};
use whorl_care::kind::Role;
use whorl_care::sentence::words;
use whorl_contract::due::{DueBoard, DueEntry, DueHorse, HorseDue};

use crate::basis;
use crate::chart::Chart;
use crate::desk::Desk;
use crate::due_board::{self, Place, Wanted};
use crate::failure::Failure;
use crate::herd::{self, Known};
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
    /// Also what may be done from this day or an earlier one; what comes within a month if left out
    #[arg(long, value_name = "DATE", conflicts_with = "horse")]
    until: Option<NaiveDate>,
    /// Only what this role may do: owner, `barn_staff`, farrier or vet
    #[arg(long, value_name = "ROLE", conflicts_with = "horse")]
    by: Option<Role>,
    /// Only what you may do and record
    #[arg(long, conflicts_with = "horse")]
    mine: bool,
    /// Also show what is up to date
    #[arg(long)]
    everything: bool,
    /// The parasite programme: evidence (the default) or interval
    #[arg(long, value_name = "NAME")]
    parasite: Option<String>,
}

impl Args {
    /// Computes.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if there is no such horse, barn or programme.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let rules = desk.rules()?;
        let mut conn = desk.database()?;
        let place = Place {
            barns: &herd::barns(&mut conn)?,
            rules: &rules,
            now: desk.machine().utc(),
        };
        let wanted = Wanted {
            on: self.on,
            choice: Choice {
                by: self.by,
                until: self.until,
                everything: self.everything,
            },
            mine: self.mine,
            programme: Programme {
                parasite: self.parasite,
                ..Programme::default()
            },
        };
        if let Some(text) = &self.horse {
            let horse = herd::named(&mut conn, text)?;
            let due = due_board::of_horse(&mut conn, &horse, &wanted, &place)?;
            return desk.show(&due, || single(&due, wanted.choice));
        }
        let barn = self
            .barn
            .as_deref()
            .map(|text| herd::barn_named(&mut conn, Some(text)))
            .transpose()?;
        let board = due_board::list(&mut conn, barn.map(|barn| barn.id), &wanted, &place)?;
        let here = desk.machine().now().date_naive();
        desk.show(&board, || herd_table(&board, here))
    }
}

/// The most pressing thing that is due for a horse, and how many more there are.
pub(super) fn pressing(
    horse: &Known,
    chart: &Chart,
    on: NaiveDate,
    place: &Place<'_>,
) -> Option<String> {
    let horse = horse.horse.as_ref()?;
    let items = whorl_care::figure::due::items(
        &chart.profile,
        &chart.events,
        on,
        &Programme::default(),
        &place.context(horse),
        place.rules,
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

/// What to say of a horse part of whose record may not be seen.
fn withheld(horse: &str) -> String {
    format!(
        "part of the record of {horse} is withheld from you: what looks due may have been done, and what is missing may be \
         due; ask the owner"
    )
}

fn single(due: &HorseDue, choice: Choice) -> Sheet {
    let items = due.items.iter();
    let rows = items.filter(|item| choice.takes(item)).map(cells);
    let sheet = Sheet::new()
        .line(format!("{} on {}:", due.horse, due.on))
        .table(
            &["status", "what", "from", "by", "last", "who", "why"],
            rows,
            "Nothing is due or coming up.",
        );
    let mut cautions: Vec<String> = Vec::new();
    if due.withheld {
        cautions.push(withheld(&due.horse));
    }
    cautions.extend(due.cautions.iter().cloned());
    basis::under(sheet, &due.warnings, &cautions, &due.sources)
}

fn herd_table(board: &DueBoard, here: NaiveDate) -> Sheet {
    let row = |entry: &DueEntry| {
        let mut row = vec![entry.horse.clone()];
        row.extend(cells(&entry.item));
        row
    };
    let on = board.on.unwrap_or(here);
    let mut sheet = Sheet::new().line(format!("Due on {on}:")).table(
        &[
            "horse", "status", "what", "from", "by", "last", "who", "why",
        ],
        board.items.iter().map(row),
        "Nothing is due or coming up.",
    );
    for DueHorse {
        horse, warnings, ..
    } in &board.horses
    {
        for warning in warnings {
            sheet = sheet.line(format!("! {horse}: {}", warning.text));
        }
    }
    let partly = board.horses.iter().filter(|horse| horse.withheld);
    let mut cautions: Vec<String> = partly.map(|horse| withheld(&horse.horse)).collect();
    cautions.extend(board.cautions.iter().cloned());
    basis::under(sheet, &[], &cautions, &[]).line("`whorl due HORSE` names the sources.")
}
