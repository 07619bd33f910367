//! The checks that the details of several kinds share.

use std::fmt::Display;

use chrono::{Days, NaiveDate};

use crate::fault::{Fault, Faults};
use crate::kind::{Kind, Provenance};
use crate::rules::Rules;
use crate::when::PartialDate;

/// The longest name, code or number that is taken, in characters.
const SHORT: usize = 200;
/// The longest free text that is taken, in characters.
const LONG: usize = 4000;

/// What is known around an event when its details are checked.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// The rules in force: limits and finding codes.
    pub rules: &'a Rules,
    /// The day it was done, by the wall clock there.
    pub performed_on: NaiveDate,
    /// The day the record is checked: today, or the day the server received it.
    pub received_on: NaiveDate,
    /// When the horse was foaled, if that is known.
    pub foaled_on: Option<PartialDate>,
    /// The grade that the record claims. Paper may lack a lot number; one's own record may not.
    pub provenance: Provenance,
}

/// Checks the day itself: not before the horse was born, and no more than a day ahead (clocks and time zones differ).
///
/// # Errors
///
/// A fault at `/performed_at`, relative to the envelope.
pub fn check_day(kind: Kind, context: &Context<'_>) -> Result<(), Faults> {
    let mut faults = Faults::default();
    let on = context.performed_on;
    if is_after_tomorrow(on, context.received_on) {
        faults.add(
            "/performed_at",
            format!("{on} hasn't come yet; a record tells what was done"),
        );
    }
    // A correction of the date of birth itself can't be held against the date it corrects.
    let about_the_record = kind == Kind::Identity || kind.is_about_another();
    if let Some(foaled) = context.foaled_on.filter(|_| !about_the_record)
        && on < foaled.earliest()
    {
        faults.add(
            "/performed_at",
            format!("{on} is before the horse was foaled ({foaled})"),
        );
    }
    faults.or(())
}

/// Whether a score is whole or a half.
pub(super) fn in_halves(score: f64) -> bool {
    (score * 2.0).fract() == 0.0
}

fn is_after_tomorrow(day: NaiveDate, today: NaiveDate) -> bool {
    today
        .checked_add_days(Days::new(1))
        .is_some_and(|tomorrow| day > tomorrow)
}

/// Gathers what is wrong with one event's details.
pub(super) struct Check<'a> {
    pub(super) context: &'a Context<'a>,
    pub(super) faults: Faults,
    pub(super) doubts: Vec<Fault>,
}

impl<'a> Check<'a> {
    pub(super) fn new(context: &'a Context<'a>) -> Self {
        Self {
            context,
            faults: Faults::default(),
            doubts: Vec::new(),
        }
    }

    /// Notes a question for whoever records it.
    pub(super) fn ask(&mut self, pointer: &str, detail: impl Into<String>) {
        self.doubts.push(Fault {
            pointer: pointer.to_owned(),
            detail: detail.into(),
        });
    }

    /// Notes a fault unless `fine`.
    pub(super) fn that(&mut self, fine: bool, pointer: &str, detail: impl Into<String>) {
        if !fine {
            self.faults.add(pointer, detail);
        }
    }

    /// A name, code or number: not blank, on one line, not endless.
    pub(super) fn short(&mut self, pointer: &str, text: Option<&str>) {
        let Some(text) = text else { return };
        self.text(pointer, text, SHORT);
        self.that(
            !text.chars().any(char::is_control),
            pointer,
            "write it on one line, without tabs or line breaks",
        );
        self.that(
            text.trim() == text || text.trim().is_empty(),
            pointer,
            "it begins or ends with a blank, so a search would miss it",
        );
    }

    /// Free text: not blank, not endless.
    pub(super) fn long(&mut self, pointer: &str, text: Option<&str>) {
        let Some(text) = text else { return };
        self.text(pointer, text, LONG);
        let odd = |c: char| c.is_control() && c != '\n' && c != '\t' && c != '\r';
        self.that(
            !text.chars().any(odd),
            pointer,
            "it holds characters that can't be shown; write it again by hand",
        );
    }

    fn text(&mut self, pointer: &str, text: &str, most: usize) {
        self.that(
            !text.trim().is_empty(),
            pointer,
            "it is empty; leave the field out if there is nothing to say",
        );
        let length = text.chars().count();
        self.that(
            length <= most,
            pointer,
            format!("{length} characters are too long; {most} is the most"),
        );
    }

    /// A field that paper may lack, but a record of one's own may not.
    pub(super) fn needed(&mut self, pointer: &str, present: bool, why: &str) {
        let fine = present || self.context.provenance == Provenance::Transcribed;
        self.that(fine, pointer, format!("it is missing: {why}"));
    }

    /// A quantity within what is possible, by the rule pack `limits`.
    pub(super) fn quantity(&mut self, pointer: &str, limit: &str, value: Option<f64>) {
        let Some(value) = value else { return };
        let limits = &self.context.rules.limits;
        if let Err(detail) = limits.allow(limit, value) {
            self.faults.add(pointer, detail);
        } else if let Some(detail) = limits.doubt(limit, value) {
            self.ask(pointer, detail);
        }
    }

    /// A day that must have come already.
    pub(super) fn past(&mut self, pointer: &str, day: Option<NaiveDate>) {
        let Some(day) = day else { return };
        let fine = !is_after_tomorrow(day, self.context.received_on);
        self.that(fine, pointer, format!("{day} hasn't come yet"));
    }

    /// Two days in their order.
    pub(super) fn not_before(
        &mut self,
        pointer: &str,
        day: Option<NaiveDate>,
        earlier: Option<NaiveDate>,
        what: &str,
    ) {
        if let (Some(day), Some(earlier)) = (day, earlier) {
            self.that(
                day >= earlier,
                pointer,
                format!("{day} is before {what} ({earlier})"),
            );
        }
    }

    /// The lot was still good on the day it was given. An expiry by month counts to the month's end.
    pub(super) fn expiry(&mut self, pointer: &str, expires: Option<PartialDate>) {
        let Some(expires) = expires else { return };
        let given = self.context.performed_on;
        if let PartialDate::Year(_) = expires {
            self.faults.add(
                pointer,
                format!("{expires} is a year alone; give the month at least, as on the label"),
            );
        } else if expires.latest() < given {
            let way_out = if self.context.provenance == Provenance::Transcribed {
                "; if the paper really says so, leave it out and say so in the note"
            } else {
                ""
            };
            self.faults.add(
                pointer,
                format!(
                    "the lot expired ({expires}) before the day it was given ({given}){way_out}"
                ),
            );
        }
    }

    /// A list without repetitions.
    pub(super) fn distinct<T: PartialEq + Display>(&mut self, pointer: &str, list: &[T]) {
        for (index, item) in list.iter().enumerate() {
            let first = list.iter().position(|other| other == item) == Some(index);
            self.that(
                first,
                &format!("{pointer}/{index}"),
                format!("{item} is there twice"),
            );
        }
    }

    /// A list with at least one item, without repetitions.
    pub(super) fn some_of<T: PartialEq + Display>(
        &mut self,
        pointer: &str,
        list: &[T],
        what: &str,
    ) {
        self.that(
            !list.is_empty(),
            pointer,
            format!("name at least one {what}"),
        );
        self.distinct(pointer, list);
    }
}
