//! Who read a horse's record, for its owner.

use std::collections::HashMap;

use actix_web::get;
use actix_web::web::{Data, Json, Path, Query};
use uuid::Uuid;
use whorl_care::ids::{AccountId, CalendarId, HorseId};
use whorl_care::reading::Reader;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::reading::Reading;
use whorl_store::readings::{self, Place, ReadingRow};
use whorl_store::{Db, StoreError, accounts, calendars, horses, shares};

use crate::access::{self, Access};
use crate::caller::Caller;
use crate::paging::{LONGEST_PAGE, Paging, length};
use crate::problem::{Kind, Problem};
use crate::state::State;

/// Where a page ended, as text for the wire.
fn cursor(place: Place) -> String {
    format!("{}.{}.{}", place.day, place.reader_id, place.way)
}

/// Reads what [`cursor`] wrote.
fn place(text: &str) -> Option<Place> {
    let mut parts = text.splitn(3, '.');
    Some(Place {
        day: parts.next()?.parse().ok()?,
        reader_id: parts.next()?.parse().ok()?,
        way: parts.next()?.parse().ok()?,
    })
}

/// Checks that somebody owns the horse.
fn check_is_owner(access: &Access) -> Result<(), Problem> {
    if access.is_owner() {
        return Ok(());
    }
    Err(Problem::new(
        Kind::Forbidden,
        "only the horse's owner may see who read its record",
    ))
}

/// A page of the readings of a horse, for its owner: those since it is theirs.
///
/// # Errors
///
/// A refusal, or a failure of ours.
pub(crate) async fn known(
    state: &State,
    account: AccountId,
    horse: HorseId,
    paging: &Paging,
) -> Result<Page<Reading>, Problem> {
    let now = state.clock.now();
    let after = paging.cursor.as_deref().map(|text| {
        place(text).ok_or_else(|| Problem::invalid("/cursor", "give back next_cursor as it came"))
    });
    let after = after.transpose()?;
    let limit = length(paging.limit, LONGEST_PAGE, LONGEST_PAGE);
    state
        .read(move |db| check_is_owner(&access::horse(db, account, horse, now)?.1))
        .await?;
    // What was read until now is there, too. It may be that it can't be written: then what is there is shown.
    state.write_readings().await;
    state
        .read(move |db| {
            let (row, access) = access::horse(db, account, horse, now)?;
            check_is_owner(&access)?;
            Ok::<_, Problem>(page(db, &row, after, limit)?)
        })
        .await
}

fn page(
    db: &mut Db,
    horse: &horses::HorseRow,
    after: Option<Place>,
    limit: usize,
) -> Result<Page<Reading>, StoreError> {
    // Who read it for an owner before is that owner's to know.
    let since = horses::owned_since(db, horse)?;
    let batch = i64::try_from(limit + 1).unwrap_or(i64::MAX);
    let mut rows = readings::page(db, horse.id, since, after, batch)?;
    let more = rows.len() > limit;
    rows.truncate(limit);
    let last = rows.last().map(|row| cursor(Place::from(row)));
    let names = names(db, horse.id, &rows)?;
    let items = rows.into_iter().map(|row| Reading {
        day: row.day,
        reader: row.reader,
        reader_id: row.reader_id,
        name: names.get(&row.reader_id).cloned(),
        way: row.way,
        first_at: row.first_at.max(since).and_utc(),
        last_at: row.last_at.and_utc(),
        times: row.times,
    });
    Ok(Page {
        items: items.collect(),
        next_cursor: last.filter(|_| more),
    })
}

/// What the readers are called.
fn names(
    db: &mut Db,
    horse: HorseId,
    rows: &[ReadingRow],
) -> Result<HashMap<Uuid, String>, StoreError> {
    let of = |reader: Reader| rows.iter().filter(move |row| row.reader == reader);
    let ids: Vec<CalendarId> = of(Reader::Calendar)
        .map(|row| CalendarId(row.reader_id))
        .collect();
    let calendars = calendars::holders(db, &ids)?;
    let mut people: Vec<AccountId> = of(Reader::Account)
        .map(|row| AccountId(row.reader_id))
        .collect();
    people.extend(calendars.values());
    let people = accounts::names(db, &people)?;
    let mut names: HashMap<Uuid, String> = HashMap::new();
    for (calendar, holder) in calendars {
        if let Some(name) = people.get(&holder) {
            names.insert(calendar.0, name.clone());
        }
    }
    if of(Reader::Share).next().is_some() {
        let labels = shares::of_horse(db, horse)?.into_iter();
        names.extend(labels.filter_map(|share| Some((share.id.0, share.label?))));
    }
    names.extend(people.into_iter().map(|(id, name)| (id.0, name)));
    Ok(names)
}

/// Lists who read a horse's record without being its owner, and what of it: for its owner, the latest day first.
///
/// Readings of one kind by one account, link or calendar on one day are counted together. A reading is on the list at once on
/// the server that answered it, within seconds on others, and for as long as the operator keeps it. What a device holds is
/// read there without the server knowing: a copy of the log (`sync`) is noted when it is made.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse"), Paging),
    responses(
        (status = 200, description = "The readings", body = Page<Reading>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/readings")]
pub(crate) async fn list_readings(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    paging: Query<Paging>,
) -> Result<Json<Page<Reading>>, Problem> {
    Ok(Json(known(&state, caller.account, *horse, &paging).await?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use whorl_care::reading::Way;

    #[test]
    fn a_cursor_comes_back_as_it_went() {
        let there = Place {
            day: chrono::NaiveDate::from_ymd_opt(2027, 3, 4).expect("a day"),
            reader_id: Uuid::from_u128(7),
            way: Way::History,
        };
        assert_eq!(place(&cursor(there)), Some(there));
        for wrong in [
            "",
            "2027-03-04",
            "2027-03-04.7.history",
            "2027-03-04..",
            "x.y.z",
        ] {
            assert_eq!(place(wrong), None, "{wrong}");
        }
    }
}
