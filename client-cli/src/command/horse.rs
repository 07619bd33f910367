//! `whorl horse`: bring a horse in, or move it to another barn.

use serde_json::{Map, Value, json};
use whorl_care::horse::{BreedType, Horse as Profile, Risk, Sex};
use whorl_care::ids::HorseId;
use whorl_care::kind::{Kind, Role};
use whorl_care::profile;
use whorl_care::when::PartialDate;
use whorl_contract::event::Content;
use whorl_contract::horse::{Horse, HorseMove, NewHorse};
use whorl_contract::path;

use crate::author::{Author, Draft, Signed};
use crate::care_log;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::herd;
use crate::jotting::{by_clock, zone_of};
use crate::render::Sheet;

/// Bring a horse in, or move it to another barn
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Bring in a horse of yours (works without a connection)
    Add(Box<Add>),
    /// Move a horse of yours to another barn: who works there sees it at once (needs a connection)
    Move {
        /// The horse
        horse: String,
        /// The barn
        barn: String,
    },
}

#[derive(Debug, clap::Args)]
struct Add {
    /// What it is called in the barn
    name: String,
    /// The barn where it stands; may be left out if there is only one
    #[arg(long)]
    barn: Option<String>,
    /// mare, stallion, gelding, filly or colt
    #[arg(long)]
    sex: Option<Sex>,
    /// When it was foaled: a date, a month or a year
    #[arg(long, value_name = "DATE")]
    foaled: Option<PartialDate>,
    /// light, pony, draft, warmblood, arabian, stock, miniature or donkey
    #[arg(long, value_name = "TYPE")]
    breed_type: Option<BreedType>,
    /// The name in its passport or stud book
    #[arg(long, value_name = "NAME")]
    registered_name: Option<String>,
    /// The 15 digits of its microchip
    #[arg(long, value_name = "DIGITS")]
    microchip: Option<String>,
    /// The 15 characters of its Universal Equine Life Number
    #[arg(long, value_name = "NUMBER")]
    ueln: Option<String>,
    /// Its colour
    #[arg(long)]
    colour: Option<String>,
    /// Its markings
    #[arg(long)]
    markings: Option<String>,
    /// What it is exposed to, such as travels or `near_water`; may be given several times
    #[arg(long = "risk", value_name = "RISK")]
    risks: Vec<Risk>,
}

impl Args {
    /// Brings in or moves.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] for values that can't stand; [`Failure::Offline`] if a horse is moved without a connection.
    pub fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        match self.what {
            What::Add(add) => add.run(desk),
            What::Move { horse, barn } => move_horse(desk, &horse, &barn),
        }
    }
}

impl Add {
    fn details(&self) -> Value {
        let mut details = Map::new();
        let mut set = |name: &str, value: Option<Value>| {
            if let Some(value) = value {
                details.insert(name.to_owned(), value);
            }
        };
        set("name", Some(json!(self.name.trim())));
        set(
            "registered_name",
            self.registered_name.as_ref().map(|one| json!(one)),
        );
        set("sex", self.sex.map(|one| json!(one)));
        set("foaled_on", self.foaled.map(|one| json!(one)));
        set("breed_type", self.breed_type.map(|one| json!(one)));
        set("microchip", self.microchip.as_ref().map(|one| json!(one)));
        set("ueln", self.ueln.as_ref().map(|one| json!(one)));
        set("colour", self.colour.as_ref().map(|one| json!(one)));
        set("markings", self.markings.as_ref().map(|one| json!(one)));
        set("risks", (!self.risks.is_empty()).then(|| json!(self.risks)));
        Value::Object(details)
    }

    fn run(self, desk: &mut Desk<'_, '_>) -> Result<(), Failure> {
        let home = desk.home()?;
        let mut conn = desk.database()?;
        let author = Author::new(&home, &mut conn, desk.machine())?;
        let barn = herd::barn_named(&mut conn, self.barn.as_deref())?;
        let id: HorseId = desk.machine().id()?;
        let now = desk.machine().now();
        let new = NewHorse {
            id,
            barn_id: barn.id,
        };
        let draft = Draft {
            horse_id: id,
            kind: Kind::Identity,
            performed_at: by_clock(now, zone_of(&mut conn, barn.id)?),
            role: Some(Role::Owner),
            transcribed: false,
            visit_id: None,
            target_id: None,
            content: Content {
                performed_by: None,
                note: None,
                attachments: Vec::new(),
                details: self.details(),
            },
        };
        let signed = conn.immediate_transaction(|conn| {
            let mut horse = Horse {
                id,
                barn_id: barn.id,
                owner_id: author.membership().account_id,
                roles: vec![Role::Owner],
                kinds: Kind::ALL.to_vec(),
                seq: 0,
                handling: None,
                profile: Profile::default(),
                created_at: now.to_utc(),
            };
            herd::put_horse(conn, &horse)?;
            herd::add_pending(conn, &new, now.to_utc())?;
            let signed = author.sign(conn, &draft)?;
            author.queue_within(conn, std::slice::from_ref(&signed))?;
            horse.profile = profile::profile(&care_log::events(conn, id)?);
            herd::put_horse(conn, &horse)?;
            Ok::<Signed, Failure>(signed)
        })?;
        for warning in &signed.warnings {
            desk.say(warning);
        }
        let answer = json!({"horse_id": id, "barn_id": barn.id, "event_id": signed.envelope.id});
        let name = self.name;
        desk.show(&answer, || {
            Sheet::new().line(format!(
                "{name} stands in {} now; recorded, and waits for the next push. Its id is {id}.",
                barn.name
            ))
        })
    }
}

fn move_horse(desk: &mut Desk<'_, '_>, horse: &str, barn: &str) -> Result<(), Failure> {
    let mut conn = desk.database()?;
    let horse = herd::named(&mut conn, horse)?;
    let barn = herd::barn_named(&mut conn, Some(barn))?;
    let mut remote = desk.remote()?;
    let to = HorseMove { barn_id: barn.id };
    let moved: Horse = remote.put(&path::horse_barn(horse.id), &to)?;
    herd::put_horse(&mut conn, &moved)?;
    desk.show(&moved, || {
        Sheet::new().line(format!("{} stands in {} now.", horse.label(), barn.name))
    })
}
