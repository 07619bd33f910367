//! The real client on a thin line: so many bytes a second, and cut again and again. What came stays, what was sent is there
//! once, and nothing is fetched anew that was there before.

use std::collections::BTreeSet;

use reqwest::Method;
use reqwest::header::{CONTENT_ENCODING, CONTENT_TYPE};
use serde_json::json;
use whorl_care::ids::HorseId;
use whorl_care::kind::Kind;
use whorl_contract::event::SignedEvent;
use whorl_contract::path;
use whorl_contract::problem::Kind as Problems;
use whorl_contract::sync::{BYTES_PER_PULL, Pull, Want};
use whorl_tests::field::FieldDevice;
use whorl_tests::ledger::{heads, pull, pull_all, push};
use whorl_tests::thin_line::{Carried, Line, ThinLine};
use whorl_tests::wire::pack;
use whorl_tests::yard::Yard;
use whorl_tests::{Caller, Database, TestServer, on_both};

/// What owners write down, day in, day out.
const KINDS: [Kind; 6] = [
    Kind::Weight,
    Kind::Deworming,
    Kind::HoofCheck,
    Kind::BodyCondition,
    Kind::Vitals,
    Kind::Movement,
];

/// A herd with a history: a few entries each, and every fortieth horse `long`.
fn herd(yard: &Yard, horses: usize, long: usize) -> u64 {
    let mut total = 0;
    for n in 0..horses {
        let horse = yard.horse();
        let entries = if n % 40 == 7 { long } else { 3 + n % 3 };
        let events: Vec<SignedEvent> = KINDS
            .iter()
            .cycle()
            .skip(n)
            .take(entries)
            .map(|kind| yard.pen().draft(horse, *kind).sign())
            .collect();
        for outcome in push(&yard.owner, &events) {
            assert!(
                matches!(outcome, whorl_contract::sync::Outcome::Accepted { .. }),
                "{outcome:?}"
            );
        }
        total += entries as u64;
    }
    total
}

/// Syncs until it is done. Answers how many entries each run brought, and what the line carried.
fn sync_to_the_end(device: &FieldDevice, line: &ThinLine) -> (Vec<u64>, Carried) {
    let before = line.carried();
    let mut runs = Vec::new();
    for _ in 0..40 {
        let (status, report) = device.ask(&["sync"]);
        runs.push(report["pulled"].as_u64().expect("a count"));
        assert!(status == 0 || status == 4, "{status}: {report}");
        if status == 0 {
            return (runs, line.carried() - before);
        }
    }
    panic!("never done: {runs:?}");
}

/// A first sync over a good line and over `line`, compared.
fn first_sync(horses: usize, long: usize, line: Line) {
    let server = TestServer::start(Database::Sqlite);
    let yard = Yard::open(&server);
    let (good, thin) = (
        ThinLine::to(&server.url(), Line::good()),
        ThinLine::to(&server.url(), Line::good()),
    );
    let at_ease = FieldDevice::join(&yard.owner, &good.url());
    let in_the_aisle = FieldDevice::join(&yard.owner, &thin.url());
    let total = herd(&yard, horses, long);

    let (runs, smooth) = sync_to_the_end(&at_ease, &good);
    assert_eq!(runs, [total]);
    thin.change(line);
    let (runs, rough) = sync_to_the_end(&in_the_aisle, &thin);

    #[expect(clippy::print_stdout, reason = "a measurement: shown with --nocapture")]
    {
        println!(
            "{horses} horses, {total} entries. A good line: {} bytes down and {} up for each entry. \
             Cut {} times: {} down and {} up, in {} runs",
            smooth.down / total,
            smooth.up / total,
            rough.cuts,
            rough.down / total,
            rough.up / total,
            runs.len(),
        );
    }
    assert!(rough.cuts > 3, "{rough:?}");
    // Every entry was taken over once, in whichever run: none began anew.
    assert_eq!(runs.iter().sum::<u64>(), total, "{runs:?}");
    // What was lost is what was under way when the line was cut, each time less than a page.
    assert!(rough.down < smooth.down * 2, "{rough:?} for {smooth:?}");
    // Signatures, salts and hashes alone are 128 bytes that nothing makes smaller.
    assert!(smooth.down / total < 700, "{smooth:?} for {total}");
    let horses: BTreeSet<HorseId> = heads(&yard.owner).into_keys().collect();
    let horse = *horses.first().expect("a horse");
    let (status, history) = in_the_aisle.ask(&["history", &horse.to_string()]);
    assert_eq!(status, 0, "{history}");
    let again = thin.carried();
    let (status, report) = in_the_aisle.ask(&["sync"]);
    assert_eq!((status, &report["pulled"]), (0, &0.into()), "{report}");
    // Heads that haven't changed are not sent again.
    let again = thin.carried() - again;
    assert!(again.down < smooth.down / 2, "{again:?}");
}

/// Ten times as fast as the real thing, so that it ends soon; what is cut is measured in bytes and stays the same.
#[test]
fn a_first_sync_of_200_horses_ends_and_fetches_nothing_twice() {
    let line = Line {
        rate: 200_000,
        cut_after: Some((30_000, 110_000)),
        seed: 7,
    };
    first_sync(200, 60, line);
}

/// 20 kB a second, cut every two to eight seconds.
#[test]
#[ignore = "takes minutes: cargo test -p whorl-tests --test suite thin_line -- --include-ignored --nocapture"]
fn a_first_sync_at_20_kilobytes_a_second() {
    let line = Line {
        rate: 20_000,
        cut_after: Some((40_000, 160_000)),
        seed: 11,
    };
    first_sync(200, 200, line);
}

/// Killed in the middle of its first sync, the client goes on where it was.
#[test]
fn a_first_sync_that_is_killed_goes_on_where_it_was() {
    let server = TestServer::start(Database::Sqlite);
    let yard = Yard::open(&server);
    let line = ThinLine::to(&server.url(), Line::good());
    let device = FieldDevice::join(&yard.owner, &line.url());
    let total = herd(&yard, 40, 600);
    line.change(Line {
        rate: 100_000,
        ..Line::good()
    });
    let before = line.carried();
    let mut child = device.command(&["sync"]).spawn().expect("run");
    // Four pages or so.
    while (line.carried() - before).down < 120_000 {
        std::thread::sleep(std::time::Duration::from_millis(5));
        assert!(child.try_wait().expect("a child").is_none(), "done already");
    }
    child.kill().expect("killed");
    let killed = child.wait_with_output().expect("ended");
    let told = String::from_utf8_lossy(&killed.stderr).into_owned();
    assert!(told.contains("Entries fetched and verified: "), "{told}");
    assert!(told.contains(&format!(" of {total}")), "{told}");

    line.change(Line::good());
    let (runs, _) = sync_to_the_end(&device, &line);

    assert_eq!(runs.len(), 1);
    assert!(runs[0] > 0 && runs[0] < total, "{runs:?} of {total}");
}

on_both!(
    a_visit_is_pushed_over_a_line_that_is_cut_anywhere,
    |server| {
        let yard = Yard::open(server);
        let horses: Vec<HorseId> = (0..40).map(|_| yard.horse()).collect();
        let line = ThinLine::to(&server.url(), Line::good());
        let device = FieldDevice::join(&yard.owner, &line.url());
        let mut cuts = 0;
        for (visit, seed) in (1..=4_i64).zip([3, 14, 15, 92]) {
            let rows = horses
                .iter()
                .map(|horse| format!("{horse},09:{:02},{}kg,tape\n", visit, 400 + visit));
            let sheet = format!("horse,at,weight,method\n{}", rows.collect::<String>());
            let sheet = device.file("visit.csv", &sheet);
            let queued = device.run(&[
                "sheet",
                "queue",
                &sheet,
                "--kind",
                "weight",
                "--day",
                "2026-05-04",
            ]);
            assert!(queued.status.success(), "{queued:?}");
            let (_, waiting) = device.ask(&["outbox"]);
            let mine: BTreeSet<String> = waiting
                .as_array()
                .expect("a list")
                .iter()
                .map(|one| one["id"].as_str().expect("an id").to_owned())
                .collect();
            assert_eq!(mine.len(), 40);
            line.change(Line {
                cut_after: Some((1, 14_000)),
                seed,
                ..Line::good()
            });
            let before = line.carried();
            let pushed = (0..100).any(|_| device.ask(&["push"]).0 == 0);
            let carried = line.carried() - before;
            assert!(pushed, "{carried:?}");
            cuts += carried.cuts;
            line.change(Line::good());

            let mut there = BTreeSet::new();
            for horse in &horses {
                let copy = pull_all(&yard.owner, *horse, 100);
                assert_eq!(copy.events.len(), usize::try_from(visit).expect("few"));
                let last = copy.events.last().and_then(|event| event.envelope.as_ref());
                let last: serde_json::Value =
                    serde_json::from_str(last.expect("an envelope").get()).expect("JSON");
                there.insert(last["id"].as_str().expect("an id").to_owned());
            }
            assert_eq!(there, mine, "visit {visit}");
            let (status, report) = device.ask(&["sync"]);
            assert_eq!((status, &report["pulled"]), (0, &40.into()), "{report}");
            assert_eq!(device.ask(&["outbox"]).1, json!([]));
        }
        assert!(cuts > 1, "{cuts} cuts");
    }
);

on_both!(bodies_come_and_go_packed, |server| {
    let yard = Yard::open(server);
    let horse = yard.horse();
    let events: Vec<_> = (0..20)
        .map(|n| yard.pen().weight(horse, 400.0 + f64::from(n)).sign())
        .collect();
    let body = json!({"events": events}).to_string();
    let send = |encoding: &str, body: Vec<u8>| {
        let request = yard.owner.request(Method::POST, path::EVENTS);
        let request = request
            .header(CONTENT_TYPE, "application/json")
            .header(CONTENT_ENCODING, encoding);
        yard.owner.send(request.body(body))
    };
    let small = pack(body.as_bytes());
    assert!(small.len() * 2 < body.len());
    assert_eq!(send("gzip", small.clone()).status, 200);
    assert_eq!(send("identity", body.clone().into_bytes()).status, 200);
    assert_eq!(heads(&yard.owner)[&horse].0, 20);

    for encoding in ["br", "deflate", "zstd", "gzip, gzip"] {
        let problem = send(encoding, small.clone()).problem();
        assert_eq!(problem.kind, Problems::UnsupportedMediaType, "{encoding}");
    }
    assert_eq!(
        send("gzip", body.into_bytes()).problem().kind,
        Problems::Malformed
    );
    // A hundred megabytes in a hundred kilobytes are refused as soon as they swell.
    for megabytes in [5_usize, 100] {
        let bomb = pack(&vec![b' '; megabytes * 1024 * 1024]);
        assert_eq!(send("gzip", bomb).problem().kind, Problems::TooLarge);
    }

    let wants = vec![Want {
        horse_id: horse,
        after: 0,
    }];
    let line = ThinLine::to(&server.url(), Line::good());
    let far = Caller::new(line.url(), Some(yard.owner.session.access_token.clone()));
    let answer = far.post(path::PULL, &Pull { wants, limit: None });
    let plain = answer.body.len() as u64;
    assert!(plain > 10_000 && answer.status == 200, "{answer:?}");
    let carried = line.carried().down;
    assert!(carried * 2 < plain, "{carried} for {plain}");
});

on_both!(a_page_is_bounded_by_its_bytes_too, |server| {
    let yard = Yard::open(server);
    let (long, short) = (yard.horse(), yard.horse());
    let note = "slept lying down; ".repeat(220);
    let events: Vec<_> = (0..300)
        .map(|n| {
            let weight = yard.pen().weight(long, 400.0 + f64::from(n));
            weight.note(&note).sign()
        })
        .collect();
    let _ = push(&yard.owner, &events);
    let _ = push(&yard.owner, &[yard.pen().weight(short, 500.0).sign()]);

    let page = pull(&yard.owner, long, 0, None);

    let bytes = |event: &whorl_contract::event::LoggedEvent| {
        let length = |text: &Option<Box<serde_json::value::RawValue>>| {
            text.as_ref().map_or(0, |text| text.get().len())
        };
        length(&event.envelope) + length(&event.content)
    };
    let events = &page.runs[0].events;
    let before_the_last: usize = events.iter().rev().skip(1).map(bytes).sum();
    assert!(before_the_last < BYTES_PER_PULL);
    assert!(events.len() > 100 && events.len() < 300, "{}", events.len());
    assert!(page.more && page.runs[0].more);
    let want = |horse_id| Want { horse_id, after: 0 };
    let wants = vec![want(long), want(short)];
    let both: whorl_contract::sync::Pulled = yard
        .owner
        .post(path::PULL, &Pull { wants, limit: None })
        .read();
    assert_eq!(both.runs.len(), 1, "the second horse is for the next page");
    assert!(both.more);
    assert_eq!(pull_all(&yard.owner, long, 1000).events.len(), 300);
});
