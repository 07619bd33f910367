//! Heads that the server signed: every device that keeps them is a witness to what a log once was.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use uuid::Uuid;
use whorl_care::ids::HorseId;
use whorl_contract::key::{Hash, PublicKey};
use whorl_contract::note::Head;
use whorl_contract::sync::SignedHead;

use crate::failure::Failure;
use crate::mirror;
use crate::schema::signed_head;
use crate::stored::Stored;

/// Keeps a signed head. Answers false, and keeps nothing, if it isn't signed by `key` or is about another horse.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn keep(
    conn: &mut SqliteConnection,
    key: &PublicKey,
    signed: &SignedHead,
) -> Result<bool, Failure> {
    let Ok(head) = Head::verify(&signed.note, key) else {
        return Ok(false);
    };
    if head.horse_id != signed.horse_id {
        return Ok(false);
    }
    diesel::insert_into(signed_head::table)
        .values((
            signed_head::horse_id.eq(Stored(head.horse_id)),
            signed_head::seq.eq(head.seq),
            signed_head::head.eq(Stored(head.head)),
            signed_head::epoch.eq(Stored(head.epoch)),
            signed_head::note.eq(&signed.note),
        ))
        .on_conflict_do_nothing()
        .execute(conn)?;
    Ok(true)
}

/// The places at which our copies, as pulled in this life of the ledger, differ from what the server signed in it.
/// Of the heads that agree only the latest of each horse is kept.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be used.
pub fn contradicted(
    conn: &mut SqliteConnection,
    epoch: Uuid,
) -> Result<Vec<(HorseId, i64)>, Failure> {
    let rows: Vec<(Stored<HorseId>, i64, Stored<Hash>)> = signed_head::table
        .filter(signed_head::epoch.eq(Stored(epoch)))
        .order((signed_head::horse_id, signed_head::seq))
        .select((signed_head::horse_id, signed_head::seq, signed_head::head))
        .load(conn)?;
    let mut contradicted = Vec::new();
    let mut agreed: BTreeMap<HorseId, i64> = BTreeMap::new();
    for (horse, seq, head) in rows {
        match mirror::head_at(conn, horse.0, seq)? {
            Some(ours) if ours == head.0 => drop(agreed.insert(horse.0, seq)),
            Some(_) => contradicted.push((horse.0, seq)),
            None => {}
        }
    }
    for (horse, latest) in agreed {
        let known: Vec<(HorseId, i64)> = contradicted.clone();
        if known.iter().all(|(other, _)| *other != horse) {
            diesel::delete(
                signed_head::table
                    .filter(signed_head::horse_id.eq(Stored(horse)))
                    .filter(signed_head::epoch.eq(Stored(epoch)))
                    .filter(signed_head::seq.lt(latest)),
            )
            .execute(conn)?;
        }
    }
    Ok(contradicted)
}
