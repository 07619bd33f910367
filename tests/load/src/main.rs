//! How fast the server is, beside the limits that the machine itself sets.

mod bench;
mod client;
mod figures;
mod fill;
mod guesses;
mod limits;
mod pace;
mod plans;
mod seed;
mod server;
mod world;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::{Parser, ValueEnum};
use serde_json::{Map, Value};

use crate::bench::{Bench, Measure};
use crate::server::Setup;
use crate::world::{Core, World};

/// What a step answers; the tool stops at the first failure and says it.
pub(crate) type Outcome<T = ()> = Result<T, Box<dyn std::error::Error + Send + Sync>>;

/// Measures the server of Whorl on a herd of signed records
#[derive(Debug, Parser)]
#[command(name = "whorl-load", version)]
struct Cli {
    /// The server's program
    #[arg(long, default_value = "target/release/whorl-server")]
    server: PathBuf,
    /// How large the herd is
    #[arg(long, default_value = "small")]
    size: Size,
    /// Which of the herds of that size
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// An empty PostgreSQL database in place of SQLite
    #[arg(long)]
    url: Option<String>,
    /// Where the database lies, on the disk that is measured; what is in it already is used again
    #[arg(long, default_value = "target/load")]
    folder: PathBuf,
    /// What to measure: everything if nothing is said
    #[arg(long, value_delimiter = ',')]
    only: Vec<Measure>,
    /// How often each thing is measured; the middle one counts
    #[arg(long, default_value_t = 3)]
    rounds: u32,
    /// The longest that one measurement takes, in seconds
    #[arg(long, default_value_t = 5)]
    seconds: u64,
    /// Measure pages without nginx beside them
    #[arg(long)]
    without_nginx: bool,
    /// Write the figures to this file
    #[arg(long)]
    save: Option<PathBuf>,
    /// Compare with the figures in this file
    #[arg(long)]
    beside: Option<PathBuf>,
}

/// How large a herd is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Size {
    /// 40 horses, 600 events: to see that the tool works
    Smoke,
    /// 1,000 horses, 100,000 events
    Small,
    /// 20,000 horses, 1,000,000 events
    Middle,
    /// 100,000 horses, 5,000,000 events
    Large,
}

impl Size {
    fn world(self, seed: u64) -> World {
        let core = match self {
            Self::Smoke => Core {
                horses: 40,
                events: 600,
                long: 50,
                barn: 20,
            },
            _ => Core {
                horses: 1_000,
                events: 100_000,
                long: 500,
                barn: 100,
            },
        };
        let (horses, events) = match self {
            Self::Smoke | Self::Small => (core.horses, core.events),
            Self::Middle => (20_000, 1_000_000),
            Self::Large => (100_000, 5_000_000),
        };
        World {
            seed,
            horses,
            events,
            core,
        }
    }
}

fn main() -> ExitCode {
    match run(&Cli::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("whorl-load: {error}");
            ExitCode::FAILURE
        }
    }
}

#[expect(clippy::print_stdout, reason = "the figures are what it is for")]
fn run(cli: &Cli) -> Outcome {
    let world = cli.size.world(cli.seed);
    fs::create_dir_all(&cli.folder)?;
    let folder = fs::canonicalize(&cli.folder)?;
    let bench = prepare(cli, world, &folder)?;
    let wanted = |measure: Measure| cli.only.is_empty() || cli.only.contains(&measure);
    let mut figures = Vec::new();
    for (measure, step) in [
        (
            Measure::Rest,
            Bench::at_rest as fn(&Bench) -> Outcome<Vec<figures::Figure>>,
        ),
        (Measure::Read, Bench::reading),
        (Measure::Push, Bench::pushing),
        (Measure::Batch, Bench::batches),
        (Measure::Guess, Bench::guesses),
    ] {
        if wanted(measure) {
            eprintln!("measuring: {measure:?}");
            figures.extend(step(&bench)?);
        }
    }
    let other: Map<String, Value> = match &cli.beside {
        Some(file) => serde_json::from_str(&fs::read_to_string(file)?)?,
        None => Map::new(),
    };
    println!("{}", figures::table(&figures, &other));
    if wanted(Measure::Plans) {
        println!("\n{}", bench.plans()?);
    }
    if let Some(file) = &cli.save {
        fs::write(file, figures::save(&figures)?)?;
    }
    Ok(())
}

/// Fills a database, unless that was done before.
fn prepare(cli: &Cli, world: World, folder: &Path) -> Outcome<Bench> {
    let name = format!("{:?}-{}", cli.size, cli.seed).to_lowercase();
    let filled = folder.join(format!("{name}.db"));
    let (work, copy) = (folder.join("work.db"), folder.join("raw.db"));
    let setup = |url: String| Setup {
        program: cli.server.clone(),
        url,
        folder: folder.to_owned(),
    };
    let began = Instant::now();
    let (setup, files) = if let Some(url) = &cli.url {
        let setup = setup(url.clone());
        setup.keys()?;
        if !folder.join(format!("{name}.postgres")).exists() {
            begin_and_fill(&setup, &world)?;
            fs::write(folder.join(format!("{name}.postgres")), "")?;
        }
        (setup, None)
    } else {
        if !filled.exists() {
            let half = folder.join("half-filled.db");
            remove(&half)?;
            begin_and_fill(&setup(format!("sqlite://{}", half.display())), &world)?;
            fs::rename(&half, &filled)?;
        }
        for file in [&work, &copy] {
            remove(file)?;
            fs::copy(&filled, file)?;
        }
        (
            setup(format!("sqlite://{}", work.display())),
            Some((work, copy)),
        )
    };
    eprintln!(
        "{} horses, {} events, ready after {:.0} s",
        world.horses,
        world.events,
        began.elapsed().as_secs_f64()
    );
    Ok(Bench {
        world,
        setup,
        files,
        rounds: cli.rounds.max(1),
        most: Duration::from_secs(cli.seconds),
        nginx: !cli.without_nginx,
    })
}

fn begin_and_fill(setup: &Setup, world: &World) -> Outcome {
    // A server begins the ledger; its first start on an empty database is not what is measured.
    drop(setup.start()?);
    fill::fill(world, &setup.url)?;
    eprintln!("checking the whole record");
    setup.verify()
}

/// Removes a SQLite database with what lies beside it.
fn remove(database: &Path) -> Outcome {
    for end in ["", "-wal", "-shm"] {
        let mut file = database.as_os_str().to_owned();
        file.push(end);
        match fs::remove_file(&file) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error.into()),
            _ => {}
        }
    }
    Ok(())
}
