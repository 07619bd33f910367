//! All horses of a barn, as the care engine asks for them where it looks at a whole yard.

use diesel::sqlite::SqliteConnection;
use whorl_care::efficacy::Member;
use whorl_care::ids::BarnId;

use crate::care_log;
use crate::failure::Failure;
use crate::herd;

/// The horses that stand in a barn, with what is known of them here. Since when each stands there, this device isn't told.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn members(conn: &mut SqliteConnection, barn: BarnId) -> Result<Vec<Member>, Failure> {
    let mut members = Vec::new();
    for known in herd::horses(conn)? {
        let here = known
            .horse
            .as_ref()
            .is_some_and(|horse| horse.barn_id == barn);
        if here {
            members.push(Member {
                horse_id: known.id,
                name: known.name.clone(),
                since: None,
                events: care_log::events(conn, known.id)?,
            });
        }
    }
    Ok(members)
}
