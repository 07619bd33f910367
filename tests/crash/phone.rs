//! A person's device with the real client on it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use chrono::TimeDelta;
use diesel::sqlite::SqliteConnection;
use serde_json::Value;
use whorl_care::ids::{DeviceId, EventId, HorseId};
use whorl_cli::home::Home;
use whorl_cli::{database, mirror, outbox};
use whorl_contract::chain;
use whorl_tests::process::{Place, program, random_below};

use crate::load::Load;
use crate::witness::Witness;

/// A person's device: its folder, and what it was told is recorded.
pub(crate) struct Phone {
    pub(crate) home: PathBuf,
    pub(crate) device: DeviceId,
    pub(crate) recorded: BTreeSet<EventId>,
    pub(crate) tries: usize,
    /// How long a command lives at most before it is killed, in milliseconds: so that about half come to their end, on
    /// whatever machine.
    life: u64,
}

impl Phone {
    pub(crate) fn join(folder: &Path, place: &Place, load: &Load) -> Self {
        let home = folder.join("home");
        let owner = &load.yard.owner;
        let joined = whorl(&home)
            .env("WHORL_PASSWORD", &owner.password)
            .args(["join", &place.url(), "--email", &owner.email])
            .output()
            .expect("a process");
        assert!(joined.status.success(), "{joined:?}");
        let member = Home::open(&home).expect("a folder").member();
        Self {
            device: member.expect("a membership").device_id,
            home,
            recorded: BTreeSet::new(),
            tries: 0,
            life: 200,
        }
    }

    pub(crate) fn open(&self) -> SqliteConnection {
        let home = Home::open(&self.home).expect("a folder");
        database::open(&home.database()).expect("a database")
    }

    /// Runs a command and kills it after a while, unless it has ended.
    pub(crate) fn cut_short(&mut self, args: &[&str]) -> Output {
        let mut child = whorl(&self.home).args(args).spawn().expect("a process");
        std::thread::sleep(Duration::from_millis(random_below(self.life)));
        child.kill().expect("killed");
        let done = child.wait_with_output().expect("ended");
        let killed = done.status.code().is_none();
        self.life = if killed {
            self.life + self.life / 3
        } else {
            self.life - self.life / 4
        };
        done
    }

    /// Runs a command to its end.
    pub(crate) fn run(&self, args: &[&str]) -> Output {
        whorl(&self.home).args(args).output().expect("a process")
    }

    /// Records a weight, unless it is killed before.
    pub(crate) fn record(&mut self, horse: HorseId, cut_short: bool) {
        self.tries += 1;
        let horse = horse.to_string();
        let weight = ["--json", "record", "weight", &horse, "--weight", "500kg"];
        let args = [&weight[..], &["--method", "scale"]].concat();
        let done = if cut_short {
            self.cut_short(&args)
        } else {
            self.run(&args)
        };
        assert!(matches!(done.status.code(), None | Some(0)), "{done:?}");
        if let Ok(answer) = serde_json::from_slice::<Value>(&done.stdout) {
            let id = serde_json::from_value(answer["id"].clone()).expect("an id");
            self.recorded.insert(id);
        }
    }

    /// Makes the next command ask for new tokens first.
    pub(crate) fn let_the_token_end(&self) {
        let home = Home::open(&self.home).expect("a folder");
        let mut member = home.member().expect("a membership");
        if let Some(tokens) = &mut member.tokens {
            tokens.access_until -= TimeDelta::hours(1);
        }
        home.keep_membership(&member).expect("kept");
    }

    /// What was said to be recorded is here, at one place; each copy is the beginning of the server's log.
    pub(crate) fn check(&self, witness: &Witness) {
        let conn = &mut self.open();
        for id in &self.recorded {
            let waits = outbox::find(conn, *id).expect("read").is_some();
            let came = mirror::find(conn, *id).expect("read").is_some();
            assert!(waits != came, "{id}: waits {waits}, came back {came}");
        }
        for entry in outbox::all(conn).expect("read") {
            entry.event().expect("whole").open().expect("genuine");
        }
        for horse in mirror::horses(conn).expect("read") {
            let mut head = chain::start(horse);
            for (entry, seq) in mirror::log(conn, horse).expect("read").iter().zip(1..) {
                assert_eq!(entry.seq, seq, "a gap");
                head = chain::next(&head, &entry.leaf.0);
                assert_eq!(entry.head.0, head);
                assert_eq!(witness.head(horse, seq), Some(head), "I7");
            }
        }
    }
}

pub(crate) fn whorl(home: &Path) -> Command {
    let mut command = program("whorl");
    command
        .env("WHORL_HOME", home)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}
