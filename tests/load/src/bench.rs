//! What is measured, and how.

use std::path::PathBuf;
use std::time::Duration;

use whorl_care::ids::HorseId;
use whorl_contract::key::Hash;
use whorl_contract::path;
use whorl_contract::sync::{Pull, Pulled, Push, Want};
use whorl_store::events::{self, EventRow};

use crate::Outcome;
use crate::client::{Client, get, post};
use crate::figures::{Figure, Goal, middle};
use crate::fill;
use crate::limits::{Nginx, pgbench, psql, raw_inserts};
use crate::pace;
use crate::plans::{self, Ids};
use crate::server::{Server, Setup};
use crate::world::{Part, Person, World, now};

/// So many people push and read.
const PEOPLE: u64 = 16;

/// So many horses' events are in one batch of a push.
const HORSES_OF_A_BATCH: u64 = 20;

/// A filled database, how to serve it, and how thorough to be.
pub(crate) struct Bench {
    pub(crate) world: World,
    pub(crate) setup: Setup,
    /// The SQLite file, if it is one, and a copy of it for raw inserts.
    pub(crate) files: Option<(PathBuf, PathBuf)>,
    pub(crate) rounds: u32,
    /// The longest that one measurement may take.
    pub(crate) most: Duration,
    pub(crate) nginx: bool,
}

/// What can be measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Measure {
    /// Cold start, idle memory, disk.
    Rest,
    /// Reading: history, due board, pull.
    Read,
    /// Pushing one event at a time.
    Push,
    /// Pushing in batches.
    Batch,
    /// Refusing wrong passwords.
    Guess,
    /// The query plans.
    Plans,
}

/// Somebody who is signed in.
struct Caller {
    person: Person,
    barn: u64,
    token: String,
}

impl Bench {
    fn callers(&self, server: &Server) -> Outcome<Vec<Caller>> {
        let core = self.world.core;
        let barns = core.horses.div_ceil(core.barn).min(PEOPLE);
        (0..barns)
            .map(|barn| {
                let person = self.world.person(Part::Owner, barn);
                Ok(Caller {
                    token: server.sign_in(&person)?,
                    person,
                    barn,
                })
            })
            .collect()
    }

    /// Cold start, idle memory, disk.
    pub(crate) fn at_rest(&self) -> Outcome<Vec<Figure>> {
        let mut starts = Vec::new();
        for _ in 0..self.rounds * 3 {
            starts.push(self.setup.start()?.ready_after.as_secs_f64() * 1_000.0);
        }
        let server = self.setup.start()?;
        std::thread::sleep(Duration::from_millis(500));
        let memory = server.memory()?;
        let events = self.world.events;
        let bytes = match &self.files {
            Some((file, _)) => std::fs::metadata(file)?.len(),
            None => psql(&self.setup.url, "SELECT sum(pg_total_relation_size(c.oid)) FROM pg_class c JOIN pg_namespace n ON n.oid = relnamespace WHERE nspname = current_schema AND relkind = 'r'")?
                .trim()
                .parse()?,
        };
        Ok(vec![
            Figure::less("cold start", "ms", middle(starts)).goal(Goal::AtMost(50.0)),
            Figure::less("idle memory", "MB", mega(memory.resident))
                .goal(Goal::AtMost(30.0))
                .note(format!(
                    "{:.1} MB of it its own, the rest the program's file",
                    mega(memory.own)
                )),
            Figure::less("disk for an event", "bytes", pace::ratio(bytes, events))
                .goal(Goal::AtMost(1_000.0)),
        ])
    }

    /// What a signed-in request costs at least; history, due board, pull.
    pub(crate) fn reading(&self) -> Outcome<Vec<Figure>> {
        let server = self.setup.start()?;
        let callers = self.callers(&server)?;
        // A connection of its own for each: the server closes one that was idle while something else was measured.
        let first = |request: &[u8]| -> Outcome<Vec<u8>> {
            Ok(Client::connect(server.address)?.ask(request)?.to_vec())
        };
        let long: Vec<u64> = self.world.long_logs().collect();
        let of = |barn: u64| {
            long.iter()
                .copied()
                .filter(move |horse| self.world.barn_of(*horse) == barn)
        };

        // What any signed-in request costs: nothing below can be quicker.
        let least: Vec<Vec<u8>> = callers
            .iter()
            .map(|caller| get(path::ACCOUNT, &caller.token))
            .collect();
        let answer = first(&least[0])?;
        let mut figures = self.gets(&server, "one's own account", &least, &answer, 16, &[])?;

        let pages: Vec<Vec<u8>> = callers
            .iter()
            .flat_map(|caller| {
                of(caller.barn)
                    .map(|horse| get(&path::history(self.world.horse(horse)), &caller.token))
            })
            .collect();
        let page = first(&pages[0])?;
        let goals = [Goal::AtLeast(10_000.0)];
        figures.extend(self.gets(&server, "history page of 50", &pages, &page, 16, &goals)?);

        let boards: Vec<Vec<u8>> = callers
            .iter()
            .map(|caller| get(&path::barn_due(self.world.barn(caller.barn)), &caller.token))
            .collect();
        let board = first(&boards[0])?;
        figures.extend(self.gets(&server, "due board of a barn", &boards, &board, 16, &[])?);
        figures.push(self.pulling(&server, &callers, &of)?);
        Ok(figures)
    }

    fn gets(
        &self,
        server: &Server,
        name: &str,
        requests: &[Vec<u8>],
        page: &[u8],
        connections: usize,
        goals: &[Goal],
    ) -> Outcome<Vec<Figure>> {
        let nginx = self
            .nginx
            .then(|| Nginx::start(&self.setup.folder, page))
            .transpose()?;
        let many = |requests: &[Vec<u8>], count: usize| -> Vec<Vec<Vec<u8>>> {
            (0..connections)
                .map(|n| {
                    requests
                        .iter()
                        .cycle()
                        .skip(n)
                        .take(count)
                        .cloned()
                        .collect()
                })
                .collect()
        };
        let count = if self.rounds > 1 { 20_000 } else { 20 };
        let (ours, theirs) = (many(requests, count), many(&[Nginx::request()], count * 4));
        let anything = |_: &[u8]| Ok(());
        let mut late = Vec::new();
        let mut halves = Vec::new();
        let mut rounds = Vec::new();
        for _ in 0..self.rounds {
            let limit = match &nginx {
                Some(nginx) => pace::send(nginx.address, &theirs, self.most, anything)?.per_second,
                None => f64::NAN,
            };
            let sent = pace::send(server.address, &ours, self.most, anything)?;
            rounds.push((sent.per_second, limit));
            late.push(sent.p99.as_secs_f64() * 1_000.0);
            halves.push(sent.half.as_secs_f64() * 1_000.0);
        }
        let name = format!("{name}, {connections} connections");
        let mut figure =
            Figure::beside(&name, "requests/s", "pages/s of nginx", &rounds).note(format!(
                "{} bytes each; half within {:.2} ms",
                page.len(),
                middle(halves)
            ));
        for goal in goals {
            figure = figure.goal(*goal);
        }
        let late = Figure::less(format!("{name}, 99 % within"), "ms", middle(late));
        Ok(vec![
            figure,
            if goals.is_empty() {
                late
            } else {
                late.goal(Goal::AtMost(10.0))
            },
        ])
    }

    fn pulling<I: Iterator<Item = u64>>(
        &self,
        server: &Server,
        callers: &[Caller],
        of: &impl Fn(u64) -> I,
    ) -> Outcome<Figure> {
        let wanted = 10_000;
        let long = usize::try_from(self.world.core.long)?;
        let pairs: Vec<(&Caller, Vec<HorseId>)> = callers
            .iter()
            .flat_map(|caller| {
                let horses: Vec<HorseId> = of(caller.barn)
                    .map(|horse| self.world.horse(horse))
                    .collect();
                let pairs: Vec<_> = horses
                    .chunks(2)
                    .map(|pair| (caller, pair.to_vec()))
                    .collect();
                pairs
            })
            .collect();
        let mut connections: Vec<Vec<Vec<u8>>> = vec![Vec::new(); 2];
        let mut asked = 0;
        for (n, (caller, pair)) in pairs.iter().cycle().enumerate() {
            let wants = pair
                .iter()
                .map(|horse_id| Want {
                    horse_id: *horse_id,
                    after: 0,
                })
                .collect();
            let body = serde_json::to_string(&Pull {
                wants,
                limit: Some(1_000),
            })?;
            connections[n % 2].push(post(path::PULL, Some(&caller.token), &body));
            asked += pair.len() * long;
            if asked >= wanted || self.rounds == 1 {
                break;
            }
        }
        connections.retain(|requests| !requests.is_empty());
        let mut client = Client::connect(server.address)?;
        let first: Pulled = serde_json::from_slice(client.ask(&connections[0][0])?)?;
        let came: usize = first.runs.iter().map(|run| run.events.len()).sum();
        let expected = pairs[0].1.len() * long;
        if came != expected {
            return Err(format!("a pull gave {came} events, not {expected}").into());
        }
        let mut rates = Vec::new();
        for _ in 0..self.rounds * 3 {
            let began = std::time::Instant::now();
            pace::send(server.address, &connections, Duration::from_mins(1), |_| {
                Ok(())
            })?;
            rates.push(pace::rate(asked, began.elapsed()));
        }
        Ok(
            Figure::new("pull of 10,000 events", "events/s", middle(rates))
                .goal(Goal::AtLeast(100_000.0))
                .note("1,000 to a request, over two connections"),
        )
    }

    /// Pushing one event at a time.
    pub(crate) fn pushing(&self) -> Outcome<Vec<Figure>> {
        let server = self.setup.start()?;
        let mut figures = Vec::new();
        for (connections, goals) in [
            (1, vec![Goal::Ratio(0.6)]),
            (16, vec![Goal::AtLeast(6_000.0), Goal::Ratio(1.0)]),
            (64, Vec::new()),
        ] {
            let count = if self.rounds > 1 {
                30_000 / connections
            } else {
                20
            };
            figures.push(self.push(
                &server,
                Run {
                    connections,
                    size: 1,
                    count,
                },
                &goals,
            )?);
        }
        Ok(figures)
    }

    /// Pushing in batches.
    pub(crate) fn batches(&self) -> Outcome<Vec<Figure>> {
        let server = self.setup.start()?;
        let mut figures = Vec::new();
        for (connections, size, goals) in [
            (1, 100, Vec::new()),
            (4, 100, Vec::new()),
            (1, 1_000, Vec::new()),
            (4, 1_000, vec![Goal::AtLeast(26_500.0), Goal::Ratio(0.5)]),
        ] {
            let count = if self.rounds > 1 {
                60_000 / connections / size
            } else {
                1
            };
            figures.push(self.push(
                &server,
                Run {
                    connections,
                    size,
                    count,
                },
                &goals,
            )?);
        }
        Ok(figures)
    }

    fn push(&self, server: &Server, run: Run, goals: &[Goal]) -> Outcome<Figure> {
        let callers = self.callers(server)?;
        let (mut halves, mut late, mut rounds) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..self.rounds {
            let limit = self.limit(&callers, run)?;
            let requests = self.pushes(&callers, run)?;
            let pace = pace::send(server.address, &requests, self.most, |answer| {
                all_accepted(answer, run.size)
            })?;
            halves.push(pace.half.as_secs_f64() * 1_000.0);
            late.push(pace.p99.as_secs_f64() * 1_000.0);
            rounds.push((pace.per_second * f64::from(u32::try_from(run.size)?), limit));
        }
        let limit = if self.files.is_some() {
            "raw rows/s"
        } else {
            "rows/s of pgbench"
        };
        let name = format!("push of {}, {} connections", run.size, run.connections);
        let mut figure = Figure::beside(name, "events/s", limit, &rounds).note(format!(
            "half within {:.1} ms, 99 % within {:.1} ms",
            middle(halves),
            middle(late)
        ));
        for goal in goals {
            figure = figure.goal(*goal);
        }
        Ok(figure)
    }

    /// What the database takes without a server: on SQLite as many rows in a transaction as the push has events, on
    /// PostgreSQL a row and a commit on as many connections.
    fn limit(&self, callers: &[Caller], run: Run) -> Outcome<f64> {
        let most = self.most / 2;
        let Some((_, copy)) = &self.files else {
            let rows = self.rows(&callers[0], 16, run.size)?;
            return pgbench(
                &self.setup.url,
                &self.setup.folder,
                &rows,
                run.connections,
                most,
            );
        };
        let count = run.size
            * run.count.min(if run.size == 1 {
                2_000
            } else {
                40_000 / run.size
            });
        raw_inserts(
            copy,
            &self.rows(&callers[0], count, run.size)?,
            run.size,
            most,
        )
    }

    /// Rows that are in no log yet, far behind its end.
    fn rows(&self, caller: &Caller, count: usize, size: usize) -> Outcome<Vec<EventRow>> {
        let run = a_run();
        let behind = now().timestamp_micros();
        (0..count)
            .map(|n| {
                let made = self.world.new_event(
                    &caller.person,
                    self.horse(caller, 0, size, n),
                    run,
                    n as u64,
                )?;
                let mut row = fill::row(&made, &mut (behind + i64::try_from(n)?, Hash([0; 32])));
                row.envelope = events::kept_envelope(&row);
                Ok(row)
            })
            .collect()
    }

    /// Which horse the `n`th event of a run is about: a push of one always the same, a batch those of a yard in turn.
    fn horse(&self, caller: &Caller, connection: usize, size: usize, n: usize) -> u64 {
        let barn = self.world.core.barn;
        let turn = if size == 1 {
            0
        } else {
            n as u64 % HORSES_OF_A_BATCH
        };
        caller.barn * barn + (1 + connection as u64 * HORSES_OF_A_BATCH + turn) % barn
    }

    /// Signed beforehand: that is the devices' work, not the server's.
    fn pushes(&self, callers: &[Caller], run: Run) -> Outcome<Vec<Vec<Vec<u8>>>> {
        let make = |connection: usize| -> Outcome<Vec<Vec<u8>>> {
            let caller = &callers[connection % callers.len()];
            let number = a_run() + connection as u64;
            (0..run.count)
                .map(|request| {
                    let events = (request * run.size..(request + 1) * run.size).map(|n| {
                        let horse = self.horse(caller, connection / callers.len(), run.size, n);
                        Ok(self
                            .world
                            .new_event(&caller.person, horse, number, n as u64)?
                            .event)
                    });
                    let events = events.collect::<Outcome<Vec<_>>>()?;
                    Ok(post(
                        path::EVENTS,
                        Some(&caller.token),
                        &serde_json::to_string(&Push { events })?,
                    ))
                })
                .collect()
        };
        (0..run.connections).map(make).collect()
    }

    /// The query plans.
    pub(crate) fn plans(&self) -> Outcome<String> {
        let owner = self.world.person(Part::Owner, 0);
        let people = [Part::Owner, Part::Vet, Part::Farrier].map(|part| self.world.person(part, 0));
        let ids = Ids {
            horse: self.world.horse(0).to_string(),
            event: self.world.event(0, 1, &people)?.envelope.id.to_string(),
            barn: self.world.barn(0).to_string(),
            owner: owner.account.to_string(),
        };
        match &self.files {
            Some((file, _)) => plans::of_sqlite(file, &ids),
            None => plans::of_postgres(&self.setup.url, &ids),
        }
    }
}

/// A run of pushes.
#[derive(Clone, Copy, Debug)]
struct Run {
    connections: usize,
    /// Events in each push.
    size: usize,
    /// Pushes of each connection.
    count: usize,
}

/// A number that no other run has had: events are pushed once only.
fn a_run() -> u64 {
    now().timestamp_micros().unsigned_abs()
}

fn all_accepted(answer: &[u8], size: usize) -> Outcome {
    let accepted = answer
        .windows(8)
        .filter(|window| window == b"accepted")
        .count();
    if accepted == size {
        return Ok(());
    }
    Err(format!(
        "{accepted} of {size} events were accepted: {}",
        String::from_utf8_lossy(answer)
    )
    .into())
}

fn mega(bytes: u64) -> f64 {
    pace::ratio(bytes, 1_000_000)
}
