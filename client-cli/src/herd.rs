//! Horses and barns, as the server last described them or as they were added here.

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use serde::de::DeserializeOwned;
use whorl_care::horse::CareEvent;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::profile;
use whorl_care::when::PartialDate;
use whorl_contract::barn::Barn;
use whorl_contract::horse::{Horse, NewHorse};
use whorl_contract::problem::Problem;

use crate::failure::Failure;
use crate::schema::{barn, horse, new_horse};
use crate::stored::{At, Stored};

/// A horse on this device.
#[derive(Clone, Debug)]
pub struct Known {
    /// The horse.
    pub id: HorseId,
    /// What it is called.
    pub name: Option<String>,
    /// The server's description; none where this account may not see the horse any more.
    pub horse: Option<Horse>,
}

impl Known {
    /// What to call it in a message.
    #[must_use]
    pub fn label(&self) -> String {
        self.name.clone().unwrap_or_else(|| self.id.to_string())
    }

    /// Whether a lower-case text is its whole name, microchip or id.
    fn is_called(&self, text: &str) -> bool {
        let name = self.name.as_deref().unwrap_or_default().to_lowercase();
        let chip = self
            .horse
            .as_ref()
            .and_then(|horse| horse.profile.microchip.as_deref());
        name == text || chip == Some(text) || self.id.to_string() == text
    }

    /// What tells it from another of the same name.
    fn told_apart(&self) -> String {
        let profile = self.horse.as_ref().map(|horse| &horse.profile);
        let sex = profile
            .and_then(|one| one.sex)
            .map(|sex| format!("{sex}, "));
        let foaled = profile
            .and_then(|one| one.foaled_on)
            .map(|on| format!("foaled {on}, "));
        format!(
            "{} ({}{}{})",
            self.label(),
            sex.unwrap_or_default(),
            foaled.unwrap_or_default(),
            self.id
        )
    }
}

type Row = (Stored<HorseId>, Option<String>, Option<String>);

fn known((id, name, body): Row) -> Result<Known, Failure> {
    let horse = body.as_deref().map(read).transpose()?;
    Ok(Known {
        id: id.0,
        name,
        horse,
    })
}

fn read<T: DeserializeOwned>(text: &str) -> Result<T, Failure> {
    serde_json::from_str(text).map_err(|error| {
        Failure::Device(format!(
            "what this device holds of the herd can't be read ({error}); run `whorl sync`"
        ))
    })
}

fn write<T: Serialize>(value: &T) -> Result<String, Failure> {
    serde_json::to_string(value).map_err(|error| Failure::Device(error.to_string()))
}

/// Every horse, by name.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn horses(conn: &mut SqliteConnection) -> Result<Vec<Known>, Failure> {
    let rows: Vec<Row> = horse::table
        .order((horse::name, horse::horse_id))
        .select((horse::horse_id, horse::name, horse::body))
        .load(conn)?;
    rows.into_iter().map(known).collect()
}

/// One horse.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn horse(conn: &mut SqliteConnection, id: HorseId) -> Result<Option<Known>, Failure> {
    let row: Option<Row> = horse::table
        .find(Stored(id))
        .select((horse::horse_id, horse::name, horse::body))
        .first(conn)
        .optional()?;
    row.map(known).transpose()
}

/// The horse that a person means: by its name in whatever case, its microchip or its id, or by the beginning of its
/// name or id.
///
/// # Errors
///
/// [`Failure::Input`] if none or several fit, or if this account may not see the horse any more.
pub fn named(conn: &mut SqliteConnection, text: &str) -> Result<Known, Failure> {
    let all = horses(conn)?;
    let wanted = text.trim().to_lowercase();
    let begins = |one: &Known| {
        let name = one.name.as_deref().unwrap_or_default();
        name.to_lowercase().starts_with(&wanted) || one.id.to_string().starts_with(&wanted)
    };
    if all.iter().any(|one| one.is_called(&wanted)) || wanted.is_empty() {
        return exactly(&all, text);
    }
    only(
        &all.iter().filter(|one| begins(one)).collect::<Vec<_>>(),
        text,
    )
}

/// The horse among `all` that has exactly this name, microchip or id: where many are written down at once, a beginning
/// is too easily that of another.
///
/// # Errors
///
/// [`Failure::Input`] if none or several fit, or if this account may not see the horse any more.
pub fn exactly(all: &[Known], text: &str) -> Result<Known, Failure> {
    let wanted = text.trim().to_lowercase();
    if wanted.is_empty() {
        return Err(Failure::input("which horse? Give its name or its id"));
    }
    let fitting: Vec<&Known> = all.iter().filter(|one| one.is_called(&wanted)).collect();
    only(&fitting, text)
}

fn only(fitting: &[&Known], text: &str) -> Result<Known, Failure> {
    match fitting {
        [one] if one.horse.is_some() => Ok((*one).clone()),
        [one] => Err(Failure::input(format!(
            "{} is no longer yours to see; ask its owner for a grant",
            one.label()
        ))),
        [] => Err(Failure::input(format!(
            "there is no horse `{text}` on this device; `whorl horses` lists those that are, `whorl sync` fetches news"
        ))),
        several => {
            let list: Vec<String> = several.iter().map(|one| one.told_apart()).collect();
            Err(Failure::input(format!(
                "`{text}` may be {}; give the id",
                list.join(" or ")
            )))
        }
    }
}

/// Puts a horse's description in.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn put_horse(conn: &mut SqliteConnection, new: &Horse) -> Result<(), Failure> {
    let values = (
        horse::name.eq(&new.profile.name),
        horse::body.eq(Some(write(new)?)),
        horse::locked_at.eq(None::<String>),
        horse::set_aside.eq(false),
    );
    diesel::insert_into(horse::table)
        .values((horse::horse_id.eq(Stored(new.id)), values.clone()))
        .on_conflict(horse::horse_id)
        .do_update()
        .set(values)
        .execute(conn)?;
    Ok(())
}

/// Every horse on this device that this account may see.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn visible(conn: &mut SqliteConnection) -> Result<Vec<HorseId>, Failure> {
    let ids: Vec<Stored<HorseId>> = horse::table
        .filter(horse::body.is_not_null())
        .select(horse::horse_id)
        .load(conn)?;
    Ok(ids.into_iter().map(|id| id.0).collect())
}

/// Takes a horse's description away; its name stays only where something of it still waits in the outbox.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn lock(
    conn: &mut SqliteConnection,
    id: HorseId,
    waits: bool,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let row = horse::table.find(Stored(id));
    if !waits {
        diesel::delete(row).execute(conn)?;
        return Ok(());
    }
    diesel::update(row)
        .set((
            horse::body.eq(None::<String>),
            horse::locked_at.eq(Some(At(now).to_string())),
        ))
        .execute(conn)?;
    Ok(())
}

/// Hides a horse that the server lost, perhaps; its copy is kept.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn set_aside(
    conn: &mut SqliteConnection,
    id: HorseId,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let hidden = (
        horse::body.eq(None::<String>),
        horse::locked_at.eq(Some(At(now).to_string())),
        horse::set_aside.eq(true),
    );
    diesel::insert_into(horse::table)
        .values((horse::horse_id.eq(Stored(id)), hidden.clone()))
        .on_conflict(horse::horse_id)
        .do_update()
        .set(hidden)
        .execute(conn)?;
    Ok(())
}

/// The horses that are set aside.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn aside(conn: &mut SqliteConnection) -> Result<Vec<HorseId>, Failure> {
    let ids: Vec<Stored<HorseId>> = horse::table
        .filter(horse::set_aside.eq(true))
        .select(horse::horse_id)
        .load(conn)?;
    Ok(ids.into_iter().map(|id| id.0).collect())
}

/// Every barn, by name.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn barns(conn: &mut SqliteConnection) -> Result<Vec<Barn>, Failure> {
    let bodies: Vec<String> = barn::table.select(barn::body).load(conn)?;
    let mut barns = bodies
        .iter()
        .map(|body| read(body))
        .collect::<Result<Vec<Barn>, _>>()?;
    barns.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(barns)
}

/// The barn that a person means: by its name in whatever case or by its id. Without a text, the only one there is.
///
/// # Errors
///
/// [`Failure::Input`] if none or several fit.
pub fn barn_named(conn: &mut SqliteConnection, text: Option<&str>) -> Result<Barn, Failure> {
    let all = barns(conn)?;
    let fitting: Vec<&Barn> = match text {
        None => all.iter().collect(),
        Some(text) => {
            let wanted = text.trim().to_lowercase();
            let fits =
                |one: &&Barn| one.name.to_lowercase() == wanted || one.id.to_string() == wanted;
            all.iter().filter(fits).collect()
        }
    };
    match (fitting.as_slice(), text) {
        ([one], _) => Ok((*one).clone()),
        ([], None) => Err(Failure::input(
            "there is no barn on this device yet; open one with `whorl barn add`, or run `whorl sync`",
        )),
        ([], Some(text)) => Err(Failure::input(format!(
            "there is no barn `{text}` on this device; `whorl barn list` lists those that are"
        ))),
        (several, _) => {
            let list: Vec<String> = several
                .iter()
                .map(|one| format!("{} ({})", one.name, one.id))
                .collect();
            Err(Failure::input(format!(
                "which barn: {}? Say so with --barn",
                list.join(" or ")
            )))
        }
    }
}

/// Puts the barns in, in place of those that were there.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn put_barns(conn: &mut SqliteConnection, new: &[Barn]) -> Result<(), Failure> {
    diesel::delete(barn::table).execute(conn)?;
    for one in new {
        diesel::insert_into(barn::table)
            .values((barn::barn_id.eq(Stored(one.id)), barn::body.eq(write(one)?)))
            .execute(conn)?;
    }
    Ok(())
}

/// A horse that was added here and that the server doesn't know yet.
#[derive(Clone, Debug)]
pub struct Pending {
    /// What is sent.
    pub new: NewHorse,
    /// Why the server refused it.
    pub problem: Option<Problem>,
}

/// Notes a horse that was added here.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn add_pending(
    conn: &mut SqliteConnection,
    new: &NewHorse,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    diesel::insert_into(new_horse::table)
        .values((
            new_horse::horse_id.eq(Stored(new.id)),
            new_horse::barn_id.eq(Stored(new.barn_id)),
            new_horse::queued_at.eq(Stored(At(now))),
        ))
        .execute(conn)?;
    Ok(())
}

/// The horses that were added here and that the server doesn't know yet, oldest first.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn pending(conn: &mut SqliteConnection) -> Result<Vec<Pending>, Failure> {
    type Row = (Stored<HorseId>, Stored<BarnId>, Option<String>);
    let rows: Vec<Row> = new_horse::table
        .order((new_horse::queued_at, new_horse::horse_id))
        .select((new_horse::horse_id, new_horse::barn_id, new_horse::problem))
        .load(conn)?;
    let pending = rows.into_iter().map(|(id, barn_id, problem)| Pending {
        new: NewHorse {
            id: id.0,
            barn_id: barn_id.0,
        },
        problem: problem.and_then(|text| serde_json::from_str(&text).ok()),
    });
    Ok(pending.collect())
}

/// The server knows the horse now, or it said why not.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn settle_pending(
    conn: &mut SqliteConnection,
    id: HorseId,
    refused: Option<&Problem>,
) -> Result<(), Failure> {
    let row = new_horse::table.find(Stored(id));
    match refused {
        None => diesel::delete(row).execute(conn)?,
        Some(problem) => diesel::update(row)
            .set(new_horse::problem.eq(Some(write(problem)?)))
            .execute(conn)?,
    };
    Ok(())
}

/// When a horse was foaled: as its log here says, else as the server told.
///
/// # Errors
///
/// [`Failure::Device`] if the mirror can't be read.
pub fn foaled_on(
    conn: &mut SqliteConnection,
    horse: HorseId,
    events: &[CareEvent],
) -> Result<Option<PartialDate>, Failure> {
    if let Some(day) = profile::profile(events).foaled_on {
        return Ok(Some(day));
    }
    Ok(self::horse(conn, horse)?
        .and_then(|known| known.horse)
        .and_then(|horse| horse.profile.foaled_on))
}
