//! What is done with a batch before anything is locked: reading it and checking its signatures, on every core. Only one
//! write runs at a time on SQLite, so whatever needs no lock is done here.

use std::collections::{BTreeSet, HashMap};

use serde_json::value::RawValue;
use whorl_care::ids::DeviceId;
use whorl_contract::key::PublicKey;
use whorl_store::{Store, StoreError, signers};

use super::arrival::Arrival;
use crate::problem::Problem;

/// A share of fewer events than this isn't worth a thread.
const SMALLEST_SHARE: usize = 32;

/// Reads the events of a push, and notes by which key each was signed. Blocks.
///
/// Signatures are checked one by one, as every client does (`PublicKey::verifies`). One equation for many would be
/// quicker, but it lets a signature through, one time in eight, whose first half was moved by a point of small order;
/// then the server would hold an event that no client takes, and every later one of that horse with it.
///
/// # Errors
///
/// [`StoreError`] if the devices' keys can't be read.
pub(crate) fn take_in(
    store: &Store,
    texts: &[Box<RawValue>],
) -> Result<Vec<Result<Arrival, Problem>>, StoreError> {
    let mut batch = shared_out(texts, |text| Arrival::read(text));
    let devices: BTreeSet<DeviceId> = batch
        .iter()
        .flatten()
        .map(|arrival| arrival.opened.envelope.device_id)
        .collect();
    let devices: Vec<DeviceId> = devices.into_iter().collect();
    let keys: HashMap<DeviceId, PublicKey> = store
        .read(|db| signers::by_ids(db, &devices))?
        .into_iter()
        .filter_map(|row| {
            let key = PublicKey::try_from(row.public_key.as_slice()).ok()?;
            Some((row.device_id, key))
        })
        .collect();
    let signed = shared_out(&batch, |arrival| {
        let arrival = arrival.as_ref().ok()?;
        let key = keys.get(&arrival.opened.envelope.device_id)?;
        let good = arrival
            .opened
            .signed_by(key, &arrival.raw.signature)
            .is_ok();
        good.then_some(*key)
    });
    for (arrival, key) in batch.iter_mut().zip(signed) {
        if let Ok(arrival) = arrival {
            arrival.signed_by = key;
        }
    }
    Ok(batch)
}

/// Does the same with each of many, on every core, and answers in their order.
fn shared_out<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    if items.len() <= SMALLEST_SHARE {
        return items.iter().map(work).collect();
    }
    // Counting them reads files: not for a push of one.
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let share = items.len().div_ceil(cores).max(SMALLEST_SHARE);
    let work = &work;
    std::thread::scope(|scope| {
        let shares: Vec<_> = items
            .chunks(share)
            .map(|share| scope.spawn(move || share.iter().map(work).collect::<Vec<R>>()))
            .collect();
        shares
            .into_iter()
            .flat_map(|share| {
                share
                    .join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            })
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_shared_out_comes_back_in_order() {
        for count in [0, 1, SMALLEST_SHARE, 1_000] {
            let numbers: Vec<usize> = (0..count).collect();
            let doubled: Vec<usize> = numbers.iter().map(|number| number * 2).collect();
            assert_eq!(shared_out(&numbers, |number| number * 2), doubled);
        }
    }
}
