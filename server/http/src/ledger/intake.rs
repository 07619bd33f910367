//! What is done with a batch before anything is locked: reading it and checking its signatures, on every core. Only one
//! write runs at a time on SQLite, so whatever needs no lock is done here.

use std::collections::{BTreeSet, HashMap};

use actix_web::web;
use serde_json::value::RawValue;
use whorl_care::ids::DeviceId;
use whorl_contract::key::{Checker, PublicKey, Purpose};
use whorl_store::StoreError;
use whorl_store::signers::{self, SignerRow};

use super::arrival::Arrival;
use crate::problem::Problem;
use crate::state::State;

/// A share of fewer events than this isn't worth a thread.
const SMALLEST_SHARE: usize = 32;

/// Up to so many events are read where the request came in, which takes some tenths of a millisecond …
const FEW: usize = 4;

/// … if they have no more bytes than this together.
const FEW_BYTES: usize = 16 * 1024;

/// Reads the events of a push, and notes by which key each was signed.
///
/// Signatures are checked one by one, as every client does (`PublicKey::verifies`). One equation for many would be
/// quicker, but it lets a signature through, one time in eight, whose first half was moved by a point of small order;
/// then the server would hold an event that no client takes, and every later one of that horse with it.
///
/// # Errors
///
/// A problem of the whole push if the devices' keys can't be read.
pub(crate) async fn take_in(
    state: &State,
    texts: Vec<Box<RawValue>>,
) -> Result<Vec<Result<Arrival, Problem>>, Problem> {
    let bytes: usize = texts.iter().map(|text| text.get().len()).sum();
    if texts.len() <= FEW && bytes <= FEW_BYTES {
        return state
            .glance(move |db| take_in_share(&texts, |devices| signers::by_ids(db, devices)))
            .await;
    }
    let store = state.store.clone();
    let keys = move |devices: &[DeviceId]| store.read(|db| signers::by_ids(db, devices));
    let shares =
        web::block(move || shared_out(&texts, |share| take_in_share(share, &keys))).await?;
    let mut batch = Vec::new();
    for share in shares {
        batch.append(&mut share?);
    }
    Ok(batch)
}

fn take_in_share(
    texts: &[Box<RawValue>],
    keys_of: impl FnOnce(&[DeviceId]) -> Result<Vec<SignerRow>, StoreError>,
) -> Result<Vec<Result<Arrival, Problem>>, StoreError> {
    let mut share: Vec<_> = texts.iter().map(|text| Arrival::read(text)).collect();
    let devices: BTreeSet<DeviceId> = share
        .iter()
        .flatten()
        .map(|arrival| arrival.opened.envelope.device_id)
        .collect();
    let devices: Vec<DeviceId> = devices.into_iter().collect();
    let keys: HashMap<DeviceId, (PublicKey, Checker)> = keys_of(&devices)?
        .into_iter()
        .filter_map(|row| {
            let key = PublicKey::try_from(row.public_key.as_slice()).ok()?;
            Some((row.device_id, (key, key.checker()?)))
        })
        .collect();
    for arrival in share.iter_mut().flatten() {
        if let Some((key, checker)) = keys.get(&arrival.opened.envelope.device_id) {
            let (signed, signature) = (&arrival.opened.canonical_envelope, &arrival.raw.signature);
            let good = checker.verifies(Purpose::Event, signed, signature);
            arrival.signed_by = good.then_some(*key);
        }
    }
    Ok(share)
}

/// Does the same with each share of many, on every core, and answers in their order.
fn shared_out<T: Sync, R: Send>(items: &[T], work: impl Fn(&[T]) -> R + Sync) -> Vec<R> {
    if items.len() <= SMALLEST_SHARE {
        return vec![work(items)];
    }
    // Counting them reads files: not for a push of one.
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let share = items.len().div_ceil(cores).max(SMALLEST_SHARE);
    let (own, others) = items.split_at(share.min(items.len()));
    let work = &work;
    std::thread::scope(|scope| {
        let others: Vec<_> = others
            .chunks(share)
            .map(|share| scope.spawn(move || work(share)))
            .collect();
        let mut done = vec![work(own)];
        done.extend(others.into_iter().map(|other| {
            other
                .join()
                .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
        }));
        done
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_shared_out_comes_back_in_order() {
        for count in [0, 1, SMALLEST_SHARE, 1_000] {
            let numbers: Vec<usize> = (0..count).collect();
            let shares = shared_out(&numbers, <[usize]>::to_vec);
            assert_eq!(shares.concat(), numbers);
        }
    }
}
