//! `whorl sync`: come into step with the server.

use crate::desk::Desk;
use crate::failure::Failure;
use crate::remote::Remote;
use crate::render::Sheet;
use crate::sync::{Means, Progress, Report, sync};
use whorl_care::sentence::counted;

/// Send what waits, fetch what is new, and check that it fits
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Fetch everything once more: fills in what was sealed for you when it came first
    #[arg(long)]
    again: bool,
}

impl Args {
    /// Syncs; may be stopped and repeated at any time.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection; [`Failure::Refused`] if the server refused an entry;
    /// [`Failure::NotVerified`] if a log doesn't fit.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let mut remote = desk.remote()?;
        let mut report = Report::default();
        let done = run_sync(desk, &mut remote, self.again, &mut report);
        desk.show(&report, || lines(Sheet::new(), &report))?;
        done
    }
}

/// Syncs and says beside the answer what a person should know.
pub(super) fn run_sync(
    desk: &mut Desk<'_, '_>,
    remote: &mut Remote<'_>,
    again: bool,
    report: &mut Report,
) -> Result<(), Failure> {
    let home = desk.home()?;
    let mut conn = desk.database()?;
    let machine = desk.machine();
    let done = {
        let mut progress = |step| show(desk, step);
        let mut means = Means {
            home: &home,
            machine,
            progress: &mut progress,
            again,
        };
        sync(&mut conn, remote, &mut means, report)
    };
    desk.progress_done();
    let told = tell(desk, report);
    done.and(told)
}

/// Shows how far it has come.
pub(super) fn show(desk: &mut Desk<'_, '_>, step: Progress) {
    match step {
        Progress::Sent(done, of) => desk.progress("Entries sent:", done, of),
        Progress::Fetched(done, of) => desk.progress("Entries fetched and verified:", done, of),
    }
}

/// Says notices and alarms; answers with the failure that they amount to.
pub(super) fn tell(desk: &mut Desk<'_, '_>, report: &Report) -> Result<(), Failure> {
    for text in report.notices.iter().chain(report.alarms.iter().skip(1)) {
        desk.say(text);
    }
    if let Some(first) = report.alarms.first() {
        let more = match report.alarms.len() {
            1 => String::new(),
            n => format!(" (and {} more)", n - 1),
        };
        return Err(Failure::NotVerified(format!(
            "the record doesn't verify: {first}{more}; nothing of ours was overwritten, tell the server's operator"
        )));
    }
    match report.refused.first() {
        None => Ok(()),
        Some(first) => Err(Failure::Refused(
            format!(
                "the server refused {}: {}; `whorl outbox` shows what and why, and nothing is lost",
                report.refused.len(),
                first.why
            ),
            None,
        )),
    }
}

/// What was done, for a person.
pub(super) fn lines(sheet: Sheet, report: &Report) -> Sheet {
    let entries = |count, what: &str| {
        let said = format!("{} {what}", counted(count, "entry", "entries"));
        (count, said)
    };
    let horses = counted(report.horses_opened, "horse", "horses");
    let files = counted(report.uploaded, "file", "files");
    let counts = [
        (report.horses_opened, format!("{horses} opened")),
        (report.uploaded, format!("{files} sent")),
        entries(report.accepted, "sent and taken"),
        entries(report.known, "known there already"),
        entries(report.held, "held for the owner's word"),
        (
            report.refused.len(),
            format!("{} refused", report.refused.len()),
        ),
        entries(
            report.given_back,
            "offered back to the server, which had lost them",
        ),
        entries(report.pulled, "fetched and verified"),
    ];
    let done: Vec<String> = counts
        .into_iter()
        .filter(|(count, _)| *count > 0)
        .map(|(_, said)| said)
        .collect();
    let mut sheet = if done.is_empty() {
        sheet.line("Nothing new on either side.")
    } else {
        sheet.line(format!("{}.", done.join(", ")))
    };
    for locked in &report.locked {
        let kept = match locked.entries_kept {
            0 => String::new(),
            n => format!(
                " Kept in the outbox, since the server never took it: {}.",
                counted(n, "entry", "entries")
            ),
        };
        sheet = sheet.line(format!(
            "{} is no longer yours to see: its record was taken off this device.{kept}",
            locked.name
        ));
    }
    sheet
}
