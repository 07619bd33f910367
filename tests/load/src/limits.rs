//! What the machine itself allows, measured in the same run: the database without a server, and a server that only hands
//! out a file.

use std::fmt::Write as _;
use std::net::{SocketAddr, TcpListener};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rusqlite::{Connection, params};
use whorl_store::events::EventRow;
use whorl_store::{SQLITE_SETTINGS, WRITER_SETTINGS};

use crate::Outcome;
use crate::client::{Client, get};
use crate::pace::rate;

/// Rows in a second by prepared inserts into the same table of the same SQLite, with the settings of the store's writer, `together`
/// rows in each transaction; at most for `most`.
pub(crate) fn raw_inserts(
    database: &Path,
    rows: &[EventRow],
    together: usize,
    most: Duration,
) -> Outcome<f64> {
    let connection = Connection::open(database)?;
    connection.execute_batch(SQLITE_SETTINGS)?;
    connection.execute_batch(WRITER_SETTINGS)?;
    let (mut begin, mut commit) = (
        connection.prepare("BEGIN IMMEDIATE")?,
        connection.prepare("COMMIT")?,
    );
    let mut insert = connection.prepare(
        "INSERT INTO event (horse_id, seq, id, kind, performed_at, author_id, device_id, target_id, received_at,
            envelope, content, salt, signature, head, shapes) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )?;
    let start = Instant::now();
    let mut done = 0;
    for part in rows.chunks(together) {
        begin.execute([])?;
        for row in part {
            insert.execute(params![
                row.horse_id.to_string(),
                row.seq,
                row.id.to_string(),
                row.kind.code(),
                row.performed_at.to_string(),
                row.author_id.to_string(),
                row.device_id.to_string(),
                row.target_id,
                row.received_at.to_string(),
                row.envelope,
                row.content,
                row.salt,
                row.signature,
                row.head,
                row.shapes,
            ])?;
        }
        commit.execute([])?;
        done += part.len();
        if start.elapsed() > most {
            break;
        }
    }
    Ok(rate(done, start.elapsed()))
}

/// An nginx that hands out one file. It ends with this.
pub(crate) struct Nginx {
    child: Child,
    pub(crate) address: SocketAddr,
}

impl Nginx {
    /// Serves `page` from a folder of its own in `folder`, with two workers as the server has.
    pub(crate) fn start(folder: &Path, page: &[u8]) -> Outcome<Self> {
        let own = folder.join("nginx");
        std::fs::create_dir_all(&own)?;
        std::fs::write(own.join("page.json"), page)?;
        let address = TcpListener::bind("127.0.0.1:0")?.local_addr()?;
        let own_text = own.display();
        // As root it would change to a user that may not read the folder.
        let user = if is_root() { "user root;" } else { "" };
        let settings = format!(
            "{user} worker_processes 2; daemon off; pid {own_text}/pid; error_log {own_text}/error.log;
             events {{ worker_connections 256; }}
             http {{ access_log off; keepalive_requests 10000000; sendfile on; tcp_nopush on; open_file_cache max=10;
                client_body_temp_path {own_text}/a; proxy_temp_path {own_text}/b; fastcgi_temp_path {own_text}/c;
                uwsgi_temp_path {own_text}/d; scgi_temp_path {own_text}/e; default_type application/json;
                server {{ listen {address}; root {own_text}; }} }}"
        );
        std::fs::write(own.join("nginx.conf"), settings)?;
        let child = Command::new("nginx")
            .arg("-c")
            .arg(own.join("nginx.conf"))
            .args(["-e", &own.join("start.log").display().to_string()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|error| {
                format!("nginx: {error} (it gives the limit that pages are measured against)")
            })?;
        let mut nginx = Self { child, address };
        let began = Instant::now();
        while !nginx.answers() {
            if let Some(status) = nginx.child.try_wait()? {
                return Err(format!("nginx ended with {status}; see {own_text}/start.log").into());
            }
            if began.elapsed() > Duration::from_secs(10) {
                return Err("nginx doesn't answer".into());
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        Ok(nginx)
    }

    /// The request for the page.
    pub(crate) fn request() -> Vec<u8> {
        get("/page.json", "none")
    }

    fn answers(&self) -> bool {
        Client::connect(self.address)
            .and_then(|mut client| client.ask(&Self::request()).map(drop))
            .is_ok()
    }
}

fn is_root() -> bool {
    std::fs::metadata("/proc/self").is_ok_and(|own| std::os::unix::fs::MetadataExt::uid(&own) == 0)
}

impl Drop for Nginx {
    fn drop(&mut self) {
        // By the signal that lets the master end its workers.
        drop(
            Command::new("kill")
                .args(["-TERM", &self.child.id().to_string()])
                .status(),
        );
        drop(self.child.wait());
    }
}

/// Transactions in a second by pgbench: one row into the same table and a commit, over so many connections.
pub(crate) fn pgbench(
    url: &str,
    folder: &Path,
    rows: &[EventRow],
    connections: usize,
    most: Duration,
) -> Outcome<f64> {
    psql(
        url,
        "CREATE SEQUENCE IF NOT EXISTS load_seq START 100000000",
    )?;
    let text = |bytes: &[u8]| {
        bytes.iter().fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
    };
    // pgbench would take `:1` in it for a variable of its own, quoted or not.
    let json = |json: &str| format!("convert_from('\\x{}', 'UTF8')", text(json.as_bytes()));
    let mut command = Command::new("pgbench");
    let connections = connections.to_string();
    command.args([
        "-n",
        "-M",
        "prepared",
        "-c",
        &connections,
        "-j",
        "2",
        "-T",
        &most.as_secs().max(1).to_string(),
    ]);
    for (n, row) in rows.iter().take(16).enumerate() {
        let script = folder.join(format!("insert{n}.sql"));
        let insert = format!(
            "INSERT INTO event (horse_id, seq, id, kind, performed_at, author_id, device_id, target_id, received_at, envelope,
             content, salt, signature, head, shapes) VALUES ('{}', nextval('load_seq'), gen_random_uuid()::text, '{}', now(),
             '{}', '{}', NULL, now(), {}, {}, '\\x{}', '\\x{}', '\\x{}', false);\n",
            row.horse_id,
            row.kind,
            row.author_id,
            row.device_id,
            json(&row.envelope),
            json(row.content.as_deref().unwrap_or_default()),
            text(row.salt.as_deref().unwrap_or_default()),
            text(&row.signature),
            text(&row.head),
        );
        std::fs::write(&script, insert.replace('\n', " ") + "\n")?;
        command.arg("-f").arg(script);
    }
    let told = command
        .arg(url)
        .output()
        .map_err(|error| format!("pgbench: {error}"))?;
    let text = String::from_utf8_lossy(&told.stdout);
    let line = text.lines().find_map(|line| line.strip_prefix("tps = "));
    let line =
        line.ok_or_else(|| format!("pgbench: {text}{}", String::from_utf8_lossy(&told.stderr)))?;
    Ok(line.split(' ').next().unwrap_or_default().parse()?)
}

/// What PostgreSQL's own client prints for a statement.
pub(crate) fn psql(url: &str, statement: &str) -> Outcome<String> {
    let told = Command::new("psql")
        .args([
            "-X",
            "-q",
            "-A",
            "-t",
            "-v",
            "ON_ERROR_STOP=1",
            "-c",
            statement,
            url,
        ])
        .output()
        .map_err(|error| format!("psql: {error}"))?;
    if !told.status.success() {
        return Err(format!("psql: {}", String::from_utf8_lossy(&told.stderr)).into());
    }
    Ok(String::from_utf8(told.stdout)?)
}
