//! `whorl push`: send what waits.

use crate::desk::Desk;
use crate::failure::Failure;
use crate::render::Sheet;
use crate::sync::{Means, Report, push};

/// Send what waits in the outbox
#[derive(Debug, clap::Args)]
pub struct Args {}

impl Args {
    /// Sends; may be repeated as often as one likes.
    ///
    /// # Errors
    ///
    /// [`Failure::Offline`] without a connection; [`Failure::Refused`] if the server refused an entry.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let home = desk.home()?;
        let mut conn = desk.database()?;
        let mut remote = desk.remote()?;
        let mut report = Report::default();
        let machine = desk.machine();
        let done = {
            let mut means = Means {
                home: &home,
                machine,
                progress: &mut |step| super::sync::show(desk, step),
                again: false,
            };
            push::push(&mut conn, &mut remote, &mut means, &mut report)
        };
        desk.progress_done();
        let told = super::sync::tell(desk, &report);
        desk.show(&report, || super::sync::lines(Sheet::new(), &report))?;
        done.and(told)
    }
}
