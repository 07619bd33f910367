//! Traces: each request and each use of the database is a span that OpenTelemetry's own types read, and none tells a secret.

use reqwest::Method;
use serde_json::{Value, json};
use whorl_contract::path;
use whorl_contract::share::Share as Link;
use whorl_http::traces::{Destination, Share};
use whorl_tests::alone::{self, Told};
use whorl_tests::python::Service;
use whorl_tests::yard::Yard;
use whorl_tests::{Database, TestServer};

/// Set in the process that is looked at from outside: where it sends its traces, and how many of them.
const COLLECTOR: &str = "WHORL_TEST_TRACES_TO";
const SHARE: &str = "WHORL_TEST_TRACES_SHARE";

/// The trace and the span that the example of <https://www.w3.org/TR/trace-context/> goes on with.
const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
const SPAN: &str = "00f067aa0ba902b7";
/// One that somebody makes up whose word isn't taken.
const MADE_UP: &str = "0af7651916cd43dd8448eb211c80319c";

/// A word that stands in a query.
const CANARY: &str = "canary-in-the-tack-room";

/// A collector of somebody else's making, in a process of its own.
struct Collector(Service);

impl Collector {
    fn start() -> Self {
        Self(Service::start("trace_collector.py", &[]))
    }

    fn url(&self) -> String {
        format!("http://127.0.0.1:{}/v1/traces", self.0.port)
    }

    /// The spans that it took, as text.
    fn text(&self) -> String {
        std::fs::read_to_string(self.0.folder().join("spans")).unwrap_or_default()
    }

    fn spans(&self) -> Vec<Value> {
        let text = self.text();
        text.lines()
            .map(|line| serde_json::from_str(line).expect("a span"))
            .collect()
    }
}

/// Does what people do, and lets us know every secret that came up.
fn live_and_tell() {
    let variable = |name| std::env::var(name).expect("a variable");
    let destination = Destination {
        collector: variable(COLLECTOR).parse().expect("an address"),
        share: variable(SHARE).parse::<Share>().expect("a share"),
    };
    let logging = whorl_http::logging::start("info", Some(&destination)).expect("a log");
    for database in [Database::Sqlite, Database::Postgres] {
        let behind_a_proxy = TestServer::start_with(database, |config| {
            config.trusted_proxies = vec!["127.0.0.1".parse().expect("an address")];
        });
        ask(&behind_a_proxy, "aisle-7", &format!("00-{TRACE}-{SPAN}-01"));
        ask(&behind_a_proxy, "aisle-8", &format!("00-{TRACE}-{SPAN}-00"));
        let open = TestServer::start(database);
        ask(&open, "aisle-9", &format!("00-{MADE_UP}-{SPAN}-01"));
        behind_a_proxy.stop();
        open.stop();
    }
    drop(logging);
}

fn ask(server: &TestServer, id: &str, traceparent: &str) {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let owner = &yard.owner;
    let request = owner
        .request(Method::GET, &path::horse(horse))
        .header("x-request-id", id)
        .header("traceparent", traceparent);
    assert_eq!(owner.send(request).status, 200);
    let nowhere = owner.get(&format!("/v1/{CANARY}?{CANARY}={CANARY}"));
    assert_eq!(nowhere.status, 404);
    let link: Link = owner.post(&path::shares(horse), &json!({"days": 1})).read();
    let url = link.url.expect("the link");
    let token = url.rsplit('/').next().expect("its secret").to_owned();
    assert_eq!(
        server
            .anonymous()
            .get(&format!("/v1/shared/{token}"))
            .status,
        200
    );
    for secret in [
        token,
        owner.session.access_token.clone(),
        owner.email.clone(),
        owner.account().to_string(),
        horse.to_string(),
        CANARY.to_owned(),
    ] {
        alone::tell(&secret);
    }
}

/// Runs a test in the process that lives; answers what it told, and its log.
fn run(test: &str, collector: &str, share: &str) -> (Told, Vec<Value>) {
    let told = alone::run(test, &[(COLLECTOR, collector), (SHARE, share)]);
    assert_eq!(told.secrets().len(), 36, "{}", told.out);
    let lines = told.log.lines();
    let log = lines
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}")))
        .collect();
    (told, log)
}

fn of<'a>(spans: &'a [Value], request: &str) -> Vec<&'a Value> {
    spans
        .iter()
        .filter(|span| span["attributes"]["whorl.request_id"] == request)
        .collect()
}

#[test]
fn requests_and_uses_of_the_database_are_spans_without_secrets() {
    if alone::is_alone() {
        return live_and_tell();
    }
    let collector = Collector::start();
    let (told, log) = run(
        "traces::requests_and_uses_of_the_database_are_spans_without_secrets",
        &collector.url(),
        "1",
    );
    let spans = collector.spans();

    let followed = of(&spans, "aisle-7");
    assert_eq!(followed.len(), 2, "one on each database: {followed:?}");
    let mut systems = Vec::new();
    for span in followed {
        assert_eq!(span["name"], "GET /v1/horses/{horse}");
        assert_eq!(span["kind"], "SPAN_KIND_SERVER");
        assert_eq!(span["status"], "STATUS_CODE_UNSET");
        assert_eq!(
            (&span["trace"], &span["parent"]),
            (&json!(TRACE), &json!(SPAN))
        );
        assert_eq!(span["resource"]["service.name"], "whorl-server");
        let attributes = json!({"http.request.method": "GET", "http.route": "/v1/horses/{horse}",
            "http.response.status_code": 200, "whorl.request_id": "aisle-7"});
        assert_eq!(span["attributes"], attributes);
        let children: Vec<&Value> = spans
            .iter()
            .filter(|child| child["parent"] == span["id"])
            .collect();
        assert!(!children.is_empty(), "{span}");
        for child in &children {
            assert_eq!(
                (&child["name"], &child["trace"]),
                (&json!("read"), &json!(TRACE))
            );
            assert_eq!(child["kind"], "SPAN_KIND_CLIENT");
            assert!(child["nanoseconds"].as_u64() <= span["nanoseconds"].as_u64());
        }
        systems.push(children[0]["attributes"]["db.system.name"].clone());
    }
    assert_eq!(systems, ["sqlite", "postgresql"]);
    // Whoever made the trace has decided that it isn't kept.
    assert!(of(&spans, "aisle-8").is_empty());
    let own = of(&spans, "aisle-9");
    assert_eq!(own.len(), 2);
    for span in own {
        assert_ne!(span["trace"], MADE_UP, "nobody's word is taken for it");
        assert_eq!(span["parent"], "");
    }
    assert!(
        spans
            .iter()
            .any(|span| span["name"] == "POST /v1/horses/{horse}/shares"),
        "writes are spans, too"
    );
    assert!(spans.iter().any(|span| span["name"] == "write"));

    let text = collector.text();
    assert!(text.contains("/v1/shared/{token}"), "{text}");
    for secret in told.secrets() {
        assert!(!text.contains(secret), "{secret} in {text}");
    }
    for line in &log {
        let line = line.to_string();
        assert!(
            !line.contains("otel."),
            "a span of a trace in the log: {line}"
        );
    }
    let found = log
        .iter()
        .find(|line| line["span"]["request_id"] == "aisle-7");
    assert!(found.is_some(), "a trace's request can be found in the log");
}

#[test]
fn of_a_share_of_none_only_what_a_proxy_began_is_traced() {
    if alone::is_alone() {
        return live_and_tell();
    }
    let collector = Collector::start();
    let _ = run(
        "traces::of_a_share_of_none_only_what_a_proxy_began_is_traced",
        &collector.url(),
        "0",
    );
    let spans = collector.spans();
    assert_eq!(of(&spans, "aisle-7").len(), 2);
    assert!(spans.iter().all(|span| span["trace"] == TRACE), "{spans:?}");
}

#[test]
fn a_collector_that_is_away_stops_nobody_and_the_log_says_so() {
    if alone::is_alone() {
        return live_and_tell();
    }
    let gone = std::net::TcpListener::bind("127.0.0.1:0").expect("a socket");
    let address = gone.local_addr().expect("an address");
    drop(gone);
    let (_, log) = run(
        "traces::a_collector_that_is_away_stops_nobody_and_the_log_says_so",
        &format!("http://{address}/v1/traces"),
        "1",
    );
    let complaints = log.iter().filter(|line| {
        let target = line["target"].as_str().unwrap_or_default();
        target.starts_with("opentelemetry") && line["level"] == "ERROR"
    });
    assert!(complaints.count() > 0, "{log:?}");
}
