//! Visits: what one person did on one trip to one barn belongs together.

use chrono::NaiveDate;
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::{BarnId, VisitId};

use crate::failure::Failure;
use crate::setting;
use crate::world::Machine;

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
    let name = format!("visit {barn} {day}");
    if let Some(visit_id) = setting::get(conn, &name)? {
        return Ok(visit_id);
    }
    let visit_id: VisitId = machine.id()?;
    setting::set(conn, &name, visit_id)?;
    Ok(visit_id)
}
