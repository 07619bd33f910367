//! Answers a recall from the logs that a caller may see.

use std::collections::{BTreeSet, HashMap, HashSet};

use chrono::{DateTime, Utc};
use whorl_care::ids::{AccountId, BarnId, DeviceId, HorseId};
use whorl_care::recall::{CAUTIONS, Dose, KINDS, Wanted, doses};
use whorl_contract::event::Content;
use whorl_contract::recall::{Recall, Recalled, StandsIn, ToTell, Why, scope};
use whorl_store::barns::{self, BarnRow};
use whorl_store::events::EventRow;
use whorl_store::{Db, StoreError, accounts, lots, signers};

use crate::access;
use crate::herd;
use crate::ledger::read_envelope;
use crate::sight::{self, Gaps, Seen};

/// Which horses had a lot, as far as an account may see.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub(crate) fn recall(
    db: &mut Db,
    account: AccountId,
    wanted: &Wanted,
    now: DateTime<Utc>,
) -> Result<Recall, StoreError> {
    let visible = access::horses_visible(db, account, now)?;
    let searched = visible.len();
    let gaps = Gaps::find(db, &KINDS)?;
    let partly = visible.iter().filter(|one| gaps.concern(one)).count();
    let named: HashSet<HorseId> = lots::horses(db, &wanted.lot)?.into_iter().collect();
    let (mut horses, mut hits) = (Vec::new(), Vec::new());
    let candidates = visible
        .into_iter()
        .filter(|(horse, _)| named.contains(&horse.id))
        .collect();
    for seen in sight::of_kinds(db, candidates, &KINDS)? {
        let found = doses(&seen.care_events(), wanted);
        if !found.is_empty() {
            horses.push((seen.horse.clone(), seen.access.clone()));
            hits.push((seen, found));
        }
    }
    let horse_names: HashMap<HorseId, Option<String>> = herd::views(db, horses)?
        .into_iter()
        .map(|horse| (horse.id, horse.profile.name))
        .collect();
    let people = People::of(db, &hits)?;
    let mut items: Vec<Recalled> = Vec::new();
    for (seen, found) in hits {
        let name = horse_names.get(&seen.horse.id).cloned().flatten();
        for dose in found {
            items.push(people.item(&seen, dose, name.clone())?);
        }
    }
    items.sort_by(|a, b| {
        (&a.horse, a.horse_id, a.performed_at).cmp(&(&b.horse, b.horse_id, b.performed_at))
    });
    Ok(Recall {
        lot: wanted.lot.as_str().to_owned(),
        product: wanted.product.clone(),
        items,
        horses_searched: searched,
        horses_partly_searched: partly,
        scope: scope(searched, partly),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    })
}

/// Everybody and every barn that the answer names.
struct People {
    barns: HashMap<BarnId, BarnRow>,
    accounts: HashMap<AccountId, String>,
    signers: HashMap<DeviceId, String>,
}

impl People {
    fn of(db: &mut Db, hits: &[(Seen, Vec<Dose>)]) -> Result<Self, StoreError> {
        let wanted: Vec<BarnId> = hits.iter().map(|(seen, _)| seen.horse.barn_id).collect();
        let barns: HashMap<BarnId, BarnRow> = barns::by_ids(db, &wanted)?
            .into_iter()
            .map(|barn| (barn.id, barn))
            .collect();
        let people: BTreeSet<AccountId> = hits
            .iter()
            .map(|(seen, _)| seen.horse.owner_id)
            .chain(barns.values().map(|barn| barn.owner_id))
            .collect();
        let people: Vec<AccountId> = people.into_iter().collect();
        let devices: BTreeSet<DeviceId> = hits
            .iter()
            .flat_map(|(seen, _)| seen.rows.iter().map(|row| row.device_id))
            .collect();
        let devices: Vec<DeviceId> = devices.into_iter().collect();
        Ok(Self {
            accounts: accounts::names(db, &people)?,
            signers: signers::by_ids(db, &devices)?
                .into_iter()
                .map(|signer| (signer.device_id, signer.name))
                .collect(),
            barns,
        })
    }

    fn item(&self, seen: &Seen, dose: Dose, horse: Option<String>) -> Result<Recalled, StoreError> {
        let event = seen.rows.iter().find(|row| Some(row.id) == dose.event_id);
        let author = event.and_then(|row| self.signers.get(&row.device_id).cloned());
        let gave = event.and_then(gave).or_else(|| author.clone());
        let role = event.map(read_envelope).transpose()?.map(|one| one.role);
        let (stands, mut tell) = self.now(seen);
        if let Some(row) = event {
            let by_author = gave == author;
            tell.push(ToTell {
                why: Why::GaveIt,
                account_id: by_author.then_some(row.author_id),
                name: gave.clone(),
            });
        }
        tell.sort_by_key(|one| one.why);
        Ok(Recalled {
            horse_id: seen.horse.id,
            horse,
            event_id: dose.event_id,
            kind: dose.kind,
            performed_at: dose.performed_at,
            product: dose.product,
            lot_number: dose.lot_number,
            details: dose.details,
            amended: dose.amended,
            provenance: dose.provenance,
            given_by: gave,
            role,
            stands,
            tell,
        })
    }

    /// Where the horse is and who answers for it; a former owner need not know.
    fn now(&self, seen: &Seen) -> (Option<StandsIn>, Vec<ToTell>) {
        if !seen.access.is_in_force() {
            return (None, Vec::new());
        }
        let barn = self.barns.get(&seen.horse.barn_id);
        let place = StandsIn {
            barn_id: seen.horse.barn_id,
            name: barn.map(|barn| barn.name.clone()),
        };
        let person = |why, id: AccountId| ToTell {
            why,
            account_id: Some(id),
            name: self.accounts.get(&id).cloned(),
        };
        let owner = seen.horse.owner_id;
        let mut tell = vec![person(Why::Owner, owner)];
        if let Some(barn) = barn.filter(|barn| barn.owner_id != owner) {
            tell.push(person(Why::Barn, barn.owner_id));
        }
        (Some(place), tell)
    }
}

/// Who gave it, where that is not the author.
fn gave(row: &EventRow) -> Option<String> {
    let content: Content = serde_json::from_str(row.content.as_deref()?).ok()?;
    content.performed_by.map(|by| by.name)
}
