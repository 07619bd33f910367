//! Where one request ends and the next begins: nobody may slip one in between, neither here nor past a proxy of `deploy/`.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use whorl_tests::process::Place;
use whorl_tests::proxy::Proxy;

/// What two readers may take for a request of its own, if they disagree on where the one before it ends.
const HIDDEN: &str = "GET /health/live HTTP/1.1\r\nHost: a\r\n\r\n";

/// Heads of a request that has no body by one reading, and what is hidden as its body, of length `{n}`, by another.
const LENGTHS: [&str; 33] = [
    "Content-Length: 0\r\nContent-Length: {n}\r\n",
    "Content-Length: {n}\r\nContent-Length: 0\r\n",
    "Content-Length: 0, {n}\r\n",
    "Content-Length: {n}, 0\r\n",
    "Content-Length: +0\r\n",
    "Content-Length: -0\r\n",
    "Content-Length: 0x0\r\n",
    "Content-Length: 0 0\r\n",
    "Content-Length: 0;\r\n",
    "Content-Length: 0e0\r\n",
    "Content-Length: \"0\"\r\n",
    "Content-Length: \u{660}\r\n",
    "Content-Length:\r\n",
    // 2 to the 64th: 0 for who counts in 64 bits and forgets the rest.
    "Content-Length: 18446744073709551616\r\n",
    "Content-Length : 0\r\n",
    "Content-Length\t: 0\r\n",
    "X-Folded: a\r\n Content-Length: {n}\r\nContent-Length: 0, 0, {n}\r\n",
    "Content-Length:\r\n {n}\r\nContent-Length: 0\r\n",
    " Content-Length: 0\r\nContent-Length: {n}\r\n",
    "Content-Length: {n}\r\nConnection: Content-Length\r\n",
    "Content-Length: {n}\r\nContent_Length: 0\r\n",
    "X-Broken: a\rContent-Length: 0\r\nContent-Length: {n}\r\n",
    "X-Nothing: \0\r\nContent-Length: {n}\r\n",
    "X-Wo\nrd: a\r\nContent-Length: 0\r\n",
    "X-Wo rd: a\r\nContent-Length: 0\r\n",
    "no colon\r\nContent-Length: 0\r\n",
    ": no name\r\nContent-Length: 0\r\n",
    "Transfer-Encoding: xchunked\r\nContent-Length: 0\r\n",
    "Transfer-Encoding: identity\r\nContent-Length: 0\r\n",
    "Transfer-Encoding: \"chunked\"\r\nContent-Length: 0\r\n",
    "Transfer-Encoding:\r\nContent-Length: 0\r\n",
    "Transfer-Encoding : chunked\r\nContent-Length: 0\r\n",
    "Transfer-Encoding: \u{b}chunked\r\nContent-Length: 0\r\n",
];

/// Heads that announce chunks in a way that some take for none; an empty chunk comes before what is hidden.
const CODINGS: [&str; 10] = [
    "Content-Length: {n + 5}\r\nTransfer-Encoding: chunked\r\n",
    "Transfer-Encoding: chunked\r\nContent-Length: {n + 5}\r\n",
    "Transfer-Encoding: chunked, identity\r\n",
    "Transfer-Encoding: gzip, chunked\r\n",
    "Transfer-Encoding: chunked, chunked\r\n",
    "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n",
    "Transfer-Encoding: chunked;a=b\r\n",
    "Transfer-Encoding: chunked\0\r\n",
    "Transfer-Encoding:\r\n chunked\r\n",
    "Transfer-Encoding\t: chunked\r\n",
];

/// What some take for the end of the chunks.
const CHUNKS: [&str; 12] = [
    "FFFFFFFFFFFFFFFFF\r\n",
    // 2 to the 64th.
    "10000000000000000\r\n\r\n",
    "0x0\r\n\r\n",
    "+0\r\n\r\n",
    "-0\r\n\r\n",
    "0_0\r\n\r\n",
    "\r\n\r\n",
    "g\r\n\r\n",
    "1\r\nab\r\n0\r\n\r\n",
    "2\r\nab0\r\n\r\n",
    "1\r\na\n0\r\n\r\n",
    "0\r\r\n\r\n",
];

/// What a proxy may put right before it passes it on, so that no two readers disagree; what was hidden is a request of its sender's then.
/// haproxy 2.6 takes a number that runs over for 0, unfolds a line, and takes a bare line feed for the end of a chunk.
const PUT_RIGHT_BY_HAPROXY: [&str; 3] = [
    "Content-Length: 18446744073709551616\r\n",
    "Transfer-Encoding:\r\n chunked\r\n",
    "1\r\na\n0\r\n\r\n",
];

/// Caddy 2.6 unfolds a line, takes no number for 0, drops a head without a name, and goes by the chunks where there is a length too (RFC 9112, 6.3).
const PUT_RIGHT_BY_CADDY: [&str; 7] = [
    "Transfer-Encoding:\r\n chunked\r\n",
    "Content-Length:\r\n\r\n",
    ": no name\r\n",
    "Content-Length: 43\r\nTransfer-Encoding: chunked\r\n",
    "Transfer-Encoding: chunked\r\nContent-Length: 43\r\n",
    "Transfer-Encoding: chunked\r\n\r\n\r\n\r\n",
    "0\r\r\n\r\n",
];

/// Requests that two readers may cut in two places. Each hides a second one, which nobody may answer.
pub(crate) fn ambiguous() -> Vec<String> {
    let post = |version: &str, heads: &str, body: &str| {
        let n = HIDDEN.len();
        let heads = heads
            .replace("{n}", &n.to_string())
            .replace("{n + 5}", &(n + 5).to_string());
        format!(
            "POST /v1/sessions HTTP/{version}\r\nHost: a\r\nContent-Type: application/json\r\n{heads}\r\n{body}{HIDDEN}"
        )
    };
    let chunked = "Transfer-Encoding: chunked\r\n";
    let empty = "0\r\n\r\n";
    let lengths = LENGTHS.iter().map(|heads| post("1.1", heads, ""));
    let codings = CODINGS.iter().map(|heads| post("1.1", heads, empty));
    let chunks = CHUNKS.iter().map(|body| post("1.1", chunked, body));
    let older = post("1.0", chunked, empty);
    let reading = format!(
        "GET /v1/account HTTP/1.1\r\nHost: a\r\nContent-Length: {}\r\n\r\n{HIDDEN}",
        HIDDEN.len()
    );
    lengths
        .chain(codings)
        .chain(chunks)
        .chain([older, reading])
        .collect()
}

/// What somebody sends by hand, and all that comes back until the connection is closed or quiet.
fn by_hand(address: &str, text: &str) -> String {
    let mut socket = TcpStream::connect(address).expect("a connection");
    // Longer than a busy machine lets anybody wait for an answer.
    let quiet = Some(Duration::from_millis(1_500));
    socket.set_read_timeout(quiet).expect("a limit");
    // Who refuses early may close before all is sent.
    let _ = socket.write_all(text.as_bytes());
    let mut bytes = Vec::new();
    // Silence and a closed connection both end it.
    let _ = socket.read_to_end(&mut bytes);
    String::from_utf8_lossy(&bytes).into_owned()
}

#[test]
fn one_request_is_one_request_here_and_behind_a_proxy() {
    let places = [Place::sqlite(), Place::sqlite(), Place::sqlite()];
    let _servers: Vec<_> = places.iter().map(Place::start).collect();
    let address = |place: &Place| place.url().trim_start_matches("http://").to_owned();
    let answered_by_servers = || -> usize {
        let logs = places.iter().map(Place::log);
        logs.map(|log| log.matches("\"route\":\"/health/live\"").count())
            .sum()
    };
    let good = |answered: &str| answered.matches("HTTP/1.1 200").count();
    let direct = address(&places[0]);
    assert_eq!(good(&by_hand(&direct, &HIDDEN.repeat(2))), 2);
    for (text, answered) in at_once(&direct, ambiguous()) {
        let answers = answered.matches("HTTP/1.").count();
        assert!(answers <= 1, "{text:?}: {answered}");
    }
    assert_eq!(answered_by_servers(), 2, "only what was asked for openly");

    let balancer = Proxy::balancing(&places.each_ref().map(address));
    let before_one = Proxy::before(&direct);
    for (proxy, put_right) in [
        (balancer, PUT_RIGHT_BY_HAPROXY.as_slice()),
        (before_one, PUT_RIGHT_BY_CADDY.as_slice()),
    ] {
        let before = answered_by_servers();
        let openly = good(&by_hand(&proxy.address(), &HIDDEN.repeat(2)));
        assert_eq!(openly, 2);
        let (mut passed_on, mut two) = (0, Vec::new());
        for (text, answered) in at_once(&proxy.address(), ambiguous()) {
            passed_on += good(&answered);
            let put_right = put_right.iter().any(|part| text.contains(part));
            if !put_right && (good(&answered) > 0 || answered.matches("HTTP/1.").count() > 1) {
                two.push(text);
            }
        }
        assert_eq!(two, Vec::<String>::new(), "taken for two by a proxy");
        // What a server answers and the proxy never asked would go to whoever asks next.
        assert_eq!(answered_by_servers() - before, openly + passed_on);
    }
}

/// The answers to each of these, sent beside one another.
pub(crate) fn at_once(to: &str, texts: Vec<String>) -> Vec<(String, String)> {
    std::thread::scope(|scope| {
        let sent: Vec<_> = texts
            .into_iter()
            .map(|text| {
                scope.spawn(move || {
                    let answered = by_hand(to, &text);
                    (text, answered)
                })
            })
            .collect();
        sent.into_iter()
            .map(|one| one.join().expect("an answer"))
            .collect()
    })
}
