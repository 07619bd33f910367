//! All horses of a barn, as the care engine asks for them where it looks at a whole yard.

use diesel::sqlite::SqliteConnection;
use whorl_care::contacts::{self, Stay};
use whorl_care::efficacy::Member;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::Kind;

use crate::care_log::{self, Withheld};
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

/// Of how many of these horses entries came sealed that may be of one of these kinds.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn partly_seen(
    conn: &mut SqliteConnection,
    horses: impl Iterator<Item = HorseId>,
    kinds: &[Kind],
) -> Result<usize, Failure> {
    let mut partly = 0;
    for horse in horses {
        let withheld = Withheld::of(conn, horse)?;
        let hidden = kinds.iter().any(|kind| withheld.may_hold(*kind));
        partly += usize::from(hidden);
    }
    Ok(partly)
}

/// Every horse that this account may see, for tracing contacts, and which of them stand in a barn. This device knows where
/// each stands now, and not since when; its movements tell the rest.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn neighbours(
    conn: &mut SqliteConnection,
    barn: BarnId,
) -> Result<(Vec<contacts::Member>, Vec<HorseId>), Failure> {
    let (mut members, mut here) = (Vec::new(), Vec::new());
    for known in herd::horses(conn)? {
        let Some(horse) = known.horse.as_ref().filter(|horse| !horse.roles.is_empty()) else {
            continue;
        };
        if horse.barn_id == barn {
            here.push(known.id);
        }
        members.push(contacts::Member {
            horse_id: known.id,
            name: known.name.clone(),
            stays: vec![Stay {
                from: horse.created_at.date_naive(),
                barn: horse.barn_id,
            }],
            events: care_log::events(conn, known.id)?,
        });
    }
    Ok((members, here))
}
