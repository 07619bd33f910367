//! A yard to work on: Saltmarsh Yard, as a device knows it after its first sync.

use std::cell::Cell;
use std::ffi::OsString;
use std::io;

use chrono::{DateTime, FixedOffset};
use serde_json::{Value, json};
use whorl_care::horse::Horse as Profile;
use whorl_care::ids::{AccountId, DeviceId, HorseId};
use whorl_care::kind::Kind;
use whorl_cli::home::{Home, Membership};
use whorl_cli::mirror::Logged;
use whorl_cli::stored::At;
use whorl_cli::world::{Machine, World};
use whorl_cli::{database, herd, mirror, outbox, setting, signers};
use whorl_contract::barn::Barn;
use whorl_contract::horse::Horse;
use whorl_contract::key::Hash;
use whorl_contract::sync::Signer;

/// The clock of every test: a Thursday morning.
pub(crate) const NOW: &str = "2027-03-04T09:20:00+00:00";

/// One person's device.
pub(crate) struct Yard {
    folder: tempfile::TempDir,
    role: String,
    /// Rises with every random byte, so that two runs of a test give the same ids.
    count: Cell<u64>,
    now: Cell<DateTime<FixedOffset>>,
    width: Cell<Option<u16>>,
}

/// What a command did.
#[derive(Debug)]
pub(crate) struct Ran {
    /// Its exit status.
    pub(crate) status: i32,
    /// What it answered.
    pub(crate) out: String,
    /// What it said beside.
    pub(crate) err: String,
}

impl Ran {
    /// The answer as JSON; the command must have succeeded.
    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        assert_eq!(self.status, 0, "{}", self.err);
        serde_json::from_str(&self.out).unwrap_or_else(|why| panic!("{why}: {}", self.out))
    }

    /// What it said went wrong; the command must have refused its input.
    #[track_caller]
    pub(crate) fn refused(&self) -> &str {
        assert_eq!(self.status, 2, "{}{}", self.out, self.err);
        &self.err
    }
}

/// A document in which a whole number is written without a fraction, as the record has it.
pub(crate) fn whole(document: &Value) -> Value {
    match document {
        Value::Object(fields) => fields
            .iter()
            .map(|(name, value)| (name.clone(), whole(value)))
            .collect(),
        Value::Array(items) => items.iter().map(whole).collect(),
        Value::Number(number) => match number.as_f64() {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "the numbers of these tests are small"
            )]
            Some(float) if float.fract() == 0.0 => json!(float as i64),
            _ => document.clone(),
        },
        other => other.clone(),
    }
}

/// An id that a test can write down.
pub(crate) fn id(n: u32) -> String {
    format!("01970000-0000-7000-8000-{n:012}")
}

impl Yard {
    /// The device of somebody with a role on every horse: Plover, a mare; Teasel, a young gelding; two horses called
    /// Ash.
    pub(crate) fn of(role: &str) -> Self {
        let yard = Self {
            folder: tempfile::tempdir().expect("a folder"),
            role: role.to_owned(),
            count: Cell::new(1),
            now: Cell::new(NOW.parse().expect("a time")),
            width: Cell::new(None),
        };
        let home = Home::open(&yard.folder.path().join("whorl")).expect("a home");
        yard.with_machine(|machine| home.device_key(machine))
            .expect("a key");
        home.keep_membership(&Membership {
            server: "https://saltmarsh.example".to_owned(),
            account_id: AccountId(id(900).parse().expect("an id")),
            email: "maren@saltmarsh.example".to_owned(),
            name: "Maren Oduya".to_owned(),
            device_id: DeviceId(id(901).parse().expect("an id")),
            tokens: None,
        })
        .expect("kept");
        let mut conn = database::open(&home.database()).expect("a database");
        herd::put_barns(&mut conn, &[barn()]).expect("a barn");
        for horse in [
            yard.horse(1, &json!({"name": "Plover", "sex": "mare", "foaled_on": "2016-04-19", "breed_type": "light", "microchip": "826098500123456"})),
            yard.horse(2, &json!({"name": "Teasel", "sex": "gelding", "foaled_on": "2026-05", "breed_type": "pony"})),
            yard.horse(3, &json!({"name": "Ash", "sex": "mare", "foaled_on": "2012"})),
            yard.horse(4, &json!({"name": "Ash", "sex": "gelding", "foaled_on": "2019"})),
        ] {
            herd::put_horse(&mut conn, &horse).expect("a horse");
        }
        let signer = Signer {
            device_id: DeviceId(id(901).parse().expect("an id")),
            public_key: yard
                .with_machine(|machine| home.device_key(machine))
                .expect("a key")
                .public(),
            account_id: AccountId(id(900).parse().expect("an id")),
            name: "Maren Oduya".to_owned(),
        };
        signers::add(&mut conn, &signer, yard.now.get().to_utc()).expect("added");
        let licence = json!([{
            "id": id(800), "account_id": id(900), "account_name": "Maren Oduya", "role": role, "number": "SM-117", "jurisdiction": "gb",
            "valid_until": null, "seen_at": null, "seen_by": null, "withdrawn_at": null, "created_at": NOW
        }]);
        if ["vet", "farrier"].contains(&role) {
            let licences: Vec<whorl_contract::licence::Licence> =
                serde_json::from_value(licence).expect("a licence");
            setting::keep_document(&mut conn, setting::LICENCES, &licences).expect("kept");
        }
        yard
    }

    fn horse(&self, n: u32, profile: &Value) -> Horse {
        let profile: Profile = serde_json::from_value(profile.clone()).expect("a profile");
        Horse {
            id: HorseId(id(n).parse().expect("an id")),
            barn_id: barn().id,
            owner_id: AccountId(id(902).parse().expect("an id")),
            roles: vec![self.role.parse().expect("a role")],
            kinds: Kind::ALL.to_vec(),
            seq: 0,
            handling: None,
            profile,
            created_at: self.now.get().to_utc(),
        }
    }

    /// Lets the clock show another time from now on.
    pub(crate) fn at(&self, now: &str) -> &Self {
        self.now.set(now.parse().expect("a time"));
        self
    }

    /// Lets everything in the outbox be in the log, as after a sync; `hide` says which contents this account may not
    /// see.
    pub(crate) fn synced(&self, hide: &[Kind]) {
        self.synced_as(hide, |logged| {
            logged.content = None;
            logged.salt = None;
        });
    }

    /// The same where not even the kind may be known; `open` are the kinds that the server said could be seen.
    pub(crate) fn synced_to_leaves(&self, hide: &[Kind], open: &[Kind]) {
        self.synced_as(hide, |logged| {
            logged.event_id = None;
            logged.kind = None;
            logged.envelope = None;
            logged.content = None;
            logged.salt = None;
            logged.signature = None;
            logged.open_kinds = (!open.is_empty()).then(|| mirror::codes(open));
        });
    }

    fn synced_as(&self, hide: &[Kind], seal: impl Fn(&mut Logged)) {
        let home = Home::open(&self.folder.path().join("whorl")).expect("a home");
        let mut conn = database::open(&home.database()).expect("a database");
        for entry in outbox::all(&mut conn).expect("the outbox") {
            let place = mirror::place(&mut conn, entry.horse_id.0).expect("a place");
            let seq = place.seq + 1;
            let mut logged = Logged {
                horse_id: entry.horse_id,
                seq,
                event_id: Some(entry.event_id),
                kind: Some(entry.kind.clone()),
                received_at: At(self.now.get().to_utc()).into(),
                envelope: Some(entry.envelope.clone()),
                content: Some(entry.content.clone()),
                salt: Some(entry.salt),
                signature: Some(entry.signature),
                leaf: Hash([7; 32]).into(),
                head: Hash([8; 32]).into(),
                open_kinds: None,
            };
            if hide.iter().any(|kind| kind.code() == entry.kind) {
                seal(&mut logged);
            }
            mirror::add(&mut conn, &logged).expect("logged");
            outbox::remove(&mut conn, entry.event_id.0).expect("removed");
        }
    }

    /// Lets output go to a terminal of so many columns from now on.
    pub(crate) fn wide(&self, columns: u16) -> &Self {
        self.width.set(Some(columns));
        self
    }

    /// A file in the test's folder.
    pub(crate) fn file(&self, name: &str, text: &str) -> String {
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).expect("written");
        path.display().to_string()
    }

    /// A folder in the test's folder.
    pub(crate) fn folder(&self, name: &str) -> String {
        let path = self.folder.path().join(name);
        std::fs::create_dir_all(&path).expect("made");
        path.display().to_string()
    }

    fn with_machine<T>(&self, work: impl FnOnce(Machine<'_>) -> T) -> T {
        let clock = || self.now.get();
        let random = |bytes: &mut [u8]| {
            self.count.set(self.count.get() + 1);
            for (byte, count) in bytes.iter_mut().rev().zip(self.count.get().to_le_bytes()) {
                *byte = count;
            }
            Ok(())
        };
        let sleep = |_| {};
        work(Machine {
            clock: &clock,
            random: &random,
            sleep: &sleep,
        })
    }

    /// Runs a command as a script does.
    pub(crate) fn run(&self, args: &[&str]) -> Ran {
        self.run_with(args, None)
    }

    /// Runs a command on a terminal whose person types these lines.
    pub(crate) fn answering(&self, args: &[&str], lines: &str) -> Ran {
        self.run_with(args, Some(lines))
    }

    fn run_with(&self, args: &[&str], typed: Option<&str>) -> Ran {
        self.with_machine(|machine| self.run_on(machine, args, typed))
    }

    fn run_on(&self, machine: Machine<'_>, args: &[&str], typed: Option<&str>) -> Ran {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let mut input = typed.unwrap_or_default().as_bytes();
        let mut world = World {
            out: &mut out,
            err: &mut err,
            input: &mut input,
            secret: &|_| Err(io::Error::other("nobody types secrets here")),
            machine,
            home: Some(self.folder.path().join("whorl")),
            rules: None,
            password: None,
            device_name: "test".to_owned(),
            asks: typed.is_some(),
            watched: false,
            width: self.width.get(),
        };
        let words = std::iter::once("whorl").chain(args.iter().copied());
        let status = whorl_cli::run(words.map(OsString::from), &mut world);
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
        Ran {
            status,
            out: text(out),
            err: text(err),
        }
    }
}

fn barn() -> Barn {
    serde_json::from_value(json!({
        "id": id(500), "owner_id": id(902), "name": "Saltmarsh Yard", "time_zone": "Europe/London",
        "region": "gb", "created_at": NOW
    }))
    .expect("a barn")
}
