//! Visits: what one person did on one trip to one barn belongs together.

use chrono::NaiveDate;
use diesel::sqlite::SqliteConnection;
use serde::{Deserialize, Serialize};
use whorl_care::ids::{BarnId, VisitId};

use crate::failure::Failure;
use crate::setting;
use crate::world::Machine;

/// A trip that this device knows of.
#[derive(Serialize, Deserialize)]
struct Trip {
    day: NaiveDate,
    visit_id: VisitId,
}

/// The trip to a barn on a day: the one that was begun there on that day, else a new one.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read or written.
pub fn on(
    conn: &mut SqliteConnection,
    machine: Machine<'_>,
    barn: BarnId,
    day: NaiveDate,
) -> Result<VisitId, Failure> {
    let name = format!("visit {barn}");
    if let Some(trip) = setting::document::<Trip>(conn, &name)?.filter(|trip| trip.day == day) {
        return Ok(trip.visit_id);
    }
    let visit_id = machine.id()?;
    setting::keep_document(conn, &name, &Trip { day, visit_id })?;
    Ok(visit_id)
}
