//! The doses against each disease, and when the next one is due: a row a disease.

use chrono::{Months, NaiveDate};
use maud::{Markup, html};
use whorl_care::disease::Disease;
use whorl_care::figure::due::{Item, Status};
use whorl_care::horse::CareEvent;
use whorl_care::record::{Grade, Record};

use super::paper::{self, Mark, Sample, WIDTH, place};
use super::scale::Time;
use super::{Drawn, day_text, titled};

/// How far back the picture goes, in months; older doses are in the table.
const BACK: u32 = 24;

/// How far ahead it goes at the least and at the most, in months.
const AHEAD: (u32, u32) = (3, 15);

/// The height of a row.
const ROW: f64 = 40.0;

/// A dose.
#[derive(Clone, Copy)]
struct Dose {
    day: NaiveDate,
    grade: Grade,
    expired: bool,
}

/// A disease, its doses, and what is due.
struct Row<'a> {
    disease: Disease,
    doses: Vec<Dose>,
    next: Option<&'a Item>,
}

/// What the picture shows.
pub(super) struct Timeline<'a> {
    title: String,
    on: NaiveDate,
    rows: Vec<Row<'a>>,
}

impl<'a> Timeline<'a> {
    /// Takes the doses from a log, and what is due from the engine's answer.
    pub(super) fn of(log: &[CareEvent], due: &'a [Item], on: NaiveDate) -> Self {
        let record = Record::of(log);
        let rows = Disease::ALL
            .iter()
            .map(|disease| Row {
                disease: *disease,
                doses: record
                    .doses
                    .iter()
                    .filter(|dose| dose.targets.contains(*disease))
                    .map(|dose| Dose {
                        day: dose.entry.day,
                        grade: dose.entry.grade,
                        expired: dose.expired,
                    })
                    .collect(),
                next: due
                    .iter()
                    .find(|item| item.code.strip_prefix("vaccination.") == Some(disease.code())),
            })
            .filter(|row| !row.doses.is_empty() || row.next.is_some())
            .collect();
        Self {
            title: titled("Vaccinations", log),
            on,
            rows,
        }
    }

    fn time(&self) -> Time {
        let months = |months: u32| {
            let day = self.on.checked_add_months(Months::new(months));
            day.unwrap_or(self.on)
        };
        let first = self.on.checked_sub_months(Months::new(BACK));
        let last = self
            .rows
            .iter()
            .filter_map(|row| row.next)
            .filter_map(|item| item.due_by.or(item.due_from))
            .max()
            .unwrap_or(self.on)
            .clamp(months(AHEAD.0), months(AHEAD.1));
        Time::new(first.unwrap_or(self.on), last, (12.0, WIDTH - 12.0))
    }

    /// Draws them.
    pub(super) fn draw(self) -> Drawn {
        let time = self.time();
        let top = 24.0;
        let bottom = top + ROW * rows_high(self.rows.len());
        let today = time.at(self.on);
        let (key, height) = paper::key(&self.key(&time), bottom + 26.0);
        let rows = self.rows.iter().enumerate();
        let inside = html! {
            rect.plot x="4" y=(place(top)) width=(place(WIDTH - 8.0)) height=(place(bottom - top)) {}
            @for (x, label) in time.ticks() {
                line.grid x1=(place(x)) x2=(place(x)) y1=(place(top)) y2=(place(bottom)) {}
                @if (20.0..WIDTH - 20.0).contains(&x) {
                    text.tick text-anchor="middle" x=(place(x)) y=(place(bottom + 16.0)) { (label) }
                }
            }
            line.today x1=(place(today)) x2=(place(today)) y1=(place(top - 6.0)) y2=(place(top)) {}
            text.today-name text-anchor="middle" x=(place(today)) y="14" { "today" }
            @for (n, row) in rows { (row.draw(&time, top + ROW * rows_high(n), self.on)) }
            (key)
        };
        let told = self.told();
        let picture = paper::svg(
            "vaccinations",
            &self.title,
            &told,
            bottom + 26.0 + height + 4.0,
            &inside,
        );
        let mut table: Vec<Vec<String>> = Vec::new();
        for row in &self.rows {
            table.extend(row.table(self.on));
        }
        Drawn {
            id: "vaccinations",
            title: self.title,
            told,
            picture,
            columns: vec!["Against", "Day", "What", "On whose word"],
            rows: table,
        }
    }

    fn key(&self, time: &Time) -> Vec<(Sample, String)> {
        let mut marks: Vec<(Mark, &str)> = Vec::new();
        for dose in self.rows.iter().flat_map(|row| &row.doses) {
            if time.holds(dose.day) {
                marks.push((dose.mark(), dose.word()));
            } else {
                let (mark, text) = beyond(dose.day, self.on);
                marks.push((mark, text));
            }
        }
        marks.sort_unstable();
        marks.dedup();
        let mut key: Vec<(Sample, String)> = marks
            .into_iter()
            .map(|(mark, text)| (Sample::Of(mark), text.to_owned()))
            .collect();
        let dated = self.rows.iter().filter_map(|row| row.next);
        if dated
            .clone()
            .any(|item| item.due_from.or(item.due_by).is_some())
        {
            key.push((Sample::Area("window"), "next dose".to_owned()));
        }
        key
    }

    fn told(&self) -> String {
        if self.rows.is_empty() {
            return "No vaccinations are on record, and none is due.".to_owned();
        }
        let rows: Vec<String> = self
            .rows
            .iter()
            .map(|row| {
                let last = row.doses.last().map_or_else(
                    || "no dose".to_owned(),
                    |dose| format!("last dose {}", day_text(dose.day)),
                );
                let next = row
                    .next
                    .map_or_else(String::new, |item| format!(", {}", next_text(item)));
                format!("{}: {last}{next}", row.disease.name())
            })
            .collect();
        format!("{}.", rows.join("; "))
    }
}

/// How many rows high, as a number to calculate with.
#[expect(clippy::cast_precision_loss, reason = "there are sixteen diseases")]
fn rows_high(rows: usize) -> f64 {
    rows as f64
}

/// The mark for doses that lie outside the days shown.
fn beyond(day: NaiveDate, on: NaiveDate) -> (Mark, &'static str) {
    if day < on {
        (Mark::Earlier, "older, in the table")
    } else {
        (Mark::Later, "later, in the table")
    }
}

impl Dose {
    const fn mark(self) -> Mark {
        match (self.expired, self.grade) {
            (true, _) => Mark::Cross,
            (_, Grade::Attested) => Mark::Disc,
            (_, Grade::Countersigned) => Mark::Lozenge,
            (_, Grade::Recorded) => Mark::Square,
            (_, Grade::Transcribed) => Mark::Ring,
        }
    }

    const fn word(self) -> &'static str {
        match (self.expired, self.grade) {
            (true, _) => "expired vial",
            (_, Grade::Attested) => "attested",
            (_, Grade::Countersigned) => "countersigned",
            (_, Grade::Recorded) => "recorded",
            (_, Grade::Transcribed) => "transcribed",
        }
    }
}

impl Row<'_> {
    fn draw(&self, time: &Time, top: f64, on: NaiveDate) -> Markup {
        let track = top + 29.0;
        let outside = |later: bool| {
            let mut days = self.doses.iter().map(|dose| dose.day);
            days.any(|day| !time.holds(day) && (day > on) == later)
        };
        html! {
            g.row {
                text.disease x="8" y=(place(top + 16.0)) { (self.disease.name()) }
                @if let Some(item) = self.next {
                    text.next-due text-anchor="end" x=(place(WIDTH - 8.0)) y=(place(top + 16.0)) { (next_text(item)) }
                }
                line.track x1="8" x2=(place(WIDTH - 8.0)) y1=(place(track)) y2=(place(track)) {}
                line.today x1=(place(time.at(on))) x2=(place(time.at(on))) y1=(place(track - 9.0)) y2=(place(track + 9.0)) {}
                @if let Some((from, by)) = self.next.and_then(span) {
                    // Without a last day the window is open: it runs on to the edge.
                    @let (x, end) = (time.at(from), by.map_or(WIDTH - 12.0, |by| time.at(by)));
                    rect.window x=(place(x)) y=(place(track - 5.0)) width=(place((end - x).max(3.0))) height="10" {}
                }
                @if outside(false) { (Mark::Earlier.draw(12.0, track, "older doses are in the table")) }
                @if outside(true) { (Mark::Later.draw(WIDTH - 12.0, track, "later doses are in the table")) }
                @for dose in self.doses.iter().filter(|dose| time.holds(dose.day)) {
                    (dose.mark().draw(time.at(dose.day), track, &format!("{}, {}", day_text(dose.day), dose.word())))
                }
            }
        }
    }

    fn table(&self, on: NaiveDate) -> Vec<Vec<String>> {
        let name = self.disease.name();
        let mut rows = Vec::new();
        if let Some(item) = self.next {
            rows.push(vec![
                name.to_owned(),
                window_text(item),
                "next dose".to_owned(),
                String::new(),
            ]);
        }
        for dose in self.doses.iter().rev() {
            let what = if dose.day > on {
                "dose, after today"
            } else {
                "dose"
            };
            let what = if dose.expired {
                "dose from an expired vial"
            } else {
                what
            };
            rows.push(vec![
                name.to_owned(),
                day_text(dose.day),
                what.to_owned(),
                dose.grade.to_string(),
            ]);
        }
        rows
    }
}

/// The first day for a dose, and the last where one is set; nothing without either.
fn span(item: &Item) -> Option<(NaiveDate, Option<NaiveDate>)> {
    let from = item.due_from.or(item.due_by)?;
    Some((from, item.due_by.map(|by| by.max(from))))
}

/// How the next dose stands, in few words.
fn next_text(item: &Item) -> String {
    let by = item.due_by.map(day_text);
    let from = item.due_from.map(day_text);
    match (item.status, by, from) {
        (Status::AskVet, ..) => "ask the vet".to_owned(),
        (Status::Overdue, Some(by), _) => format!("overdue since {by}"),
        (Status::Overdue, None, _) => "overdue".to_owned(),
        (Status::Due, Some(by), _) => format!("due until {by}"),
        (Status::Due, None, _) => "due".to_owned(),
        (_, _, Some(from)) => format!("from {from}"),
        (_, Some(by), None) => format!("by {by}"),
        (_, None, None) => "nothing due".to_owned(),
    }
}

fn window_text(item: &Item) -> String {
    let state = item.status.code().replace('_', " ");
    match (item.due_from, item.due_by) {
        (Some(from), Some(by)) => format!("{} to {} ({state})", day_text(from), day_text(by)),
        (Some(from), None) => format!("from {} ({state})", day_text(from)),
        (None, Some(by)) => format!("by {} ({state})", day_text(by)),
        (None, None) => state,
    }
}
