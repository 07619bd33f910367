//! The client without a connection says what the server says: for the demo's herd, field for field, whoever asks.

use std::path::Path;

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};
use whorl_care::kind::Kind;
use whorl_care::when::today_in;
use whorl_cli::chart::Chart;
use whorl_cli::home::Home;
use whorl_cli::{database, herd};
use whorl_contract::barn::Barn;
use whorl_contract::horse::Horse;
use whorl_contract::page::Page;
use whorl_contract::path;
use whorl_contract::session::Session;
use whorl_tests::demo::scenario::Scenario;
use whorl_tests::demo::{home_of, seed, whorl};
use whorl_tests::person::sign_in;
use whorl_tests::{Caller, Database, TestServer};

/// Holds that two answers are the same; names the first place where they differ.
fn same(ours: &Value, theirs: &Value, place: &str) {
    match (ours, theirs) {
        (Value::Object(one), Value::Object(other)) if one.keys().eq(other.keys()) => {
            one.iter()
                .for_each(|(name, value)| same(value, &other[name], &format!("{place}/{name}")));
        }
        (Value::Array(one), Value::Array(other)) if one.len() == other.len() => {
            let both = one.iter().zip(other).enumerate();
            both.for_each(|(n, (one, other))| same(one, other, &format!("{place}/{n}")));
        }
        _ => assert_eq!(ours, theirs, "{place}: offline, online"),
    }
}

/// Somebody with a device that is in step with the server.
struct Person<'a> {
    home: &'a Path,
    caller: Caller,
    password: &'a str,
}

impl Person<'_> {
    /// What the client answers without the server.
    fn offline(&self, args: &[&str]) -> Value {
        let args = [&["--json"], args].concat();
        let (status, out, err) = whorl(self.home, None, &args);
        // A dose that is refused is an answer too.
        assert!(
            status == 0 || (status == 2 && !out.is_empty()),
            "{args:?}: {err}"
        );
        serde_json::from_str(&out).expect("JSON")
    }

    fn online(&self, path: &str) -> Value {
        self.caller.get(path).read()
    }

    fn sync(&self) {
        let (status, _, err) = whorl(self.home, Some(self.password), &["sync"]);
        assert_eq!(status, 0, "{err}");
    }

    fn horses(&self) -> Vec<Horse> {
        let page: Page<Horse> = self.caller.get("/v1/horses?limit=100").read();
        let mut horses = page.items;
        horses.retain(|horse| !horse.roles.is_empty());
        horses
    }

    /// Every answer, from both.
    fn compare(&self, on: NaiveDate, today: NaiveDate, barn: &Barn) {
        let (day, until) = (on.to_string(), (on + Days::new(90)).to_string());
        let today = today.to_string();
        let stay = ["--arrives", &until, "--on", &today];
        let horses = self.horses();
        assert!(!horses.is_empty());
        for horse in &horses {
            let name = horse.label();
            let due = self.online(&format!("{}?on={day}", path::horse_due(horse.id)));
            same(&self.offline(&["due", &name, "--on", &day]), &due, &name);
            for rules in ["fei-influenza,eia-12-months", "microchip-iso-11784"] {
                let address = path::horse_entry(horse.id);
                let entry = self.online(&format!("{address}?rules={rules}&on={until}"));
                let ours = [&["entry", &name, "--rules", rules], stay.as_slice()].concat();
                same(&self.offline(&ours), &entry, &name);
            }
            self.compare_dose(horse, on);
        }
        let address = path::barn_due(barn.id);
        let whole = self.online(&format!("{address}?on={day}&until={until}"));
        let list = ["due", "--barn", &barn.name, "--on", &day];
        let ours = [list.as_slice(), &["--until", &until]].concat();
        same(&self.offline(&ours), &whole, "the barn's list");
        let vets = self.online(&format!("{address}?on={day}&by=vet"));
        let ours = [list.as_slice(), &["--by", "vet"]].concat();
        same(&self.offline(&ours), &vets, "the vet's list");
        let mine = self.online(&format!("{}?on={day}", path::DUE));
        same(
            &self.offline(&["due", "--mine", "--on", &day]),
            &mine,
            "one's own list",
        );
        let rules = "fei-influenza";
        let entry = self.online(&format!(
            "{}?rules={rules}&on={until}",
            path::barn_entry(barn.id)
        ));
        let ours = [
            &["entry", "--barn", &barn.name, "--rules", rules],
            stay.as_slice(),
        ]
        .concat();
        same(&self.offline(&ours), &entry, "the barn's entry");
        for work in [None, Some("vaccination")] {
            let question = json!({"work": work, "from": day, "until": until, "capacity": 3,
                "days_off": {"weekdays": ["sunday"], "dates": [until]}});
            let plan: Value = self.caller.post(path::VISIT_PLAN, &question).read();
            let mut ours = vec![
                "visits",
                "--capacity",
                "3",
                "--from",
                &day,
                "--until",
                &until,
            ];
            ours.extend(["--without", "sunday", "--without", &until]);
            ours.extend(work.map(|work| ["--for", work]).into_iter().flatten());
            same(&self.offline(&ours), &plan, "visits");
        }
    }

    /// The server takes what the record on the device says, and the device took what the server's profile says.
    fn compare_dose(&self, horse: &Horse, on: NaiveDate) {
        let mut conn =
            database::open(&Home::open(self.home).expect("a home").database()).expect("a database");
        let known = herd::horse(&mut conn, horse.id)
            .expect("read")
            .expect("here");
        let mut chart = Chart::of(&mut conn, &known, on).expect("a chart");
        let rules = whorl_care::rules::Rules::built_in().expect("the packs");
        chart
            .ask_yard(&mut conn, &known, on, &rules)
            .expect("a yard");
        let input = chart.dose("ivermectin", on);
        assert_eq!(input.foaled_on, horse.profile.foaled_on);
        if horse.shows(Kind::Weight) {
            assert_eq!(input.weight_kg, horse.profile.weight_kg);
        }
        let asked = self.caller.post(&path::figure("dose"), &input);
        if input.weight_kg.is_some() {
            let day = on.to_string();
            let ours = self.offline(&["dose", "ivermectin", &horse.label(), "--on", &day]);
            same(&ours, &asked.read(), &horse.label());
        } else {
            assert_eq!(asked.status, 422, "{asked:?}");
        }
    }
}

#[test]
fn offline_and_online_give_the_same_answers() {
    let server = TestServer::start(Database::Sqlite);
    let folder = tempfile::tempdir().expect("a folder");
    let on = server.now().date_naive().pred_opt().expect("a day");
    let today = today_in("America/New_York", server.now());
    seed(&server.url(), folder.path(), on).expect("the demo");
    let scenario = Scenario::read();
    let barn = &scenario.barn.name;
    let signed_in = |email: &str, password: &str| -> Caller {
        let session: Session = sign_in(&server.anonymous(), email, password, None).read();
        server.anonymous().with_token(&session.access_token)
    };
    for key in ["wren", "idris", "maren", "tove"] {
        let of = scenario.people.iter().find(|person| person.key == key);
        let of = of.expect("a person of the demo");
        let person = Person {
            home: &home_of(folder.path(), key),
            caller: signed_in(&of.email, &of.password),
            password: &of.password,
        };
        person.sync();
        let barns: Page<Barn> = person.caller.get(path::BARNS).read();
        let barn = barns.items.into_iter().find(|one| one.name == *barn);
        person.compare(on, today, &barn.expect("the yard"));
    }

    // Somebody who may see a few kinds only knows by what is sealed what it can't be.
    let home = home_of(folder.path(), "una");
    let password = "one lamp left in the tithe barn";
    let wren = home_of(folder.path(), "wren");
    let run = |home: &Path, password: Option<&str>, args: &[&str]| {
        let (status, out, err) = whorl(home, password, args);
        assert_eq!(status, 0, "{args:?}: {err}");
        out
    };
    let join = [
        "join",
        &server.url(),
        "--email",
        "una@saltmarsh.example",
        "--name",
        "Una Pellow",
        "--device",
        "phone",
    ];
    run(&home, Some(password), &join);
    let invite = [
        "--json",
        "invite",
        "--role",
        "vet",
        "--barn",
        barn,
        "--kind",
        "laboratory_test",
        "--kind",
        "dental",
        "--kind",
        "identity",
    ];
    let owner = &scenario.people[0];
    let code: Value =
        serde_json::from_str(&run(&wren, Some(&owner.password), &invite)).expect("JSON");
    run(
        &home,
        Some(password),
        &["accept", code["code"].as_str().expect("a code")],
    );
    let una = Person {
        home: &home,
        caller: signed_in("una@saltmarsh.example", password),
        password,
    };
    una.sync();
    let barns: Page<Barn> = una.caller.get(path::BARNS).read();
    una.compare(on, today, &barns.items[0]);
    let entry = |rules: &str| {
        let day = on.to_string();
        una.offline(&[
            "entry",
            "Plover",
            "--rules",
            rules,
            "--arrives",
            &day,
            "--on",
            &day,
        ])
    };
    let (seen, hidden) = (entry("eia-12-months"), entry("fei-influenza"));
    assert_ne!(
        seen["verdict"], "unknown",
        "what is sealed is no laboratory test: {seen}"
    );
    assert_eq!(hidden["verdict"], "unknown", "{hidden}");
}
