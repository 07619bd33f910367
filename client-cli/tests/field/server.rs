//! A small server on a real socket that answers, lies, stalls and hangs up as it is told.

use std::collections::{BTreeMap, VecDeque};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use uuid::Uuid;
use whorl_care::ids::HorseId;

use crate::device::Device;
use whorl_contract::chain;
use whorl_contract::event::{LoggedEvent, SignedEvent};
use whorl_contract::key::{Purpose, SecretKey};
use whorl_contract::problem::{self, Kind, Problem};
use whorl_contract::session::{Refresh, SignIn, refresh_message};
use whorl_contract::sync::{HeadInfo, Heads, Outcome, Pull, Pulled, Push, Pushed, Run, Signer};

pub(crate) const EPOCH: Uuid = Uuid::from_u128(3);
pub(crate) const ACCOUNT: Uuid = Uuid::from_u128(40);
const DEVICE: Uuid = Uuid::from_u128(41);
pub(crate) const BARN: Uuid = Uuid::from_u128(42);
pub(crate) const PASSWORD: &str = "tide over the grey flats";

/// What happens to one request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// It is answered.
    None,
    /// The connection ends before anything is done.
    HangUp,
    /// It is done, and the connection ends before the answer.
    LoseAnswer,
    /// It is done, and the answer ends in its middle.
    CutAnswer,
    /// The sign-in page of a guest network answers.
    SignInPage,
    /// A redirect to such a page answers.
    Redirect,
    /// The server says that it can't right now.
    Unavailable,
    /// The server asks to come back after so many seconds.
    TooMany(u32),
    /// A proxy's page says that there is no server behind it.
    BadGateway,
}

/// A request as it came.
#[derive(Clone, Debug)]
pub(crate) struct Seen {
    pub(crate) method: String,
    pub(crate) path: String,
    pub(crate) token: Option<String>,
}

#[derive(Default)]
pub(crate) struct State {
    /// Faults for requests whose path begins so, in order.
    pub(crate) faults: VecDeque<(&'static str, Fault)>,
    pub(crate) seen: Vec<Seen>,
    pub(crate) log: BTreeMap<HorseId, Vec<SignedEvent>>,
    pub(crate) signer: Option<Signer>,
    pub(crate) generation: u32,
    /// How often a used-up refresh token ended the session.
    pub(crate) families_ended: u32,
    /// Access tokens up to this generation have ended.
    pub(crate) expired: Option<u32>,
    pub(crate) account_open: bool,
    /// Files by their hash.
    pub(crate) attachments: BTreeMap<String, String>,
    /// The server's clock, in seconds after the start of the test.
    pub(crate) later: i64,
    /// Whether it refuses every event.
    pub(crate) refuses: bool,
}

impl State {
    fn now(&self) -> DateTime<Utc> {
        let start = DateTime::parse_from_rfc3339("2027-03-04T14:20:00Z").expect("a time");
        start.to_utc() + TimeDelta::seconds(self.later)
    }
}

/// The server; it ends with the process.
pub(crate) struct Server {
    pub(crate) address: String,
    pub(crate) state: Arc<Mutex<State>>,
}

impl Server {
    pub(crate) fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("bound"));
        let state = Arc::new(Mutex::new(State {
            account_open: true,
            ..State::default()
        }));
        let shared = Arc::clone(&state);
        thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let shared = Arc::clone(&shared);
                thread::spawn(move || serve(stream, &shared));
            }
        });
        Self { address, state }
    }

    pub(crate) fn fault(&self, path: &'static str, fault: Fault) {
        self.state
            .lock()
            .expect("state")
            .faults
            .push_back((path, fault));
    }

    pub(crate) fn seen(&self, path: &str) -> usize {
        let state = self.state.lock().expect("state");
        state
            .seen
            .iter()
            .filter(|one| one.path.starts_with(path))
            .count()
    }

    /// Time goes on, on both sides.
    pub(crate) fn wait(&self, device: &Device, seconds: i64) {
        self.state.lock().expect("state").later += seconds;
        device.later.set(device.later.get() + seconds);
    }

    pub(crate) fn events(&self) -> usize {
        let state = self.state.lock().expect("state");
        state.log.values().map(Vec::len).sum()
    }
}

struct Request {
    method: String,
    path: String,
    token: Option<String>,
    body: Vec<u8>,
}

fn read(reader: &mut BufReader<TcpStream>) -> Option<Request> {
    let mut first = String::new();
    reader.read_line(&mut first).ok().filter(|n| *n > 0)?;
    let mut words = first.split_whitespace();
    let (method, path) = (words.next()?.to_owned(), words.next()?.to_owned());
    let (mut length, mut token, mut packed) = (0, None, false);
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).ok()?;
        let line = line.trim_end();
        if line.is_empty() {
            break;
        }
        let (name, value) = line.split_once(':')?;
        match name.to_ascii_lowercase().as_str() {
            "content-length" => length = value.trim().parse().ok()?,
            "content-encoding" => packed = value.trim() == "gzip",
            "authorization" => token = value.trim().strip_prefix("Bearer ").map(str::to_owned),
            _ => {}
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    if packed {
        let mut plain = Vec::new();
        let mut unpacking = flate2::read::GzDecoder::new(&body[..]);
        unpacking.read_to_end(&mut plain).ok()?;
        body = plain;
    }
    Some(Request {
        method,
        path,
        token,
        body,
    })
}

fn serve(stream: TcpStream, shared: &Mutex<State>) {
    let mut reader = BufReader::new(stream.try_clone().expect("a socket"));
    let mut stream = stream;
    while let Some(request) = read(&mut reader) {
        let mut state = shared.lock().expect("state");
        state.seen.push(Seen {
            method: request.method.clone(),
            path: request.path.clone(),
            token: request.token.clone(),
        });
        let at = state
            .faults
            .iter()
            .position(|(path, _)| request.path.starts_with(path));
        let fault = at
            .and_then(|at| state.faults.remove(at))
            .map_or(Fault::None, |(_, fault)| fault);
        let html = "<html><body>Please sign in to the guest network</body></html>";
        let (status, media_type, body) = match fault {
            Fault::HangUp => return,
            Fault::SignInPage => (200, "text/html", html.to_owned()),
            Fault::Redirect => (302, "text/html", html.to_owned()),
            Fault::BadGateway => (502, "text/html", html.to_owned()),
            Fault::Unavailable => problem(503, Kind::Unavailable),
            Fault::TooMany(_) => problem(429, Kind::TooManyRequests),
            _ => answer(&mut state, &request),
        };
        drop(state);
        let wait = match fault {
            Fault::TooMany(seconds) => format!("Retry-After: {seconds}\r\n"),
            _ => String::new(),
        };
        let head = format!(
            "HTTP/1.1 {status} X\r\nContent-Type: {media_type}\r\nLocation: http://portal.example/\r\n{wait}Content-Length: {}\r\n\r\n",
            body.len()
        );
        let whole = [head.as_bytes(), body.as_bytes()].concat();
        let sent = match fault {
            Fault::LoseAnswer => return,
            Fault::CutAnswer => &whole[..head.len() + body.len() / 2],
            _ => &whole[..],
        };
        if stream.write_all(sent).is_err() || fault == Fault::CutAnswer {
            return;
        }
    }
}

type Answer = (u16, &'static str, String);

fn ok(body: &impl serde::Serialize) -> Answer {
    let text = serde_json::to_string(body).expect("JSON");
    (200, "application/json", text)
}

fn problem(status: u16, kind: Kind) -> Answer {
    let problem = Problem {
        kind,
        title: kind.title().to_owned(),
        status,
        detail: None,
        instance: None,
        policy_row: None,
        errors: Vec::new(),
    };
    let text = serde_json::to_string(&problem).expect("JSON");
    (status, "application/problem+json", text)
}

fn answer(state: &mut State, request: &Request) -> Answer {
    let path = request.path.split('?').next().unwrap_or_default();
    match (request.method.as_str(), path) {
        ("GET", "/v1/server") => return ok(&info(state)),
        ("POST", "/v1/sessions") => return sign_in(state, &request.body),
        ("POST", "/v1/accounts") => {
            state.account_open = true;
            return ok(&account());
        }
        ("POST", "/v1/sessions/refresh") => return refresh(state, &request.body),
        _ => {}
    }
    let good = |generation: u32| Some(format!("access{generation}")) == request.token;
    let alive =
        (0..=state.generation).any(|one| good(one) && state.expired.is_none_or(|old| one > old));
    if !alive {
        return problem(401, Kind::Unauthenticated);
    }
    match (request.method.as_str(), path) {
        ("POST", "/v1/events") => push(state, &request.body),
        ("GET", "/v1/sync/heads") => heads(state),
        ("POST", "/v1/sync/pull") => pull(state, &request.body),
        ("POST", "/v1/horses") => {
            let new: whorl_contract::horse::NewHorse =
                serde_json::from_slice(&request.body).expect("a horse");
            state.log.entry(new.id).or_default();
            ok(&horse(new.id))
        }
        ("GET", "/v1/horses") => {
            let horses: Vec<Value> = state.log.keys().map(|&id| horse(id)).collect();
            ok(&json!({"items": horses, "next_cursor": null}))
        }
        ("GET", "/v1/barns") => ok(&json!({"items": [barn()], "next_cursor": null})),
        ("GET", "/v1/policy") => ok(&json!({})),
        ("GET", "/v1/grants" | "/v1/licences") => ok(&json!({"items": [], "next_cursor": null})),
        ("DELETE", "/v1/sessions/current") => (204, "application/json", String::new()),
        ("POST", path) if path.ends_with("/attachments") => {
            let file = String::from_utf8_lossy(&request.body).into_owned();
            let hash = whorl_cli::attachments::sha256(&request.body);
            state.attachments.insert(hash, file);
            ok(
                &json!({"sha256": "", "media_type": "image/jpeg", "bytes": request.body.len(),
                "uploaded_by": ACCOUNT, "created_at": "2027-03-01T08:00:00Z"}),
            )
        }
        ("GET", path) if path.contains("/attachments/") => {
            let hash = path.rsplit('/').next().unwrap_or_default();
            state.attachments.get(hash).map_or_else(
                || problem(404, Kind::NotFound),
                |file| (200, "application/pdf", file.clone()),
            )
        }
        _ => problem(404, Kind::NotFound),
    }
}

fn info(state: &State) -> Value {
    let time = state.now();
    json!({"name": "saltmarsh.example", "version": "0", "vocabulary": 1, "epoch": EPOCH,
        "key": SecretKey::from_seed(&[9; 32]).public(), "time": time,
        "limits": {"events_per_push": 1000, "events_per_pull": 1000, "body_bytes": 4_194_304, "attachment_bytes": 16_777_216}})
}

fn account() -> Value {
    json!({"id": ACCOUNT, "email": "wren@saltmarsh.example", "name": "Wren Halloran", "operator": false,
        "created_at": "2027-03-01T08:00:00Z"})
}

fn barn() -> Value {
    json!({"id": BARN, "owner_id": ACCOUNT, "name": "Saltmarsh Yard", "time_zone": "Europe/London", "region": "gb",
        "created_at": "2027-03-01T08:00:00Z"})
}

fn horse(id: HorseId) -> Value {
    let profile = whorl_care::horse::Horse {
        name: Some("Plover".to_owned()),
        ..whorl_care::horse::Horse::default()
    };
    json!({"id": id, "barn_id": BARN, "owner_id": ACCOUNT, "roles": ["owner"], "seq": 0, "handling": null,
        "profile": profile, "created_at": "2027-03-01T08:00:00Z"})
}

fn session(state: &State) -> Answer {
    let generation = state.generation;
    ok(
        &json!({"session_id": Uuid::from_u128(2), "access_token": format!("access{generation}"), "expires_in": 600,
        "refresh_token": format!("refresh{generation}"), "device_id": DEVICE, "account": account()}),
    )
}

fn sign_in(state: &mut State, body: &[u8]) -> Answer {
    let sign_in: SignIn = serde_json::from_slice(body).expect("a sign-in");
    if sign_in.password != PASSWORD || !state.account_open {
        return problem(401, Kind::WrongCredentials);
    }
    let device = sign_in.device.expect("a device");
    let proved =
        device
            .public_key
            .verifies(Purpose::Device, sign_in.email.as_bytes(), &device.proof);
    assert!(proved, "the device proves its key");
    state.signer = Some(Signer {
        device_id: DEVICE.into(),
        public_key: device.public_key,
        account_id: ACCOUNT.into(),
        name: "Wren Halloran".to_owned(),
    });
    session(state)
}

/// The rule of the contract: the successor of the latest token is given again until it has been used; an older token
/// ends the whole family.
fn refresh(state: &mut State, body: &[u8]) -> Answer {
    let refresh: Refresh = serde_json::from_slice(body).expect("a refresh");
    let key = state.signer.as_ref().expect("a device").public_key;
    let at = refresh.signed_at.expect("a time");
    let message = refresh_message(&refresh.refresh_token, at);
    let proof = refresh.proof.expect("a proof");
    if (at - state.now()).abs() > TimeDelta::minutes(10) {
        let (status, media_type, text) = problem(422, Kind::Invalid);
        let mut said: Problem = serde_json::from_str(&text).expect("a problem");
        said.errors.push(problem::Fault {
            pointer: "/signed_at".to_owned(),
            detail: "this device's clock is off".to_owned(),
        });
        return (
            status,
            media_type,
            serde_json::to_string(&said).expect("JSON"),
        );
    }
    assert!(
        key.verifies(Purpose::Refresh, &message, &proof),
        "the device proves its key"
    );
    let used: u32 = refresh
        .refresh_token
        .trim_start_matches("refresh")
        .parse()
        .expect("a token");
    if used == state.generation {
        state.generation += 1;
    } else if used + 1 != state.generation {
        state.families_ended += 1;
        return problem(401, Kind::Unauthenticated);
    }
    session(state)
}

fn push(state: &mut State, body: &[u8]) -> Answer {
    let push: Push = serde_json::from_slice(body).expect("a push");
    let mut outcomes = Vec::new();
    for event in push.events {
        let opened = event.open().expect("genuine");
        let key = state.signer.as_ref().expect("a device").public_key;
        opened.signed_by(&key, &event.signature).expect("signed");
        let log = state.log.entry(opened.envelope.horse_id).or_default();
        let known = log
            .iter()
            .position(|old| old.open().expect("genuine").envelope.id == opened.envelope.id);
        let place = |n: usize| i64::try_from(n + 1).expect("short");
        outcomes.push(if state.refuses {
            let (_, _, text) = problem(403, Kind::NoGrant);
            Outcome::Refused {
                problem: serde_json::from_str(&text).expect("a problem"),
            }
        } else if let Some(at) = known {
            Outcome::Known { seq: place(at) }
        } else {
            log.push(event);
            Outcome::Accepted {
                seq: place(log.len() - 1),
            }
        });
    }
    ok(&Pushed {
        epoch: EPOCH,
        outcomes,
        heads: Vec::new(),
    })
}

fn chain_of(horse: HorseId, log: &[SignedEvent]) -> Vec<whorl_contract::key::Hash> {
    let mut heads = vec![chain::start(horse)];
    for event in log {
        let leaf = event.open().expect("genuine").leaf;
        heads.push(chain::next(&heads[heads.len() - 1], &leaf));
    }
    heads
}

fn heads(state: &State) -> Answer {
    let heads = state.log.iter().map(|(&horse_id, log)| HeadInfo {
        horse_id,
        seq: i64::try_from(log.len()).expect("short"),
        head: chain_of(horse_id, log)[log.len()],
    });
    ok(&Heads {
        epoch: EPOCH,
        heads: heads.collect(),
    })
}

fn pull(state: &State, body: &[u8]) -> Answer {
    let pull: Pull = serde_json::from_slice(body).expect("a pull");
    let runs = pull.wants.iter().map(|want| {
        let log = &state.log[&want.horse_id];
        let after = usize::try_from(want.after).expect("a place");
        let events = log[after..]
            .iter()
            .enumerate()
            .map(|(n, event)| LoggedEvent {
                seq: want.after + i64::try_from(n + 1).expect("short"),
                received_at: chrono::DateTime::UNIX_EPOCH,
                envelope: Some(event.envelope.clone()),
                content: Some(event.content.clone()),
                salt: Some(event.salt),
                signature: Some(event.signature),
                leaf: None,
            });
        Run {
            kinds: Vec::new(),
            horse_id: want.horse_id,
            events: events.collect(),
            head: chain_of(want.horse_id, log)[log.len()],
            more: false,
        }
    });
    ok(&Pulled {
        epoch: EPOCH,
        runs: runs.collect(),
        signers: state.signer.iter().cloned().collect(),
        more: false,
    })
}
