//! All that the server has of an account, in one file for its person.

use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use chrono::{DateTime, Utc};
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::reading::Way;
use whorl_contract::account_export::{AccountExport, FORMAT, OwnFile, OwnReading, OwnThings};
use whorl_contract::event::LoggedEvent;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::sync::HeldEvent;
use whorl_store::attachments::Brought;
use whorl_store::readings::ReadingRow;
use whorl_store::{
    Db, StoreError, accounts, attachments, barns, calendars, devices, events, grants, held_events,
    horses, invitations, licences, notice_settings, readings, sessions, transfers, webhooks,
};

use super::{
    accounts as account, barns as barn, calendars as calendar, devices as device, grants as grant,
    held, invitations as invitation, licences as licence, notices, sessions as session, shares,
    transfers as transfer, webhooks as webhook,
};
use crate::access::{self, Access};
use crate::caller::Caller;
use crate::exchange::HeadOnly;
use crate::herd;
use crate::log_view::logged_event;
use crate::notice::view::{self, Wanted};
use crate::pieces::{self, Cut, Pieces};
use crate::problem::Problem;
use crate::readings::By;
use crate::state::State;

/// So many entries or notices are read at once.
const PIECE: usize = 200;

/// Gives all that the server has of the caller's account, in one document.
///
/// It holds no password, token, code or secret. It is sent piece by piece and ends with `whole`: without that, something is
/// missing.
#[utoipa::path(
    tag = "accounts",
    responses(
        (status = 200, description = "All of it", body = AccountExport),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/account/export")]
pub(crate) async fn export_account(
    state: Data<State>,
    caller: Caller,
    head: HeadOnly,
) -> Result<HttpResponse, Problem> {
    state.write_readings().await;
    let (own, reach) = own_things(&state, caller).await?;
    let first = serde_json::to_string(&own).map_err(Problem::internal)?;
    let body = if head.0 {
        pieces::nothing()
    } else {
        tracing::info!(target: "security", event = "account_exported", account = %caller.account,
            session = %caller.session);
        pieces::sent(
            |mut pieces| async move { write(&state, caller, &reach, first, &mut pieces).await },
        )
    };
    Ok(HttpResponse::Ok()
        .content_type("application/json")
        .insert_header((CONTENT_DISPOSITION, "attachment; filename=\"account.json\""))
        .body(body))
}

/// The horses that an account ever had to do with.
struct Reach {
    /// Those that it owns, as it may see them: nobody else decides what it learns of these.
    own: Vec<(horses::HorseRow, Access)>,
    /// The others.
    others: Vec<HorseId>,
}

impl Reach {
    fn of(db: &mut Db, caller: Caller, now: DateTime<Utc>) -> Result<Self, StoreError> {
        let held = grants::of_account(db, caller.account)?;
        let named: Vec<HorseId> = held
            .iter()
            .filter_map(|row| Some(row.horse_id.as_ref()?.0))
            .collect();
        let mut stood: Vec<BarnId> = held
            .iter()
            .filter_map(|row| Some(row.barn_id.as_ref()?.0))
            .collect();
        stood.extend(
            barns::owned_or_named(db, caller.account, &[])?
                .iter()
                .map(|row| row.id),
        );
        let mut own = access::horses_visible(db, caller.account, now)?;
        own.retain(|(_, access)| access.is_owner());
        let mut others = horses::ever_of(db, caller.account, &named, &stood)?;
        others.retain(|id| own.iter().all(|(row, _)| row.id != *id));
        Ok(Self { own, others })
    }

    fn all(&self) -> impl Iterator<Item = HorseId> {
        let own = self.own.iter().map(|(row, _)| row.id);
        own.chain(self.others.iter().copied())
    }
}

async fn own_things(state: &State, caller: Caller) -> Result<(OwnThings, Reach), Problem> {
    let now = state.clock.now();
    let settings = state.clone();
    state
        .read(move |db| {
            let id = caller.account;
            let reach = Reach::of(db, caller, now)?;
            let row = accounts::get(db, id)?;
            let (mut files, mut links) = (Vec::new(), Vec::new());
            for horse in reach.all() {
                files.extend(
                    attachments::brought_by(db, horse, id)?
                        .into_iter()
                        .map(file),
                );
                links.extend(shares::made_by(db, id, horse, now)?);
            }
            let own = OwnThings {
                format: FORMAT.to_owned(),
                server: settings.config.name.clone(),
                server_key: settings.keys.heads.public(),
                exported_at: now,
                notice_settings: notices::settings(&settings, notice_settings::email(db, id)?),
                devices: devices::of_account(db, id)?
                    .into_iter()
                    .map(device::view)
                    .collect::<Result<_, _>>()?,
                sessions: sessions::open_of_account(db, id, now.naive_utc())?
                    .iter()
                    .filter(|row| crate::session::is_alive(row, now))
                    .map(|row| session::view(row, caller))
                    .collect(),
                licences: licences::ever_of(db, id)?
                    .into_iter()
                    .map(licence::view)
                    .collect(),
                barns: barns::owned_or_named(db, id, &[])?
                    .into_iter()
                    .map(barn::view)
                    .collect(),
                horses: herd::views(db, reach.own.clone())?,
                grants: grant::seen(db, &caller, now.naive_utc())?,
                invitations: invitations::made_by(db, id)?
                    .into_iter()
                    .map(|row| invitation::view(row, None))
                    .collect(),
                transfers: transfers::of(db, id, &row.email)?
                    .into_iter()
                    .map(|row| transfer::view(row, now.naive_utc()))
                    .collect(),
                shares: links,
                calendars: calendars::of_account(db, id)?
                    .iter()
                    .map(|row| calendar::view(row, None))
                    .collect(),
                webhooks: webhooks::of_accounts(db, &[id])?
                    .iter()
                    .map(|row| webhook::view(row, None))
                    .collect(),
                files,
                account: account::view(&row),
            };
            Ok::<_, Problem>((own, reach))
        })
        .await
}

fn file(row: Brought) -> OwnFile {
    OwnFile {
        horse_id: row.horse_id,
        sha256: row.sha256,
        media_type: row.media_type,
        bytes: row.bytes,
        created_at: row.created_at.and_utc(),
    }
}

fn reading(row: &ReadingRow) -> OwnReading {
    OwnReading {
        horse_id: row.horse_id,
        way: row.way,
        first_at: row.first_at.and_utc(),
        last_at: row.last_at.and_utc(),
        times: row.times,
    }
}

/// Writes the whole document, in the order of [`AccountExport`].
async fn write(
    state: &State,
    caller: Caller,
    reach: &Reach,
    own: String,
    to: &mut Pieces,
) -> Result<(), Cut> {
    let id = caller.account;
    to.text(format!("{{\"own\":{own}")).await?;
    to.open("readings").await?;
    for horse in reach.all() {
        let rows = state
            .read(move |db| readings::by_account(db, horse, id))
            .await?;
        let items: Vec<OwnReading> = rows.iter().map(reading).collect();
        to.items(&items).await?;
    }
    to.close().await?;
    to.open("notices").await?;
    let mut cursor = None;
    loop {
        let wanted = Wanted {
            only_unread: false,
            cursor,
            limit: PIECE,
        };
        let now = state.clock.now();
        let (items, next) = state
            .ask(move |db, rules| view::page(db, id, (now, rules), wanted))
            .await?;
        state.note(By::Account(id), Way::Notice, items.as_slice());
        to.items(&items).await?;
        cursor = next;
        if cursor.is_none() {
            break;
        }
    }
    to.close().await?;
    to.open("held").await?;
    for horse in reach.all() {
        let items: Vec<HeldEvent> = state
            .read(move |db| {
                let rows = held_events::waiting(db, &[horse])?.into_iter();
                let own = rows.filter(|(row, _)| row.author_id == id);
                own.map(held::view).collect::<Result<_, StoreError>>()
            })
            .await?;
        to.items(&items).await?;
    }
    to.close().await?;
    to.open("events").await?;
    for (row, access) in &reach.own {
        let (horse, until) = (row.id, access.until_seq(row.head_seq));
        // An owner beside the first is a reader like others.
        state.note(By::Account(id), Way::Log, &horse);
        events_of(state, to, move |db, after, limit| {
            events::range(db, horse, after, until, limit)
        })
        .await?;
    }
    for horse in reach.others.iter().copied() {
        events_of(state, to, move |db, after, limit| {
            events::signed_by(db, horse, id, after, limit)
        })
        .await?;
    }
    to.close().await?;
    to.text(",\"whole\":true}".to_owned()).await
}

/// Writes the events of a horse, as many at once as `PIECE` says; `next` reads those after a place.
async fn events_of(
    state: &State,
    to: &mut Pieces,
    next: impl Fn(&mut Db, i64, i64) -> Result<Vec<events::EventRow>, StoreError>
    + Copy
    + Send
    + 'static,
) -> Result<(), Cut> {
    let (mut after, limit) = (0, i64::try_from(PIECE).unwrap_or(i64::MAX));
    loop {
        let rows = state.read(move |db| next(db, after, limit)).await?;
        let Some(last) = rows.last().map(|row| row.seq) else {
            return Ok(());
        };
        after = last;
        let events = rows.iter().map(|row| logged_event(row, true));
        let events: Vec<LoggedEvent> = events.collect::<Result<_, _>>().map_err(Problem::from)?;
        to.items(&events).await?;
    }
}
