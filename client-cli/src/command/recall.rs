//! `whorl recall`: which horses had a lot, offline.

use diesel::sqlite::SqliteConnection;
use whorl_care::kind::Kind;
use whorl_care::recall::{CAUTIONS, Dose, KINDS, LotKey, Wanted, doses};
use whorl_care::sentence::counted;
use whorl_care::sentence::words;
use whorl_contract::recall::{Recall, Recalled, StandsIn, ToTell, Why, scope};

use crate::basis;
use crate::care_log;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd::{self, Known};
use crate::history::{self, Entry};
use crate::render::Sheet;
use crate::signers;

/// Say which horses had a lot, when, by whom, where they are, and who must be told
///
/// Vaccinations, dewormings and medications count, as they read after amendments. Works from this device's copy of the
/// record, with what waits in the outbox; it can only speak for the horses and kinds of entry that this account may see.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The lot number, as on the label; case, blanks and hyphens don't matter
    lot: String,
    /// Only products with this in their name
    #[arg(long, value_name = "NAME")]
    product: Option<String>,
}

impl Args {
    /// Searches.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] if the lot has neither a letter nor a digit.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let lot = LotKey::of(&self.lot).ok_or_else(|| {
            Failure::input("give the lot number: letters or digits, as on the label")
        })?;
        let wanted = Wanted {
            lot,
            product: self.product.filter(|text| !text.trim().is_empty()),
        };
        let answer = search(&mut desk.database()?, &wanted)?;
        desk.show(&answer, || table(&answer))
    }
}

fn search(conn: &mut SqliteConnection, wanted: &Wanted) -> Result<Recall, Failure> {
    let horses: Vec<Known> = herd::horses(conn)?
        .into_iter()
        .filter(|known| known.horse.is_some())
        .collect();
    let barns = herd::barns(conn)?;
    let (mut items, mut partly) = (Vec::new(), 0);
    for known in &horses {
        let Some(horse) = &known.horse else { continue };
        let entries = history::of_horse(conn, known.id)?;
        // What came sealed may be of any kind.
        partly += usize::from(entries.iter().any(hides));
        let found = doses(&care_log::events(conn, known.id)?, wanted);
        let barn = barns.iter().find(|barn| barn.id == horse.barn_id);
        let in_force = !horse.roles.is_empty();
        for dose in found {
            let entry = entries.iter().find(|entry| entry.id == dose.event_id);
            let mut tell = Vec::new();
            if in_force {
                tell.push(ToTell {
                    why: Why::Owner,
                    account_id: Some(horse.owner_id),
                    name: signers::name_of(conn, horse.owner_id)?,
                });
            }
            tell.extend(entry.map(gave));
            if let Some(barn) = barn.filter(|barn| in_force && barn.owner_id != horse.owner_id) {
                tell.push(ToTell {
                    why: Why::Barn,
                    account_id: Some(barn.owner_id),
                    name: signers::name_of(conn, barn.owner_id)?,
                });
            }
            let stands = in_force.then(|| StandsIn {
                barn_id: horse.barn_id,
                name: barn.map(|barn| barn.name.clone()),
            });
            items.push(item(known, dose, entry, stands, tell));
        }
    }
    Ok(Recall {
        lot: wanted.lot.as_str().to_owned(),
        product: wanted.product.clone(),
        items,
        horses_searched: horses.len(),
        horses_partly_searched: partly,
        scope: scope(horses.len(), partly),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    })
}

/// Whether an entry may hide a lot: it is sealed, and of a kind that names lots, or of one that nobody may know.
fn hides(entry: &Entry) -> bool {
    let names_lots = |code: &str| KINDS.map(Kind::code).contains(&code);
    entry.sealed && entry.kind.as_deref().is_none_or(names_lots)
}

fn gave(entry: &Entry) -> ToTell {
    let other = entry.performed_by.as_ref().map(|by| by.name.clone());
    ToTell {
        why: Why::GaveIt,
        account_id: entry.author_id.filter(|_| other.is_none()),
        name: other.or_else(|| entry.author.clone()),
    }
}

fn item(
    known: &Known,
    dose: Dose,
    entry: Option<&Entry>,
    stands: Option<StandsIn>,
    tell: Vec<ToTell>,
) -> Recalled {
    Recalled {
        horse_id: known.id,
        horse: known.name.clone(),
        event_id: dose.event_id,
        kind: dose.kind,
        performed_at: dose.performed_at,
        product: dose.product,
        lot_number: dose.lot_number,
        details: dose.details,
        amended: dose.amended,
        provenance: dose.provenance,
        given_by: entry.and_then(|entry| gave(entry).name),
        role: entry.and_then(|entry| entry.role),
        stands,
        tell,
    }
}

fn table(answer: &Recall) -> Sheet {
    let dash = |text: Option<&String>| text.cloned().unwrap_or_else(|| "–".to_owned());
    let rows = answer.items.iter().map(|item| {
        let amended = if item.amended { ", amended" } else { "" };
        vec![
            item.horse
                .clone()
                .unwrap_or_else(|| item.horse_id.to_string()),
            item.performed_at
                .map_or_else(|| "–".to_owned(), |at| at.date_naive().to_string()),
            words(item.kind.code()),
            dash(item.product.as_ref()),
            item.lot_number.clone(),
            format!(
                "{} ({}{amended})",
                dash(item.given_by.as_ref()),
                item.provenance
            ),
            item.stands.as_ref().map_or_else(
                || "not for you to see".to_owned(),
                |place| {
                    place
                        .name
                        .clone()
                        .unwrap_or_else(|| place.barn_id.to_string())
                },
            ),
            told(&item.tell),
        ]
    });
    let head = counted(answer.items.len(), "dose", "doses");
    let sheet = Sheet::new()
        .line(format!("Lot {}: {head} on record.", answer.lot))
        .table(
            &[
                "horse",
                "given",
                "what",
                "product",
                "lot",
                "by",
                "stands now",
                "tell",
            ],
            rows,
            "No dose of this lot is on record here.",
        )
        .line(answer.scope.clone());
    basis::under(sheet, &[], &answer.cautions, &[])
}

fn told(people: &[ToTell]) -> String {
    let named = people.iter().map(|one| {
        let why = match one.why {
            Why::Owner => "the owner",
            Why::GaveIt => "who gave it",
            Why::Barn => "the barn",
        };
        match &one.name {
            Some(name) => format!("{name} ({why})"),
            None => why.to_owned(),
        }
    });
    named.collect::<Vec<_>>().join("; ")
}
