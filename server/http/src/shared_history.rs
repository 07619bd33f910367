//! What whoever has a link reads of a horse's history: for the interface, and for the page behind the link.

use chrono::{DateTime, Utc};
use whorl_care::ids::HorseId;
use whorl_care::profile;
use whorl_care::reading::Way;
use whorl_care::sentence::counted;
use whorl_contract::bundle::{Seal, Withheld};
use whorl_contract::history::{HistoryEntry, Standing};
use whorl_contract::key::Hash;
use whorl_contract::share::SharedHistory;
use whorl_store::events::EventRow;
use whorl_store::horses::{self, HorseRow};
use whorl_store::shares::{self, ShareRow};
use whorl_store::{Db, StoreError, accounts, ledger};

use crate::access::{self, Access};
use crate::bundling::{SealedLog, Unsigned};
use crate::exchange::HeadOnly;
use crate::export::pdf::{self, Document};
use crate::history::{self, Wanted};
use crate::ledger::{care_events, read_envelope};
use crate::log_view;
use crate::problem::Problem;
use crate::rate;
use crate::readings::By;
use crate::state::State;

/// The hash by which a link's secret is kept.
pub(crate) fn token_hash(token: &str) -> Hash {
    Hash::of(&[b"whorl/share/1\0", token.as_bytes()])
}

/// The seal of a link.
///
/// # Errors
///
/// [`StoreError::Unreadable`] if a kind is unknown here: nothing is shown rather than too much.
pub(crate) fn seal_of(row: &ShareRow) -> Result<Seal, StoreError> {
    let codes = row.sealed_kinds.split(',').filter(|code| !code.is_empty());
    let kinds = codes.map(str::parse).collect::<Result<_, _>>();
    Ok(Seal {
        kinds: kinds.map_err(|why| StoreError::Unreadable(format!("share {}: {why}", row.id)))?,
        before: row.sealed_before,
        after: row.sealed_after,
        leaf_only: row.leaf_only,
    })
}

/// Reads the history behind a link, and counts the look, unless only the head of an answer is asked for.
///
/// # Errors
///
/// The same answer whether the secret is unknown, the link has ended, or its maker owns the horse no more.
pub(crate) async fn look(
    state: &State,
    token: &str,
    head: HeadOnly,
) -> Result<SharedHistory, Problem> {
    read(state, token, head, Way::History).await
}

/// Reads the history, in this way.
async fn read(
    state: &State,
    token: &str,
    head: HeadOnly,
    way: Way,
) -> Result<SharedHistory, Problem> {
    let (now, hash) = (state.clock.now(), token_hash(token));
    let signs = state.clone();
    let (share, history) = state
        .read(move |db| {
            let open = Open::find(db, &hash, now)?;
            rate::admit(&signs, By::Share(open.share.id))?;
            let history = open.history(db, &signs, now)?;
            Ok::<_, Problem>((open.share, history))
        })
        .await?;
    count(state, &share, head, way).await?;
    Ok(history)
}

/// Makes the bundle behind a link, and counts the look as [`look`] does; answers the horse too.
///
/// # Errors
///
/// As [`look`].
pub(crate) async fn bundle(
    state: &State,
    token: &str,
    head: HeadOnly,
) -> Result<(HorseId, Vec<u8>), Problem> {
    let (now, hash) = (state.clock.now(), token_hash(token));
    let counts = state.clone();
    let (share, unsigned) = state
        .read(move |db| {
            let Open { share, horse, .. } = Open::find(db, &hash, now)?;
            rate::admit(&counts, By::Share(share.id))?;
            let unsigned = Unsigned::read(db, horse, share.made_by, &seal_of(&share)?)?;
            Ok::<_, Problem>((share, unsigned))
        })
        .await?;
    count(state, &share, head, Way::Bundle).await?;
    Ok((share.horse_id, unsigned.sign(state, now)?))
}

/// Prints the history behind a link, and counts the look as [`look`] does; answers the horse too. `link` is the link
/// itself, whole, where it is known.
///
/// # Errors
///
/// As [`look`].
pub(crate) async fn paper(
    state: &State,
    token: &str,
    head: HeadOnly,
    link: Option<&str>,
) -> Result<(HorseId, Vec<u8>), Problem> {
    let history = read(state, token, head, Way::Document).await?;
    let withheld = left_out(&history);
    let document = Document {
        horse_id: history.horse_id,
        profile: &history.horse,
        entries: &history.items,
        withheld: &withheld,
        head: (history.seq, history.head),
        server: &history.server,
        on: history.at.date_naive(),
        link,
    };
    Ok((history.horse_id, pdf::write(&document)?))
}

/// What a shared history doesn't show, a sentence each.
pub(crate) fn left_out(history: &SharedHistory) -> Vec<String> {
    let withheld = history.withheld.words();
    let withdrawn = (history.withdrawn > 0).then(|| {
        let withdrawn = counted(history.withdrawn, "entry was", "entries were");
        format!("{withdrawn} withdrawn by those who may; the signed file holds what was withdrawn.")
    });
    withheld
        .map(|what| format!("Withheld by the owner, or erased: {what}."))
        .into_iter()
        .chain(withdrawn)
        .collect()
}

/// Counts a look; a link that was ended meanwhile shows nothing.
async fn count(state: &State, share: &ShareRow, head: HeadOnly, way: Way) -> Result<(), Problem> {
    if head.0 {
        return Ok(());
    }
    let now = state.clock.now();
    let (horse, id) = (share.horse_id, share.id);
    let counted = state
        .write(move |db| shares::count_view(db, horse, id, now.naive_utc()))
        .await?;
    if counted {
        state.note(By::Share(id), way, &horse);
        Ok(())
    } else {
        Err(Problem::not_found())
    }
}

/// A link in force.
struct Open {
    share: ShareRow,
    horse: HorseRow,
    access: Access,
    shared_by: String,
}

impl Open {
    fn find(db: &mut Db, hash: &Hash, now: DateTime<Utc>) -> Result<Self, StoreError> {
        let share = shares::in_force(db, &hash.0, now.naive_utc())?;
        let horse = horses::get(db, share.horse_id)?;
        let access = access::of_horse(db, share.made_by, &horse, now)?;
        let maker = accounts::get(db, share.made_by)?;
        let lapsed = access::lapsed(db, share.made_by, &horse, share.created_at, now)?;
        if !access.is_owner() || lapsed.is_some() || maker.disabled_at.is_some() {
            return Err(StoreError::NotFound);
        }
        Ok(Self {
            share,
            horse,
            access,
            shared_by: maker.name,
        })
    }

    fn history(
        &self,
        db: &mut Db,
        state: &State,
        now: DateTime<Utc>,
    ) -> Result<SharedHistory, StoreError> {
        let (horse, seal) = (&self.horse, seal_of(&self.share)?);
        let log = SealedLog::read(db, horse, &seal)?;
        let everything = Wanted {
            kinds: Vec::new(),
            from: None,
            until: None,
            retracted: true,
            cursor: None,
            limit: log.rows.len().max(1),
        };
        let (entries, _) = history::page(db, horse.id, horse.head_seq, &self.access, &everything)?;
        let is_sealed = |entry: &HistoryEntry| {
            let place = usize::try_from(entry.seq - 1).ok();
            // What isn't found is kept back.
            place.and_then(|place| log.sealed.get(place).copied()) != Some(false)
        };
        let (mut items, mut withdrawn) = (Vec::new(), 0);
        for mut entry in entries {
            if is_sealed(&entry) {
                if !seal.leaf_only {
                    blank(&mut entry);
                    items.push(entry);
                }
            } else if entry.standing == Standing::Retracted {
                withdrawn += 1;
            } else {
                items.push(entry);
            }
        }
        let withheld = withheld(&log, seal.leaf_only)?;
        let (epoch, seq) = (ledger::epoch(db)?, horse.head_seq);
        let head = log_view::head_at(db, horse.id, seq)?;
        let rows = log.rows.into_iter().zip(log.sealed);
        let shown: Vec<EventRow> = rows
            .filter(|(_, sealed)| !sealed)
            .map(|(row, _)| row)
            .collect();
        Ok(SharedHistory {
            horse_id: horse.id,
            horse: profile::profile(&care_events(&shown)),
            shared_by: self.shared_by.clone(),
            shared_until: self.share.expires_at.and_utc(),
            server: state.config.name.clone(),
            server_key: state.keys.heads.public(),
            at: now,
            seq,
            head,
            note: log_view::signed_head(state, epoch, horse.id, seq, head).note,
            items,
            withdrawn,
            withheld,
        })
    }
}

/// Takes out of an entry all that its envelope doesn't tell.
fn blank(entry: &mut HistoryEntry) {
    entry.sealed = true;
    entry.performed_by = None;
    entry.note = None;
    entry.attachments.clear();
    entry.details = None;
    entry.reason = None;
    for one in &mut entry.countersignatures {
        one.statement = None;
    }
}

/// What is kept back, counted as whoever checks the bundle counts it.
fn withheld(log: &SealedLog, leaf_only: bool) -> Result<Withheld, StoreError> {
    let mut withheld = Withheld::default();
    for (row, sealed) in log.rows.iter().zip(&log.sealed) {
        let erased = row.content.is_none();
        if *sealed && leaf_only {
            withheld.leaf_only += 1;
        } else if *sealed || erased {
            let envelope = read_envelope(row)?;
            withheld.note(row.kind.code(), envelope.performed_at.date_naive());
        }
    }
    Ok(withheld)
}
