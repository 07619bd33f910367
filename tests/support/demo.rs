//! The demo's herd, seeded through the same client and the same API that people use.

mod feet;
pub mod scenario;

use std::collections::HashMap;
use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Days, FixedOffset, NaiveDate, NaiveTime, TimeDelta, TimeZone};
use serde_json::Value;
use whorl_care::ids::EventId;
use whorl_care::kind::{Kind, Role};
use whorl_care::sentence::words;
use whorl_cli::author::{Author, Draft};
use whorl_cli::home::Home;
use whorl_cli::world::{Machine, World};
use whorl_cli::{database, herd};
use whorl_contract::event::Content;

use scenario::{Dated, Horse, Person, Scenario};

/// Why the demo can't be laid down: which command, and what it said.
#[derive(Debug)]
pub struct NotSeeded(String);

impl std::fmt::Display for NotSeeded {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for NotSeeded {}

fn failed(what: &str, why: impl std::fmt::Display) -> NotSeeded {
    NotSeeded(format!("{what}: {why}"))
}

/// Where a person's client keeps its things.
#[must_use]
pub fn home_of(folder: &Path, person: &str) -> PathBuf {
    folder.join(person)
}

/// Runs one command of the client for a person and answers its status, output and errors.
#[must_use]
pub fn whorl(home: &Path, password: Option<&str>, args: &[&str]) -> (i32, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let status = {
        let mut world = World {
            out: &mut out,
            err: &mut err,
            input: &mut io::empty(),
            secret: &|_| Err(io::Error::other("nobody answers")),
            machine: Machine {
                clock: &whorl_cli::clock::now,
                random: &|bytes| getrandom::fill(bytes).map_err(io::Error::other),
                sleep: &std::thread::sleep,
            },
            home: Some(home.to_owned()),
            rules: None,
            password: password.map(str::to_owned),
            device_name: "demo".to_owned(),
            asks: false,
            watched: false,
            width: None,
        };
        let args = std::iter::once("whorl")
            .chain(args.iter().copied())
            .map(OsString::from);
        whorl_cli::run(args, &mut world)
    };
    let text = |bytes| String::from_utf8_lossy(bytes).into_owned();
    (status, text(&out), text(&err))
}

/// Lays the demo down.
struct Seeder<'a> {
    server: &'a str,
    folder: &'a Path,
    day: NaiveDate,
    scenario: Scenario,
    events: HashMap<String, EventId>,
}

/// Seeds a server with Saltmarsh Yard, its dates counted from `day`; each person's client lives in a folder of `folder`
/// named by their key. Answers the number of entries recorded.
///
/// # Errors
///
/// [`NotSeeded`] with the command that failed and what it said.
pub fn seed(server: &str, folder: &Path, day: NaiveDate) -> Result<usize, NotSeeded> {
    let mut seeder = Seeder {
        server,
        folder,
        day,
        scenario: Scenario::read(),
        events: HashMap::new(),
    };
    seeder.people()?;
    let horses = seeder.horses()?;
    let entries = seeder.entries()?;
    seeder.sale()?;
    for person in &seeder.scenario.people {
        seeder.run(person, &["sync"])?;
    }
    Ok(horses + entries)
}

impl Seeder<'_> {
    fn run(&self, person: &Person, args: &[&str]) -> Result<String, NotSeeded> {
        let (status, out, err) = whorl(
            &home_of(self.folder, &person.key),
            Some(&person.password),
            args,
        );
        if status == 0 {
            return Ok(out);
        }
        Err(failed(
            &format!("{}: whorl {}", person.name, args.join(" ")),
            err,
        ))
    }

    fn person(&self, key: &str) -> Result<&Person, NotSeeded> {
        let found = self.scenario.people.iter().find(|person| person.key == key);
        found.ok_or_else(|| failed("the scenario", format!("nobody is called {key}")))
    }

    /// Opens accounts, the yard, and lets the people in by invitation.
    fn people(&self) -> Result<(), NotSeeded> {
        let yard = &self.scenario.barn;
        let mut owner: Option<&Person> = None;
        for person in &self.scenario.people {
            let join = [
                "join",
                self.server,
                "--email",
                &person.email,
                "--name",
                &person.name,
                "--device",
                &person.device,
            ];
            self.run(person, &join)?;
            let barn = person
                .barn
                .as_deref()
                .or(owner.is_none().then_some(yard.name.as_str()));
            if let Some(barn) = barn {
                let add = [
                    "barn",
                    "add",
                    barn,
                    "--time-zone",
                    &yard.time_zone,
                    "--region",
                    &yard.region,
                ];
                self.run(person, &add)?;
            }
            if let (Some(owner), None) = (owner, &person.barn) {
                let invite = [
                    "invite",
                    "--role",
                    person.role.code(),
                    "--barn",
                    &yard.name,
                    "--json",
                ];
                let answer: Value = serde_json::from_str(&self.run(owner, &invite)?)
                    .map_err(|why| failed("invite", why))?;
                let code = answer["code"]
                    .as_str()
                    .ok_or_else(|| failed("invite", "no code came back"))?;
                self.run(person, &["accept", code])?;
            }
            if let Some(number) = &person.licence {
                let role = person.role.code();
                self.run(
                    person,
                    &[
                        "licence",
                        "add",
                        "--role",
                        role,
                        "--number",
                        number,
                        "--jurisdiction",
                        &yard.region,
                    ],
                )?;
            }
            owner = owner.or(Some(person));
        }
        Ok(())
    }

    /// Brings the horses in, each with what its papers say.
    fn horses(&self) -> Result<usize, NotSeeded> {
        let owner = &self.scenario.people[0];
        for horse in &self.scenario.horses {
            self.run(
                owner,
                &[
                    "horse",
                    "add",
                    name_of(horse),
                    "--barn",
                    &self.scenario.barn.name,
                ],
            )?;
        }
        self.run(owner, &["sync"])?;
        for horse in &self.scenario.horses {
            let identity = Scenario::identity(horse, self.day);
            let born = identity["foaled_on"]
                .as_str()
                .and_then(|text| text.parse::<NaiveDate>().ok());
            let two_years_ago = self.day - Days::new(722);
            let on = born.map_or(two_years_ago, |born| born.max(two_years_ago));
            let entry = Dated {
                key: None,
                horse: horse.key.clone(),
                by: owner.key.clone(),
                kind: Kind::Identity,
                at: morning(on),
                transcribed: false,
                performed_by: None,
                note: None,
                target: None,
                details: identity,
            };
            self.sign(owner, &entry, None)?;
        }
        self.run(owner, &["sync"])?;
        for person in &self.scenario.people {
            self.run(person, &["sync"])?;
        }
        Ok(self.scenario.horses.len() * 2)
    }

    /// Records two years, each entry on its day by its author, and pushes whenever the author changes.
    fn entries(&mut self) -> Result<usize, NotSeeded> {
        let entries = self.scenario.entries(self.day);
        for (n, entry) in entries.iter().enumerate() {
            let author = self.person(&entry.by)?.clone();
            let target = match &entry.target {
                None => None,
                Some(key) => Some(
                    *self
                        .events
                        .get(key)
                        .ok_or_else(|| failed("the scenario", format!("no entry {key}")))?,
                ),
            };
            if target.is_some() {
                // What one speaks about must be on one's own device.
                self.run(&author, &["sync"])?;
            }
            let id = self.sign(&author, entry, target)?;
            if let Some(key) = &entry.key {
                self.events.insert(key.clone(), id);
            }
            if entries.get(n + 1).is_none_or(|next| next.by != entry.by) {
                self.run(&author, &["push"])?;
            }
        }
        Ok(entries.len())
    }

    /// Signs an entry with its author's client, as if it were that morning.
    fn sign(
        &self,
        author: &Person,
        entry: &Dated,
        target: Option<EventId>,
    ) -> Result<EventId, NotSeeded> {
        let what = || {
            format!(
                "{} records {} on {} at {}",
                author.name, entry.kind, entry.horse, entry.at
            )
        };
        let clock = || entry.at + TimeDelta::minutes(5);
        let machine = Machine {
            clock: &clock,
            random: &|bytes| getrandom::fill(bytes).map_err(io::Error::other),
            sleep: &std::thread::sleep,
        };
        let home =
            Home::open(&home_of(self.folder, &author.key)).map_err(|why| failed(&what(), why))?;
        let mut conn = database::open(&home.database()).map_err(|why| failed(&what(), why))?;
        let horse = self
            .scenario
            .horses
            .iter()
            .find(|horse| horse.key == entry.horse);
        let horse = horse.ok_or_else(|| failed(&what(), "there is no such horse"))?;
        let known = herd::named(&mut conn, name_of(horse)).map_err(|why| failed(&what(), why))?;
        let draft = Draft {
            horse_id: known.id,
            kind: entry.kind,
            performed_at: entry.at,
            role: (author.role == Role::Owner).then_some(Role::Owner),
            transcribed: entry.transcribed,
            visit_id: None,
            target_id: target,
            content: Content {
                performed_by: entry.performed_by.clone(),
                note: entry.note.clone(),
                attachments: Vec::new(),
                details: entry.details.clone(),
            },
        };
        let author = Author::new(&home, &mut conn, machine).map_err(|why| failed(&what(), why))?;
        let signed = author
            .sign(&mut conn, &draft)
            .map_err(|why| failed(&what(), why))?;
        let id = signed.envelope.id;
        author
            .queue(&mut conn, &[signed])
            .map_err(|why| failed(&what(), why))?;
        Ok(id)
    }

    /// Sells what is sold: offered by the owner, accepted by the buyer.
    fn sale(&self) -> Result<(), NotSeeded> {
        let owner = &self.scenario.people[0];
        for horse in &self.scenario.horses {
            let Some(buyer) = &horse.sold_to else {
                continue;
            };
            let buyer = self.person(buyer)?;
            let offer = ["transfer", "offer", name_of(horse), "--to", &buyer.email];
            self.run(owner, &offer)?;
            let list = self.run(buyer, &["transfer", "list", "--json"])?;
            let list: Value =
                serde_json::from_str(&list).map_err(|why| failed("transfer list", why))?;
            let items = list.get("items").unwrap_or(&list);
            let id = items
                .pointer("/0/id")
                .and_then(Value::as_str)
                .unwrap_or_default()
                .to_owned();
            let mut accept = vec!["transfer", "accept", &id];
            if let Some(barn) = &buyer.barn {
                accept.extend(["--barn", barn]);
            }
            self.run(buyer, &accept)?;
        }
        Ok(())
    }
}

fn name_of(horse: &Horse) -> &str {
    horse
        .identity
        .get("name")
        .and_then(Value::as_str)
        .unwrap_or(&horse.key)
}

/// Eight in the morning of that day, in universal time.
fn morning(day: NaiveDate) -> DateTime<FixedOffset> {
    let eight = NaiveTime::from_hms_opt(8, 0, 0).unwrap_or_default();
    chrono::Utc
        .from_utc_datetime(&day.and_time(eight))
        .fixed_offset()
}

/// What the demo tells whoever tries it: the addresses, the people, and three commands for three of them.
#[must_use]
pub fn invitation(address: &str, people: &Path) -> String {
    let scenario = Scenario::read();
    let mut text = format!(
        "\nSaltmarsh Yard is at {address} (documentation: {address}/docs/). Stop it with Ctrl-C; it keeps its record.\n\nThe people (their passwords are no secret):\n"
    );
    for person in &scenario.people {
        text = format!(
            "{text}  {:<16} {:<12} {:<28} {}\n",
            person.name,
            words(person.role.code()),
            person.email,
            person.password
        );
    }
    let whorl = |who: &str, command: &str| {
        format!(
            "  WHORL_HOME={} target/debug/whorl {command}\n",
            home_of(people, who).display()
        )
    };
    text.push_str("\nEach has a client of their own. In another terminal, the farrier records a trim (no connection is needed), the barn hand\na weight and a deworming under the vet's plan; they push, and the owner reads the history:\n\n");
    for (who, command) in TRY {
        text.push_str(&whorl(who, command));
    }
    text
}

/// What three people would do first.
const TRY: &[(&str, &str)] = &[
    ("idris", "horses"),
    (
        "idris",
        "record trim Marram --before LF:toe=92mm,angle=50 --after LF:toe=84mm,angle=52 --next-in-weeks 8",
    ),
    ("idris", "push"),
    ("tove", "record weight Marram --weight 531kg --method tape"),
    (
        "tove",
        "record deworming Marram --active ivermectin --product Drovepaste --concentration 1.87 --lot DP-7731",
    ),
    ("tove", "push"),
    ("wren", "sync"),
    ("wren", "history Marram"),
];

#[cfg(test)]
mod tests {
    use clap::Parser;
    use whorl_cli::command::Cli;

    use super::*;

    #[test]
    fn what_is_printed_to_try_is_said_as_whorl_takes_it_by_people_of_the_yard() {
        let scenario = Scenario::read();
        for (who, command) in TRY {
            let words = std::iter::once("whorl").chain(command.split(' '));
            let read = Cli::try_parse_from(words).map(drop);
            assert!(read.is_ok(), "{command}: {read:?}");
            assert!(scenario.people.iter().any(|one| one.key == *who), "{who}");
        }
        let told = invitation("http://127.0.0.1:8040", Path::new("people"));
        assert!(told.contains("whorl record deworming"), "{told}");
    }
}
