//! Fills an empty database with a herd: through the store's own functions, many rows in each of its writes. No grant is
//! asked and no signature checked on the way in; `whorl-server verify` does that afterwards.

use std::collections::BTreeMap;

use argon2::{Algorithm, Argon2, Params, PasswordHasher, Version};
use chrono::SubsecRound;
use whorl_contract::key::Hash;
use whorl_contract::{chain, event};
use whorl_store::accounts::{self, AccountRow};
use whorl_store::barns::{self, BarnRow};
use whorl_store::devices::{self, DeviceRow};
use whorl_store::events::{self, EventRow};
use whorl_store::horses::{self, HorseRow};
use whorl_store::{Db, Settings, Store, StoreError};

use crate::Outcome;
use crate::world::{Made, Part, Person, World, first_day};

/// Everybody's password.
pub(crate) const PASSWORD: &str = "ebb over the grey flats at nine";

/// So many events go into one write.
const TOGETHER: usize = 10_000;

/// Where the logs stand while they are filled.
struct Heads(Vec<(i64, Hash)>);

/// Fills the database at `url`, which a server has begun.
pub(crate) fn fill(world: &World, url: &str) -> Outcome {
    let store = Store::open(&Settings::of_job(url))?;
    let mut heads = Heads(Vec::new());
    people(world, &store)?;
    for from in (0..world.horses).step_by(TOGETHER) {
        let rows: Vec<HorseRow> = (from..world.horses.min(from + TOGETHER as u64))
            .map(|n| horse(world, n))
            .collect();
        for row in &rows {
            heads.0.push((0, Hash::try_from(row.head.as_slice())?));
        }
        store.write(move |db| rows.into_iter().try_for_each(|row| horses::add(db, row)))?;
    }
    let mut waiting = Vec::with_capacity(TOGETHER);
    let mut done = 0;
    for next in by_time(world) {
        waiting.push(next);
        if waiting.len() == TOGETHER {
            done += append(world, &store, &mut heads, std::mem::take(&mut waiting))?;
            if done % 500_000 == 0 {
                eprintln!("  {done} of {} events", world.events);
            }
        }
    }
    append(world, &store, &mut heads, waiting)?;
    let ended: Vec<_> = heads.0.into_iter().enumerate().collect();
    for part in ended.chunks(TOGETHER) {
        let part: Vec<_> = part
            .iter()
            .map(|(n, (seq, head))| (world.horse(*n as u64), *seq, *head))
            .collect();
        store.write(move |db| {
            part.into_iter()
                .try_for_each(|(horse, seq, head)| horses::set_head(db, horse, seq, &head.0))
        })?;
    }
    store.close();
    Ok(())
}

/// The events as they would have come: a little of every horse's log at a time, so that none lies in one piece.
fn by_time(world: &World) -> impl Iterator<Item = (u64, u64)> {
    let lengths: Vec<u64> = (0..world.horses)
        .map(|horse| world.log_length(horse))
        .collect();
    let longest = lengths.iter().copied().max().unwrap_or(0);
    (0..longest).flat_map(move |n| {
        let there: Vec<_> = lengths
            .iter()
            .zip(0..)
            .filter(|(length, _)| n < **length)
            .map(|(_, horse)| (horse, n))
            .collect();
        there
    })
}

fn append(
    world: &World,
    store: &Store,
    heads: &mut Heads,
    wanted: Vec<(u64, u64)>,
) -> Outcome<usize> {
    let count = wanted.len();
    let made = make(world, &wanted)?;
    let mut rows = Vec::with_capacity(count);
    for ((horse, _), made) in wanted.into_iter().zip(made) {
        let head = &mut heads.0[usize::try_from(horse)?];
        rows.push(row(&made, head));
    }
    store.write(move |db| events::append(db, rows))?;
    Ok(count)
}

/// Signs events on both cores.
fn make(world: &World, wanted: &[(u64, u64)]) -> Outcome<Vec<Made>> {
    let cores = std::thread::available_parallelism()?.get();
    let parts = std::thread::scope(|scope| {
        let parts: Vec<_> = wanted
            .chunks(wanted.len().div_ceil(cores).max(1))
            .map(|part| scope.spawn(move || make_part(world, part)))
            .collect();
        parts
            .into_iter()
            .map(|part| part.join().map_err(|_| "signing failed"))
            .collect::<Result<Vec<_>, _>>()
    })?;
    Ok(parts
        .into_iter()
        .collect::<Outcome<Vec<_>>>()?
        .into_iter()
        .flatten()
        .collect())
}

fn make_part(world: &World, wanted: &[(u64, u64)]) -> Outcome<Vec<Made>> {
    let mut known: BTreeMap<u64, [Person; 3]> = BTreeMap::new();
    wanted
        .iter()
        .map(|(horse, n)| {
            let barn = world.barn_of(*horse);
            let people = known.entry(barn).or_insert_with(|| {
                [Part::Owner, Part::Vet, Part::Farrier].map(|part| world.person(part, barn))
            });
            world.event(*horse, *n, people)
        })
        .collect()
}

/// An event in its place, as the ledger writes it.
pub(crate) fn row(made: &Made, log: &mut (i64, Hash)) -> EventRow {
    let (envelope, signed) = (&made.envelope, &made.event);
    let leaf = event::leaf(signed.envelope.get().as_bytes(), &signed.signature);
    *log = (log.0 + 1, chain::next(&log.1, &leaf));
    EventRow {
        horse_id: envelope.horse_id,
        seq: log.0,
        id: envelope.id,
        kind: envelope.kind,
        performed_at: envelope.performed_at.naive_utc().trunc_subsecs(6),
        author_id: envelope.author_id,
        device_id: envelope.device_id,
        target_id: None,
        received_at: envelope.recorded_at.naive_utc(),
        envelope: signed.envelope.get().to_owned(),
        content: Some(signed.content.get().to_owned()),
        salt: Some(signed.salt.0.to_vec()),
        signature: signed.signature.0.to_vec(),
        head: log.1.0.to_vec(),
        shapes: envelope.kind == whorl_care::kind::Kind::Identity,
    }
}

fn horse(world: &World, n: u64) -> HorseRow {
    let (id, barn) = (world.horse(n), world.barn_of(n));
    HorseRow {
        id,
        barn_id: world.barn(barn),
        owner_id: world.person(Part::Owner, barn).account,
        head_seq: 0,
        head: chain::start(id).0.to_vec(),
        created_at: first_day().naive_utc(),
    }
}

fn people(world: &World, store: &Store) -> Outcome {
    // Hashed once, by the parameters of the server; it would take minutes to hash it for everybody.
    let hash = Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::DEFAULT)
        .hash_password_with_salt(PASSWORD.as_bytes(), &[7; 16])
        .map_err(|error| error.to_string())?
        .to_string();
    let world = *world;
    store.write(move |db| -> Result<(), StoreError> {
        for barn in 0..world.barns() {
            let owner = world.person(Part::Owner, barn);
            add(db, &owner, &hash)?;
            for part in [Part::Vet, Part::Farrier] {
                let person = world.person(part, barn);
                if barn == 0 || person.account != world.person(part, barn - 1).account {
                    add(db, &person, &hash)?;
                }
            }
            let row = BarnRow {
                id: world.barn(barn),
                owner_id: owner.account,
                name: format!("Yard {barn}"),
                time_zone: "Europe/London".into(),
                region: None,
                created_at: first_day().naive_utc(),
            };
            barns::add(db, row)?;
        }
        Ok(())
    })?;
    Ok(())
}

fn add(db: &mut Db, person: &Person, hash: &str) -> Result<(), StoreError> {
    let created_at = first_day().naive_utc();
    accounts::add(
        db,
        AccountRow {
            id: person.account,
            email: person.email.clone(),
            name: person.name.clone(),
            password_hash: hash.to_owned(),
            operator: false,
            created_at,
            disabled_at: None,
        },
    )?;
    devices::add(
        db,
        DeviceRow {
            id: person.device,
            account_id: person.account,
            name: "phone in the truck".into(),
            public_key: person.key.public().0.to_vec(),
            created_at,
            revoked_at: None,
        },
    )
}
