//! A device in a test: its folder, its clock, and its commands run in process.

use std::cell::Cell;
use std::ffi::OsString;
use std::io;
use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, FixedOffset, TimeDelta};
use serde_json::Value;
use whorl_cli::author::{Author, Draft};
use whorl_cli::database;
use whorl_cli::home::Home;
use whorl_cli::world::{Machine, World};

use crate::server::{PASSWORD, Server};

pub(crate) struct Device {
    pub(crate) folder: tempfile::TempDir,
    /// Seconds after the start of the test.
    pub(crate) later: Cell<i64>,
    /// Pauses that were asked for.
    pub(crate) slept: Cell<u32>,
    /// How long they were together.
    pub(crate) rested: Cell<Duration>,
}

/// What a command said.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) status: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Said {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

impl Device {
    pub(crate) fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
            later: Cell::new(0),
            slept: Cell::new(0),
            rested: Cell::default(),
        }
    }

    pub(crate) fn home(&self) -> PathBuf {
        self.folder.path().join("home")
    }

    fn now(&self) -> DateTime<FixedOffset> {
        let start = DateTime::parse_from_rfc3339("2027-03-04T09:20:00-05:00").expect("a time");
        start + TimeDelta::seconds(self.later.get())
    }

    pub(crate) fn run(&self, args: &[&str]) -> Said {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let mut world = World {
            out: &mut out,
            err: &mut err,
            input: &mut io::empty(),
            secret: &|_| Err(io::Error::other("nobody is there")),
            machine: Machine {
                clock: &|| self.now(),
                random: &|bytes| getrandom::fill(bytes).map_err(io::Error::other),
                sleep: &|pause: Duration| {
                    self.slept.set(self.slept.get() + 1);
                    self.rested.set(self.rested.get() + pause);
                },
            },
            home: Some(self.home()),
            rules: None,
            password: Some(PASSWORD.to_owned()),
            device_name: "phone in the truck".to_owned(),
            asks: false,
            watched: false,
            width: None,
        };
        let args = ["whorl"].iter().chain(args).map(OsString::from);
        let status = whorl_cli::run(args, &mut world);
        Said {
            status,
            out: String::from_utf8(out).expect("UTF-8"),
            err: String::from_utf8(err).expect("UTF-8"),
        }
    }

    /// Records what no command of these tests records.
    pub(crate) fn sign(&self, draft: impl FnOnce(DateTime<FixedOffset>) -> Draft) {
        let home = Home::open(&self.home()).expect("a folder");
        let mut conn = database::open(&home.database()).expect("a record");
        let clock = || self.now();
        let machine = Machine {
            clock: &clock,
            random: &|bytes| getrandom::fill(bytes).map_err(io::Error::other),
            sleep: &|_| (),
        };
        let author = Author::new(&home, &mut conn, machine).expect("an author");
        let signed = author.sign(&mut conn, &draft(self.now())).expect("sound");
        author.queue(&mut conn, &[signed]).expect("queued");
    }

    /// Runs a command that has to work.
    pub(crate) fn ok(&self, args: &[&str]) -> Said {
        let said = self.run(args);
        assert_eq!(said.status, 0, "{args:?}: {said:?}");
        said
    }

    pub(crate) fn join(&self, server: &Server) {
        self.ok(&["join", &server.address, "--email", "wren@saltmarsh.example"]);
    }

    /// Brings a horse in: one entry that waits.
    pub(crate) fn add_horse(&self, name: &str) -> Value {
        self.ok(&["--json", "horse", "add", name, "--sex", "mare"])
            .json()
    }

    pub(crate) fn status(&self) -> Value {
        self.ok(&["--json", "status"]).json()
    }
}
