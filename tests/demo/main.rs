//! `whorl-demo`: a server with Saltmarsh Yard's herd, and what to try with it.

use std::io::Write;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use clap::Parser;
use whorl_http::clock::Clock;
use whorl_http::config::Flags;
use whorl_http::state::State;
use whorl_http::{logging, serve};
use whorl_tests::demo;

/// Start a server with the demo's herd
///
/// The record lies in the folder; when it is there already, the server starts with it as it is.
#[derive(Debug, Parser)]
#[command(name = "whorl-demo", version)]
struct Cli {
    /// Where the demo's record and its people's clients lie
    #[arg(long, default_value = "target/demo")]
    folder: PathBuf,
    /// The address to listen on
    #[arg(long, default_value = "127.0.0.1:8040")]
    listen: String,
    /// Lay the herd down and end, without serving on
    #[arg(long)]
    only_seed: bool,
}

/// The settings of a server, as `whorl-server` takes them.
#[derive(Debug, Parser)]
struct Server {
    #[command(flatten)]
    flags: Flags,
}

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> ExitCode {
    match run(&Cli::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            tell(&format!("whorl-demo: {why}"));
            ExitCode::FAILURE
        }
    }
}

fn run(cli: &Cli) -> Result<(), Failure> {
    std::fs::create_dir_all(&cli.folder)?;
    let folder = cli.folder.canonicalize()?;
    let file = |name: &str| folder.join(name).display().to_string();
    let database = format!("sqlite://{}", file("whorl.db"));
    let arguments = [
        "whorl-demo",
        "--database-url",
        &database,
        "--keys",
        &file("whorl.keys"),
        "--listen",
        &cli.listen,
        "--name",
        "saltmarsh.example",
        "--log",
        "error",
    ];
    let config = Server::parse_from(arguments).flags.check()?;
    let _logging = logging::start(&config.log, config.traces.as_ref())?;
    let listener = TcpListener::bind(config.listen).map_err(|why| {
        format!(
            "{}: {why}; say another address with --listen",
            config.listen
        )
    })?;
    let address = format!("http://{}", listener.local_addr()?);
    let state = State::open(config, Clock::system())?;
    let seeded = folder.join("seeded");
    let seeding = std::thread::spawn({
        let (address, folder, seeded, only) =
            (address.clone(), folder.clone(), seeded, cli.only_seed);
        move || lay_down(&address, &folder, &seeded, only)
    });
    if cli.only_seed {
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let server = std::thread::spawn(move || {
            serve::run(state, listener, async {
                drop(stopped.await);
            })
        });
        let done = seeding.join().map_err(|_| "the seeding panicked")?;
        drop(stop);
        server.join().map_err(|_| "the server panicked")??;
        return done;
    }
    serve::run_until_asked(state, listener)?;
    Ok(())
}

/// Seeds the server if that has not been done, and says what to try.
fn lay_down(address: &str, folder: &Path, seeded: &Path, only_seed: bool) -> Result<(), Failure> {
    let done = seed_once(address, folder, seeded);
    if only_seed {
        return done;
    }
    if let Err(why) = &done {
        // Nothing waits for this thread: a demo without its herd is none.
        tell(&format!("whorl-demo: {why}"));
        std::process::exit(1);
    }
    tell(&demo::invitation(address, &folder.join("people")));
    done
}

fn seed_once(address: &str, folder: &Path, seeded: &Path) -> Result<(), Failure> {
    if seeded.exists() {
        return Ok(());
    }
    if folder.join("people").exists() {
        return Err(format!(
            "{} is half laid down; remove it and start again",
            folder.display()
        )
        .into());
    }
    tell(
        "Laying down two years of Saltmarsh Yard, entry by entry through the server; a minute or so ...",
    );
    let began = Instant::now();
    let today = Clock::system().now().date_naive();
    let entries = demo::seed(address, &folder.join("people"), today)?;
    std::fs::write(seeded, today.to_string())?;
    tell(&format!(
        "{entries} entries in {} seconds.",
        began.elapsed().as_secs()
    ));
    Ok(())
}

fn tell(text: &str) {
    // There is nobody left to tell if this fails.
    drop(writeln!(std::io::stdout(), "{text}"));
}
